"""A run of `trainer live` with keys and letters pressed at given times, for tests of the bay."""

import threading

from fakes import FakeEstimator, FakeSource, frames_and_poses, wait_for
from test_putting_together import Theatre

from trainer.core.records import Handed
from trainer.keeping import open_keeper
from trainer.live import run_live
from trainer.ports import KeyAction
from trainer.settings import from_values


class BayRun(Theatre):
    """A run on one clip; ``keys`` are (time, KeyAction, letters or something to call).

    ``views`` has by time what the window was given after each.
    """

    def __init__(self, monkeypatch, script, keys):
        super().__init__(monkeypatch, [(script, Handed.RIGHT)])
        frames, known = frames_and_poses(script)
        self.views = {}
        plan = list(frames)
        for at_s, what in sorted(keys, reverse=True, key=lambda key: key[0]):
            row = next(i for i, frame in enumerate(frames) if frame.t_s >= at_s)
            plan.insert(row, self._press(at_s, what))
        source = FakeSource(plan)
        monkeypatch.setattr("trainer.adapters.camera.open_source", lambda spec, **more: source)
        monkeypatch.setattr(
            "trainer.live.pose_opener", lambda model, memory: lambda: FakeEstimator(known)
        )

    def _press(self, at_s, what):
        screen = self.screen

        def press():
            if callable(what):
                what()
                return
            done = threading.Event()
            if isinstance(what, KeyAction):
                screen.ask(what)
            else:
                screen.type(what)
            screen._on_view = lambda view: (
                None if screen._actions or screen._letters else done.set()
            )
            wait_for(done)
            self.views[at_s] = screen.views[-1]

        return press

    def live(self, player="Ann", record=None, keep=True, **values):
        values = {"camera": {"source": "0.mp4"}, "player": {"keep": keep}, **values}
        settings, keeper = open_keeper(player, from_values(values, "test"), read_only=not keep)
        return run_live(
            settings,
            stage=self.stage,
            model=None,
            record=record,
            say=self.said.append,
            keeper=keeper,
        )
