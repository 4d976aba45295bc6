"""Practice: what a rep is worth in the kind chosen, and how much of it the player is told.

``step(state, step, rules) -> (state, Step)`` takes what the session read and adds the verdict,
the cues that may be heard and the tones that steer. What is measured stays as it was: a rep that
is not told is measured, kept and counted like any other.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from statistics import mean, stdev
from typing import Final

from trainer.core import asked_turn, checkpoints, own_rep, schedule
from trainer.core.checkpoints import CheckState
from trainer.core.cues import SWINGING
from trainer.core.practice_rules import CueSchedule, PracticeKind, PracticeRules
from trainer.core.records import Cue, CueKind, Phase, Rep, Signal, Step, Verdict
from trainer.core.rules import Rules
from trainer.core.schedule import ScheduleState, Telling
from trainer.core.setup import Reference
from trainer.core.summary import WHOLE, RepWords, words_for

#: A tone that steers keeps this far from the tone before it; the longest count lasts 1.1 s.
APART_S: Final = 1.3
#: And this far from a cue, the longest of which lasts 0.4 s.
AFTER_CUE_S: Final = 0.5
#: A longer time without a reading is no practice.
MOST_STEP_S: Final = 1.0
RUNGS: Final = ("slow", "half", "full")
GUESSES: Final = ("short", "there", "past")
SILENT_CHECK: Final = "silent_check"
_COUNTS: Final = tuple(Signal(f"count_{n}") for n in range(1, 11))
#: What is judged in a kind whose rep is not judged as a whole.
PARTS: Final = {
    PracticeKind.TURN_ONLY: frozenset({"turn"}),
    PracticeKind.CENTRED: frozenset({"head", "hips"}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A rep whose figure waits until the player has said how far it went."""

    turn_deg: float
    se_deg: float | None
    since_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """What a silent check came to."""

    reps: int
    good: int
    turn_mean_deg: float | None = None
    turn_sd_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeState:
    """All that practice remembers between two readings."""

    schedule: ScheduleState = field(default_factory=ScheduleState)
    telling: Telling | None = None  #: of the rep under way or just made; None before the first
    phase: Phase = Phase.NOBODY
    points: CheckState = field(default_factory=CheckState)
    rung: int = 0  #: row of ``RUNGS``
    rung_good: int = 0  #: good reps on it
    guess: Guess | None = None
    guesses: tuple[int, int] = (0, 0)  #: (made, right)
    counted: int = 0  #: reps of the kind so far
    good: int = 0
    offered: bool = False  #: a silent check may be begun; gone with the first rep
    check_left: int = 0  #: reps left of a silent check; 0: none under way
    check_reps: tuple[Rep, ...] = ()
    check: CheckResult | None = None  #: of the silent check made last
    due: tuple[Signal, ...] = ()  #: waiting for their turn
    sounded_s: float = float("-inf")
    cue_s: float = float("-inf")
    practised_s: float = 0.0
    t_s: float | None = None
    times: int = 0  #: how often the time was sounded


def begun(rules: Rules) -> PracticeState:
    """Return the state at the start of a session."""
    return PracticeState(offered=rules.check_offered)


def step(
    state: PracticeState, now: Step, reference: Reference | None, rules: Rules
) -> tuple[PracticeState, Step]:
    """Advance by one step of the session; return it with what the practice adds."""
    practice = rules.practice
    before = state.phase
    state = _time(state, now, practice)
    entered_setup = now.phase is Phase.SETUP and before not in SWINGING | {Phase.SETUP}
    if state.telling is None or entered_setup:
        state = replace(state, telling=telling(state, practice), guess=None)
    signals: tuple[Signal, ...] = ()
    if kind_of(state, practice) is PracticeKind.CHECKPOINTS:
        points, signals = checkpoints.step(
            state.points, now.measures, now.phase, now.pose, reference, rules
        )
        state = replace(state, points=points)
    if state.guess is not None and now.t_s - state.guess.since_s >= practice.guess_wait_s:
        state = replace(state, guess=None)
    rep = now.rep
    if rep is not None and rep.complete:
        state, rep = _judge(state, rep, now, rules)
    told = heard(now.cues, state, rules)
    if told:
        state = replace(state, cue_s=now.t_s)
    if signals:  # of a checkpoint: they cannot wait
        state = replace(state, sounded_s=now.t_s)
    else:
        state, signals = _next_signal(state, now)
    if rep is now.rep and not told and not signals:
        return state, now
    return state, replace(now, rep=rep, told=told, signals=signals)


def kind_of(state: PracticeState, practice: PracticeRules) -> PracticeKind:
    """Return the kind in force: a silent check is made of free reps."""
    return PracticeKind.FREE if state.check_left else practice.kind


def telling(state: PracticeState, practice: PracticeRules) -> Telling:
    """Return how much of the rep to come is told."""
    if state.check_left:
        return Telling.NOTHING
    return schedule.telling(state.schedule, practice)


def heard(cues: tuple[Cue, ...], state: PracticeState, rules: Rules) -> tuple[Cue, ...]:
    """Return the cues the player may hear now.

    With a guess to be made the turn's tone would give the answer away. The turn's tone is no
    fault, so faults alone leave it out. Checkpoints have tones of their own.
    """
    kind = kind_of(state, rules.practice)
    if not cues or state.telling is Telling.NOTHING or kind is PracticeKind.CHECKPOINTS:
        return ()
    silent = {
        PracticeKind.CENTRED: {CueKind.TURN_REACHED},
        PracticeKind.TURN_ONLY: {CueKind.HEAD_OUT, CueKind.HIPS_OUT},
    }.get(kind, set())
    if state.telling is Telling.FAULTS or guesses_asked(state, rules):
        silent = silent | {CueKind.TURN_REACHED}
    return tuple(cue for cue in cues if cue.kind not in silent)


def guesses_asked(state: PracticeState, rules: Rules) -> bool:
    """Return True where the player guesses the turn before it is shown."""
    kinds = (PracticeKind.FREE, PracticeKind.LADDER, PracticeKind.TURN_ONLY)
    return (
        rules.practice.guess_first
        and not rules.pain
        and state.telling is Telling.ALL
        and kind_of(state, rules.practice) in kinds
    )


def guessed(state: PracticeState, said: str, rules: Rules) -> tuple[PracticeState, str]:
    """Return the state after a guess, and the answer to it; empty where none was asked for."""
    asked = state.guess
    if asked is None:
        return state, ""
    target, band = own_rep.cue_rules(rules).target_deg, rules.cues.turn_band_deg
    row = 0 if asked.turn_deg < target - band else 2 if asked.turn_deg > target + band else 1
    was = GUESSES[row]
    made, right = state.guesses
    state = replace(state, guess=None, guesses=(made + 1, right + int(said == was)))
    spread = "" if asked.se_deg is None else f" ±{asked.se_deg:.0f}°"
    return state, (
        f"You said {said}; the camera says {was}: about {asked.turn_deg:.0f}°{spread}. "
        f"{state.guesses[1]} of {state.guesses[0]} guesses alike"
    )


def with_kind(state: PracticeState, kind: PracticeKind) -> PracticeState:
    """Return the state at the start of another kind; the schedule and the time go on."""
    return replace(
        state,
        points=CheckState(),
        rung=0,
        rung_good=0,
        guess=None,
        counted=0,
        good=0,
        check_left=0,
        check_reps=(),
        due=(*state.due, Signal.NEXT_KIND),
    )


def with_check(state: PracticeState, practice: PracticeRules) -> PracticeState:
    """Return the state at the start of a silent check."""
    return replace(
        state,
        offered=False,
        check_left=practice.check_reps,
        check_reps=(),
        telling=Telling.NOTHING,
        guess=None,
    )


def sounded(state: PracticeState, signal: Signal) -> PracticeState:
    """Return the state with one more tone waiting for its turn."""
    return replace(state, due=(*state.due, signal))


def _time(state: PracticeState, now: Step, practice: PracticeRules) -> PracticeState:
    before_s, practised_s = state.t_s, state.practised_s
    if before_s is not None and now.phase is not Phase.NOBODY:
        practised_s += min(now.t_s - before_s, MOST_STEP_S)
    # One copy for all that changes with every reading: it runs for every picture.
    state = replace(state, t_s=now.t_s, phase=now.phase, practised_s=practised_s)
    every_s = 60.0 * practice.time_every_min
    if every_s > 0 and practised_s >= (state.times + 1) * every_s:
        return replace(state, times=state.times + 1, due=(*state.due, Signal.TIME))
    return state


def _judge(state: PracticeState, rep: Rep, now: Step, rules: Rules) -> tuple[PracticeState, Rep]:
    practice = rules.practice
    kind = kind_of(state, practice)
    words = verdict_words(state, rep, rules)
    told = state.telling is Telling.ALL or (
        state.telling is Telling.FAULTS and words.good is not True
    )
    verdict = Verdict(
        kind=SILENT_CHECK if state.check_left else kind.value,
        cues=CueSchedule.SILENT.value if state.check_left else practice.cues.value,
        told_pct=0 if state.check_left else schedule.told_pct(state.schedule, practice),
        told=told,
        good=words.good,
        lines=words.lines,
    )
    rep = replace(rep, verdict=verdict)
    state = replace(
        state, counted=state.counted + 1, good=state.good + int(words.good is True), offered=False
    )
    if practice.count_sounds:
        state = replace(state, due=(*state.due, _COUNTS[(now.reps - 1) % len(_COUNTS)]))
    if state.check_left:
        return _check(state, rep, rules), rep
    state = replace(state, schedule=schedule.counted(state.schedule, words.good, practice))
    if kind is PracticeKind.LADDER:
        state = _climb(state, words.good, practice)
    top = None if rep.at_top is None else asked_turn.asked(rep.at_top, rules.cues)
    if guesses_asked(state, rules) and top is not None and top.shoulder_turn_deg is not None:
        guess = Guess(
            turn_deg=top.shoulder_turn_deg, se_deg=top.shoulder_turn_se_deg, since_s=now.t_s
        )
        state = replace(state, guess=guess)
    return state, rep


def verdict_words(state: PracticeState, rep: Rep, rules: Rules) -> RepWords:
    """Return the verdict on a complete rep by the rule of the kind in force."""
    practice = rules.practice
    kind = kind_of(state, practice)
    if kind is PracticeKind.CHECKPOINTS:
        points = state.points
        if points.all_held:
            again = "1 hold" if points.restarts == 1 else f"{points.restarts} holds"
            return RepWords(
                good=True,
                headline="All four checkpoints held",
                details=(f"{again} begun again",) if points.restarts else (),
            )
        name = checkpoints.NAMES[points.next]
        details: tuple[str, ...] = (f"{points.next} of {len(checkpoints.NAMES)} held",)
        if points.short:
            details = (*details, "out of reach? X takes a comfortable maximum")
        return RepWords(good=False, headline=f"Not held: {name}", details=details)
    words = words_for(rep, rules, PARTS.get(kind, WHOLE))
    if kind is not PracticeKind.LADDER:
        return words
    off = _off_pace(rep.backswing_s, RUNGS[state.rung], practice)
    if not off:
        rung = f"{RUNGS[state.rung]} speed, {rep.backswing_s:.1f} s back"
        return replace(words, details=(*words.details, rung))
    return RepWords(good=False, headline=off, details=words.lines)


def _off_pace(back_s: float | None, rung: str, practice: PracticeRules) -> str:
    """Return in words how a backswing misses the speed of its rung; empty where it does not."""
    slow_s, full_s = practice.ladder_slow_s, practice.ladder_full_s
    if back_s is None:
        return "Speed not measured"
    low_s, high_s = {
        "slow": (slow_s, float("inf")),
        "half": (full_s, slow_s),
        "full": (0.0, full_s),
    }[rung]
    if back_s < low_s:
        return f"Too quick for {rung}: {back_s:.1f} s, wanted {low_s:.1f} s or more"
    if back_s > high_s:
        return f"Too slow for {rung}: {back_s:.1f} s, wanted {high_s:.1f} s or less"
    return ""


def _climb(state: PracticeState, good: bool | None, practice: PracticeRules) -> PracticeState:
    rung_good = state.rung_good + int(good is True)
    if rung_good < practice.ladder_reps:
        return replace(state, rung_good=rung_good)
    rung = (state.rung + 1) % len(RUNGS)  # from the top it begins again
    return replace(state, rung=rung, rung_good=0, due=(*state.due, Signal.NEXT_KIND))


def _check(state: PracticeState, rep: Rep, rules: Rules) -> PracticeState:
    reps = (*state.check_reps, rep)
    left = state.check_left - 1
    if left:
        return replace(state, check_reps=reps, check_left=left)
    tops = [asked_turn.asked(r.at_top, rules.cues) for r in reps if r.at_top is not None]
    turns = [top.shoulder_turn_deg for top in tops if top.shoulder_turn_deg is not None]
    result = CheckResult(
        reps=len(reps),
        good=sum(r.verdict is not None and r.verdict.good is True for r in reps),
        turn_mean_deg=mean(turns) if turns else None,
        turn_sd_deg=stdev(turns) if len(turns) > 1 else None,
    )
    return replace(state, check_reps=(), check_left=0, check=result, telling=Telling.ALL)


def _next_signal(state: PracticeState, now: Step) -> tuple[PracticeState, tuple[Signal, ...]]:
    """Return the tone whose turn it is: never in a swing, never over another tone."""
    quiet = now.t_s - state.sounded_s >= APART_S and now.t_s - state.cue_s >= AFTER_CUE_S
    if not state.due or not quiet or now.phase in SWINGING:
        return state, ()
    return replace(state, due=state.due[1:], sounded_s=now.t_s), (state.due[0],)
