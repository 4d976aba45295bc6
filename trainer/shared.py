"""What the live mirror's pose thread leaves for its main thread."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from trainer.core.ball_line import BallLine
from trainer.core.bay_words import coach_words, top_words
from trainer.core.look_back import Figure, Track, top_figure, track_of
from trainer.core.practice import CheckResult
from trainer.core.practice_shown import PracticeShown
from trainer.core.records import Frame, Measures, Rep, Step
from trainer.core.repeat import turn_spread
from trainer.core.rod_check import RodReading, RodState
from trainer.core.rules import Rules
from trainer.core.summary import spread_words, words_for
from trainer.engine import Engine
from trainer.keeping import Keeper
from trainer.store.keeper import RepKeeper
from trainer.words import KEPT


@dataclass(slots=True, kw_only=True)
class Told:
    """What the coach said of a rep. Main thread only."""

    good: bool | None = None
    note: str = ""


@dataclass(slots=True, kw_only=True)
class Shared:
    """The newest of everything, of one player's sitting.

    NB: single attributes, each rebound as a whole by the pose thread alone; a reader sees the old
    or the new object, never half of one, and needs no lock. When the player changes, the whole of
    it is put in the place of another: who took hold of it before goes on seeing one player's.
    """

    rules: Rules
    engine: Engine  #: the pose thread's alone
    rep_keeper: RepKeeper
    keeper: Keeper | None = None  #: the main thread's alone
    player: str = ""
    frame: Frame | None = None
    step: Step | None = None
    last_rep: Rep | None = None
    last_rep_words: tuple[str, ...] = ()
    track: Track | None = None  #: of the last rep; None where no pose of it was read
    tops: list[tuple[Measures, Figure]] = field(default_factory=list)  #: of whole reps, to draw
    told: dict[int, Told] = field(default_factory=dict)  #: by the coach, by the rep's number
    ball_line: BallLine | None = None
    rod: RodState | None = None
    practice: PracticeShown | None = None
    check: CheckResult | None = None  #: the silent check of this run
    readings: tuple[RodReading, ...] = ()  #: what the rod checks of this run read
    answer: tuple[str, float] = ("", 0.0)  #: words about the last action, and when
    closed: str = ""  #: that the sitting before was closed because nobody came
    who: str = ""
    about_tags: tuple[str, ...] = ()
    frames: int = 0
    reps: list[Rep] = field(default_factory=list)
    delays_ms: deque[float] = field(default_factory=lambda: deque(maxlen=600))
    step_times_s: deque[float] = field(default_factory=lambda: deque(maxlen=60))

    def go_on_from(self, before: Shared) -> None:
        """Take over what is the camera's and the run's, not one player's."""
        self.frame, self.step, self.frames = before.frame, None, before.frames
        self.delays_ms, self.step_times_s = before.delays_ms, before.step_times_s
        self.who, self.about_tags = before.who, before.about_tags
        self.answer, self.closed = ("", 0.0), ""

    def follow(self) -> None:
        """Take over what the core's last step or action left. Called in the pose thread."""
        engine, before = self.engine, self.rod
        self.ball_line, self.rod = engine.ball_line, engine.rod
        self.practice, self.check = engine.practice, engine.check
        reading = None if engine.rod is None else engine.rod.reading
        if reading is not None and (before is None or before.reading is None):
            self.readings = (*self.readings, reading)
        if engine.guess and self.last_rep is not None:
            self.rep_keeper.tell(self.last_rep, "guess", engine.guess)

    def keep(self, rep: Rep, rules: Rules, *, heard: bool) -> None:
        """Take in the rep that has just ended, and hand it on to be kept."""
        self.reps.append(rep)
        self.last_rep = rep
        spread = spread_words(turn_spread(self.reps)) if rep.complete else ""
        verdict = words_for(rep, rules)
        lines = verdict.lines if rep.verdict is None else rep.verdict.lines
        self.last_rep_words = (*lines, spread) if spread else lines
        finished = self.rep_keeper.keep(rep, rules, verdict, cues_heard=heard)
        setup = None if finished.reference is None else finished.reference.image_px
        self.track = track_of(rep, finished.readings, setup)
        if self.track is not None and rep.at_top is not None:
            figure = top_figure(self.track, top_words(rep.number, reference=True))
            if figure is not None:
                self.tops.append((rep.at_top, figure))

    def verdict_words(self) -> tuple[str, ...]:
        """Return the last verdict, the coach's, and that its rep is kept once it is on the disk."""
        rep, words = self.last_rep, self.last_rep_words
        if rep is None:
            return words
        told = self.told.get(rep.number)
        if told is not None and told.good is not None:
            words = (*words, coach_words(told.good))
        return (*words, KEPT) if self.rep_keeper.is_kept(rep) else words

    @property
    def whole_reps(self) -> int:
        """Return how many whole reps were made."""
        return sum(rep.complete for rep in self.reps)

    def poses_per_second(self) -> float | None:
        """Return how often a pose came over the last readings; None until it is known."""
        times_s = list(self.step_times_s)
        if len(times_s) < 5 or times_s[-1] <= times_s[0]:
            return None
        return (len(times_s) - 1) / (times_s[-1] - times_s[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """What a run came to."""

    reps: tuple[Rep, ...]
    quit_asked: bool  #: the player closed the window or pressed quit
    frames: int  #: pictures the pose thread took
    dropped: int  #: pictures replaced by a newer one before it could
    delays_ms: tuple[float, ...]  #: picture stamp to cue decided, newest 600
    rules: Rules  #: as they stand at the end (handedness and pain may have been switched)
    sittings: tuple[Shared, ...] = ()  #: of each player; ``reps`` are those of all of them
    first_run_asked: bool = False  #: it ended because the first run was asked for once more
