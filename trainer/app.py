"""The live mirror: starts and stops the threads, and runs the window's loop.

Three threads: the source's own reads the camera; the pose thread takes the newest picture,
finds the pose, steps the core and sends cues straight to the sounder; the main thread draws the
newest picture and the newest step. The screen never stands between a pose and its cue.
"""

from __future__ import annotations

import queue
import sys
import threading
import time
from collections.abc import Callable

from trainer.actions import joined
from trainer.bay import Bay
from trainer.core.cues import SWINGING
from trainer.core.records import Cue, Frame, Handed, Phase, Rep, Step
from trainer.core.rules import Rules
from trainer.engine import Engine
from trainer.keeping import Keeper
from trainer.notices import notices
from trainer.placing import Placing
from trainer.ports import (
    FrameSource,
    KeyAction,
    Look,
    PoseEstimator,
    Screen,
    Sounder,
    SourceState,
    TagSight,
    View,
)
from trainer.recorder import TraceRecorder
from trainer.report.library import Library
from trainer.roster import Turn
from trainer.shared import RunResult, Shared
from trainer.sittings import Sittings
from trainer.store.keeper import Made, RepKeeper
from trainer.store.records import Kind
from trainer.viewing import view_of
from trainer.volume import VolumeTest
from trainer.words import VOLUME_MUTED

#: How long the caution stands if no key is pressed: hands may be on a club already.
CAUTION_S = 15.0
#: A thread that has been told to stop gets this long.
JOIN_S = 2.0

PanOf = Callable[[Cue, Handed], float]


class LiveMirror:
    """One run of the mirror over one source, from opening it to quitting or its end."""

    def __init__(
        self,
        *,
        source: FrameSource,
        open_estimator: Callable[[], PoseEstimator],
        sounder: Sounder,
        screen: Screen,
        rules: Rules,
        pan_of: PanOf,
        tags: TagSight | None = None,
        recorder: TraceRecorder | None = None,
        keeper: Keeper | None = None,
        rep_keeper: RepKeeper | None = None,
        library: Library | None = None,
        placing: Placing | None = None,
        bay: Bay | None = None,
        on_step: Callable[[Step, Rules], None] | None = None,
        on_view: Callable[[View, Step], None] | None = None,
        show_caution: bool = False,
        look: Look | None = None,
        wait_for_pose: bool = False,
        reps_before: int = 0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._open_estimator = open_estimator
        self._sounder = sounder
        self._screen = screen
        self._pan_of = pan_of
        self._tags = tags
        self._recorder = recorder
        self._library = library
        self._placing = Placing() if placing is None else placing
        self._bay = Bay() if bay is None else bay
        self._on_step = on_step
        self._on_view = on_view
        self._show_caution = show_caution
        self._look = look or Look()
        #: A clip can wait until the model is loaded, so that none of it is missed.
        self._wait_for_pose = wait_for_pose
        #: Reps of the same session made before another source: the count goes on.
        self._reps_before = reps_before
        self._clock = clock
        self._started_s = clock()
        self._muted = False
        self._volume: VolumeTest | None = None  #: under way
        self._stop = threading.Event()
        self._ended = threading.Event()
        self._actions: queue.SimpleQueue[KeyAction | Turn] = queue.SimpleQueue()
        self._touched = False  # NB: set by the main thread, taken back by the pose thread
        #: Followed by the core, not yet traced: the trace keeps them with the next reading.
        self._followed: list[KeyAction] = []
        self._failure: BaseException | None = None
        self._estimator: PoseEstimator | None = None
        if rep_keeper is None:
            rep_keeper = RepKeeper("", Made(kind=Kind.LIVE, source=source.name), None)
        turn = self._bay.turn
        self._shared = Shared(
            rules=rules,
            engine=Engine(rules, reps_before=reps_before),
            rep_keeper=rep_keeper,
            keeper=keeper,
            player="" if turn is None else turn.player,
        )
        self._looked = self._shared  # whose record was looked after last; main thread only
        self._sittings = Sittings(self._shared, turn)

    def run(self) -> RunResult:
        """Run until the player quits or the source ends.

        Raises what a thread raised: CameraError when the source cannot be opened, PoseError
        when the model fails. Threads, source and model are closed in every case; the screen,
        the sounder and the recorder belong to the caller.
        """
        threads = [
            threading.Thread(target=self._guarded, args=(job,), name=name, daemon=True)
            for name, job in (("load", self._load), ("pose", self._pose_loop))
        ]
        asked = False
        try:
            self._screen.show(self._view())
            if self._opens_on_main():
                self._source.open()
            for thread in threads:
                thread.start()
            asked = self._window_loop()
        finally:
            self._stop.set()
            for thread in threads:
                if thread.ident is not None:
                    thread.join(timeout=JOIN_S)
            self._source.close()
            if self._tags is not None:
                self._tags.close()
            if self._estimator is not None and not any(t.is_alive() for t in threads):
                self._estimator.close()
            self._keep_player(last=True)
            self._bay.flush()
        if self._failure is not None:
            raise self._failure
        shared = self._shared
        sittings = tuple(self._sittings.all)
        return RunResult(
            reps=tuple(rep for one in sittings for rep in one.reps),
            quit_asked=asked,
            frames=shared.frames,
            dropped=self._source.status().dropped,
            delays_ms=tuple(shared.delays_ms),
            rules=shared.rules,
            first_run_asked=self._placing.first_run_asked,
            sittings=sittings,
        )

    def _opens_on_main(self) -> bool:
        """MacOS asks for leave to use a camera on the main thread only."""
        return sys.platform == "darwin" and not self._wait_for_pose

    def _window_loop(self) -> bool:
        """Draw and listen until the end; return whether the player asked to quit."""
        while not self._ended.is_set():
            for action in self._screen.actions():
                self._touched = True
                if action is KeyAction.QUIT:
                    return True
                if self._placing.take(action):
                    continue
                if self._library is not None and self._library.take(action, self._clock()):
                    continue
                if action is KeyAction.MUTE:
                    self._muted = not self._muted
                elif action is KeyAction.VOLUME:
                    self._volume = VolumeTest(self._sounder, self._clock())
                else:
                    self._hand_on(action)
            if self._bay.writing is not None:
                self._bay.typed(self._screen.typed(), self._clock())
            self._keep_player()
            if self._placing.first_run_asked:
                return False
            self._placing.look(self._shared, self._source)
            self._play_volume()
            self._screen.show(self._view())
        return False

    def _play_volume(self) -> None:
        """Play the volume test's next tone when it is due, and say which it is."""
        if self._volume is None:
            return
        words = VOLUME_MUTED if self._muted else self._volume.go_on(self._clock())
        if words:
            self._shared.answer = words, self._clock()
        if self._muted or self._volume.over:
            self._volume = None

    def _hand_on(self, action: KeyAction) -> None:
        """Let the bay do what it is asked for, and the pose thread what is left."""
        left = self._bay.take(action, self._shared, self._clock())
        for item in (action,) if left is None else left:
            if isinstance(item, Turn) and self._library is not None:
                self._library.player = item.player
            self._actions.put(item)

    def _keep_player(self, *, last: bool = False) -> None:
        """Here and not in the pose thread: a slow disk never holds a tone up."""
        shared, before = self._shared, self._looked
        self._looked = shared
        for one in (shared,) if shared is before else (before, shared):
            if one.keeper is None:
                continue
            one.keeper.look(
                one.rules,
                one.readings,
                self._source.name,
                practised=bool(one.reps),
                check=one.check,
            )
            if last or one is not shared:
                one.keeper.flush()

    def _guarded(self, job: Callable[[], None]) -> None:
        """Run a thread's job; what it raises is kept for the main thread, and ends the run."""
        try:
            job()
        except BaseException as error:
            if self._failure is None:
                self._failure = error
            self._ended.set()

    def _load(self) -> None:
        estimator = self._open_estimator()
        if self._stop.is_set():
            # The run was over before the model came: nobody else will close it.
            estimator.close()
        else:
            self._estimator = estimator

    def _pose_loop(self) -> None:
        while self._wait_for_pose and self._estimator is None:
            if self._stop.wait(0.01) or self._ended.is_set():
                return
        if not self._opens_on_main():
            self._source.open()
        while not self._stop.is_set() and not self._ended.is_set():
            frame = self._source.get(0.1)
            self._follow_actions()
            if frame is None:
                if self._source.status().state is SourceState.ENDED:
                    break
                continue
            self._shared.frame = frame
            self._shared.frames += 1
            self._shared.rep_keeper.see(frame)
            if self._estimator is not None:
                self._read(self._estimator, frame)
        self._end_rep()
        self._ended.set()

    def _end_rep(self) -> None:
        """Keep a rep that was still under way, as not complete."""
        rep = self._shared.engine.finish()
        if rep is not None:
            self._keep(rep, self._shared.engine.rules)

    def _follow_actions(self) -> None:
        """Do what the player asked for at once, also while no picture comes."""
        while True:
            try:
                action = self._actions.get_nowait()
            except queue.Empty:
                return
            if isinstance(action, Turn):
                self._end_rep()
                self._shared = self._sittings.begin(action, self._shared)
                # A trace is of one player: it ends with the first one's turn.
                self._recorder = None
                continue
            engine = self._shared.engine
            if engine.act(action):
                self._shared.rules = engine.rules
                self._shared.answer = engine.answer, self._clock()
                self._shared.follow()
                self._followed.append(action)

    def _read(self, estimator: PoseEstimator, frame: Frame) -> None:
        shared, engine = self._shared, self._shared.engine
        if self._tags is not None:
            self._tags.begin(frame, engine.tag_hints(frame.t_s))
        estimator.swings(engine.rules.handed)
        found = estimator.estimate(frame)
        if self._tags is not None:
            found = self._tags.take(frame, found)
            shared.about_tags = self._tags.notices()
        fed = engine.feed(frame.t_s, found)
        if fed is None:
            return
        pose, step = fed
        estimator.hold(step.phase in SWINGING)
        shared.rules = engine.rules  # a sign by hand may have changed them
        if engine.answer:
            shared.answer = engine.answer, self._clock()
        if not self._muted:
            for cue in step.told:
                self._sounder.play(cue, pan=self._pan_of(cue, engine.rules.handed))
            for signal in step.signals:
                self._sounder.signal(signal, step.t_s)
        shared.delays_ms.append((self._source.now_s() - frame.t_s) * 1000.0)
        shared.step_times_s.append(self._clock())
        shared.who = estimator.notice()
        shared.step = step
        shared.follow()
        shared.rep_keeper.follow(step, engine.reference)
        if step.rep is not None:
            self._keep(step.rep, engine.rules)
        if self._recorder is not None:
            self._recorder.put(frame.t_s, pose, step, joined(self._followed))
        self._followed.clear()
        if self._on_step is not None:
            self._on_step(step, engine.rules)
        if self._on_view is not None and (step.cues or step.changes or step.rep):
            self._on_view(self._view(), step)
        if step.phase is Phase.SETUP:
            shared.closed = ""
        somebody, self._touched = step.pose is not None or self._touched, False
        if self._sittings.is_over(step.t_s, shared, somebody=somebody):
            self._shared = self._sittings.close(shared, step.t_s)
            self._followed.append(KeyAction.NEW_SITTING)

    def _keep(self, rep: Rep, rules: Rules) -> None:
        self._shared.keep(rep, rules, heard=self._sounder.audible and not self._muted)

    def _view(self) -> View:
        status, now_s = self._source.status(), self._clock()
        return view_of(
            self._shared,
            now_s,
            bay=self._bay,
            library=self._library,
            placing=self._placing,
            notices=self._notices(status.text),
            muted=self._muted,
            dropped=status.dropped,
            caution=self._show_caution and now_s - self._started_s < CAUTION_S,
            reps_before=self._reps_before,
            look=self._look,
        )

    def _notices(self, camera: str) -> tuple[str, ...]:
        shared = self._shared
        kept = [self._recorder, shared.keeper, shared.rep_keeper]
        return notices(
            shared,
            camera=camera,
            loading=self._estimator is None and (shared.frame is not None or self._wait_for_pose),
            audible=self._sounder.audible,
            muted=self._muted,
            troubles=[*(one.trouble for one in kept if one is not None), *self._bay.troubles],
        )
