"""The made-up player's practice, run through the engine, and what the window is given of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from trainer.adapters.made_up_room import picture_of
from trainer.bay import Bay
from trainer.core import own_rep
from trainer.core.look_back import Track, track_of
from trainer.core.records import Handed, Measures, Pose, Rep, Step
from trainer.core.rules import Rules
from trainer.core.summary import words_for
from trainer.engine import Engine
from trainer.pages.player import ADDRESS, SIZE_WH, Posture, between, pose_of
from trainer.ports import KeyAction, View
from trainer.shared import Shared
from trainer.store.keeper import Made, RepKeeper
from trainer.store.records import Kind

HZ: Final = 30.0


class Practice:
    """A made-up player before the engine. ``view`` is what the window would be given now."""

    def __init__(self, rules: Rules | None = None) -> None:
        self.engine = Engine(rules or Rules(handed=Handed.RIGHT, stature_cm=175.0))
        self._t_s = 0.0
        self._posture = ADDRESS
        self._step: Step | None = None
        self._pose_now: Any = None
        self._last: Rep | None = None
        made = Made(kind=Kind.LIVE, source="camera 0")
        self._shared = Shared(
            rules=self.engine.rules,
            engine=self.engine,
            rep_keeper=RepKeeper("Ann", made, None),
            player="Ann",
        )
        self._words: tuple[str, ...] = ()
        self._readings: list[tuple[Measures, Pose | None]] = []
        self.track: Track | None = None  #: the last rep, reading by reading

    def _feed(self, posture: Posture | None) -> None:
        self._t_s += 1 / HZ
        handed = self.engine.rules.handed
        pose = None if posture is None else pose_of(posture, self._t_s, handed)
        fed = self.engine.feed(self._t_s, pose)
        if fed is None:
            return
        self._pose_now, self._step = pose, fed[1]
        self._readings.append((self._step.measures, pose))
        rep = self._step.rep
        self._shared.rep_keeper.follow(self._step, self.engine.reference)
        if rep is not None:
            self._shared.keep(rep, self.engine.rules, heard=True)
            self._last = rep
            self.track = self._track(rep)
            told = words_for(rep, self.engine.rules) if rep.verdict is None else rep.verdict
            self._words = told.lines

    def _track(self, rep: Rep) -> Track | None:
        reference = self.engine.reference
        setup = None if reference is None else reference.image_px
        end_s = rep.takeaway_t_s if rep.top_end_t_s is None else rep.top_end_t_s
        during = [one for one in self._readings if rep.setup_t_s <= one[0].t_s <= end_s]
        self._readings.clear()
        return track_of(rep, during, setup)

    def stand(self, seconds: float = 2.0, posture: Posture | None = ADDRESS) -> Practice:
        """Hold a posture; None: walk out of the picture."""
        for _ in range(round(seconds * HZ)):
            self._feed(posture)
        self._posture = posture or ADDRESS
        return self

    def go(self, posture: Posture, seconds: float, until: float = 1.0) -> Practice:
        """Move to ``posture``; stop at ``until`` (0..1) of the way."""
        count = round(seconds * HZ)
        before = self._posture
        for number in range(1, round(count * until) + 1):
            self._posture = between(before, posture, number / count)
            self._feed(self._posture)
        return self

    def rep(self, top: Posture) -> Practice:
        """Make a whole backswing and come down again, until its verdict stands."""
        return self.stand().go(top, 1.0).stand(0.3, top).go(ADDRESS, 0.5).stand(0.2)

    def press(self, *actions: KeyAction) -> Practice:
        """Ask the engine for something, as a key would."""
        for action in actions:
            self.engine.act(action)
        self._shared.rules = self.engine.rules
        return self

    def coach(self, *actions: KeyAction, typed: str = "") -> View:
        """Return the window after a coach's keys and letters."""
        bay = Bay()
        for action in actions:
            bay.take(action, self._shared, 0.0)
        bay.typed(typed, 0.0)
        return self.view(looked=bay.looked, writing=bay.writing, answer="")

    def view(self, *, club: bool = True, **changes: Any) -> View:  # noqa: ANN401
        """Return what the window shows now; ``changes`` replace fields."""
        engine, step = self.engine, self._step
        rules, practice = engine.rules, engine.practice
        cues = own_rep.cue_rules(rules)
        told = practice.verdict
        if self._last is not None and self._last.verdict is not None:
            told = told and self._last.verdict.told
        view = View(
            image_rgb=picture_of(self._pose_now, SIZE_WH, club),
            step=step,
            handed_left=rules.handed is Handed.LEFT,
            target_deg=cues.target_deg,
            turn_band_deg=cues.turn_band_deg,
            head_tol_cm=cues.head_tol_cm,
            hip_tol_cm=cues.hip_tol_cm,
            reps=0 if step is None else step.reps,
            last_rep=self._last if told else None,
            last_rep_words=self._words if told else (),
            notices=(),
            pain=rules.pain,
            muted=False,
            cue_delay_ms=28.0,
            fps=30.0,
            dropped=0,
            caution=False,
            answer=engine.answer,
            own=own_rep.in_use(rules),
            ball_line=engine.ball_line,
            rod=engine.rod,
            practice=practice,
        )
        return replace(view, **changes)
