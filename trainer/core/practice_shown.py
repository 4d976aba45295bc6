"""What the screen needs of the practice: worked out once a step, nothing drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trainer.core import checkpoints, own_rep
from trainer.core.checkpoints import CheckState
from trainer.core.cues import SWINGING
from trainer.core.practice import PracticeState, guesses_asked, kind_of
from trainer.core.practice_rules import CueSchedule, PracticeKind
from trainer.core.practice_words import ASK_GUESS, offer_words, points_words, schedule_words
from trainer.core.records import Phase, Pose
from trainer.core.rules import Rules
from trainer.core.schedule import Telling
from trainer.core.setup import Reference
from trainer.core.setup_check import SetupFinding

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointsShown:
    """Slow checkpoints, as they stand."""

    next: int  #: row of ``checkpoints.NAMES``; their number once all are held
    held_share: float  #: of the hold under way, 0..1
    skipped: bool
    ghost_px: FloatArray | None  #: (33, 2) the player at the next one; None before a setup
    now_px: FloatArray | None  #: (33, 2) the player now
    from_own: bool  #: the ghost is of the reference rep

    def moved(self, points: CheckState, pose: Pose | None, rules: Rules) -> PointsShown:
        """Return the same with the hold and the player as they are now."""
        return replace(
            self,
            held_share=min(points.held_s / max(rules.practice.hold_s, 1e-6), 1.0),
            now_px=None if pose is None else pose.image_px,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeShown:
    """What is practised and how much of it may be seen now."""

    kind: PracticeKind = PracticeKind.FREE
    cues: CueSchedule = CueSchedule.EVERY
    guess_first: bool = False
    turn: bool = True  #: the turn may be shown now
    drifts: bool = True  #: head and hips may be shown now
    verdict: bool = True  #: the last rep's verdict and figures may be shown
    line: str = ""  #: kind, schedule and the rep to come, in one line; empty where nothing is set
    headline: str = ""  #: to be read from afar in place of the phase; empty: the phase
    points: PointsShown | None = None
    setup: tuple[SetupFinding, ...] = ()  #: what the setup check read of this setup
    paused: bool = False
    gestures: bool = True  #: signs by hand are answered
    sign: str = ""  #: what the sign being held will do; empty while none is


def shown(
    state: PracticeState,
    phase: Phase,
    pose: Pose | None,
    reference: Reference | None,
    rules: Rules,
    setup: tuple[SetupFinding, ...] = (),
) -> PracticeShown:
    """Return what may be seen now.

    In a swing nothing is shown of a rep that is not told; with faults alone no bar is, for a
    bar tells all the way; with a guess to be made the turn is not.
    """
    practice = rules.practice
    kind = kind_of(state, practice)
    swinging = phase in SWINGING
    bars = state.telling is not Telling.NOTHING
    if state.telling is Telling.FAULTS and swinging:
        bars = False
    guess = state.guess is not None
    turn = bars and not guess and not (swinging and guesses_asked(state, rules))
    rep = "this" if swinging or phase is Phase.SETUP else "next"
    plain = kind is PracticeKind.FREE and practice.cues is CueSchedule.EVERY
    plain = plain and not practice.guess_first and not state.check_left
    return PracticeShown(
        kind=kind,
        cues=practice.cues,
        guess_first=practice.guess_first,
        gestures=practice.gestures,
        turn=turn and kind is not PracticeKind.CENTRED,
        drifts=bars and not guess and kind is not PracticeKind.TURN_ONLY,
        verdict=not guess,
        line="" if plain else schedule_words(state, rules, rep),
        headline=_headline(state, phase, rules) or setup_words(setup, phase),
        setup=setup,
        points=_points(state, pose, reference, rules),
    )


def _headline(state: PracticeState, phase: Phase, rules: Rules) -> str:
    if state.guess is not None:
        return ASK_GUESS
    words = points_words(state, rules)
    if words and phase in SWINGING | {Phase.SETUP}:
        return words
    if state.offered and phase not in SWINGING:
        return offer_words(rules.practice.check_reps)
    return ""


def setup_words(setup: tuple[SetupFinding, ...], phase: Phase) -> str:
    """Return what is off in this setup; empty where all is fine."""
    if phase is not Phase.SETUP:
        return ""
    return ", ".join(finding.word for finding in setup if not finding.fine)


def _points(
    state: PracticeState, pose: Pose | None, reference: Reference | None, rules: Rules
) -> PointsShown | None:
    if kind_of(state, rules.practice) is not PracticeKind.CHECKPOINTS:
        return None
    points, own = state.points, own_rep.in_use(rules)
    row = min(points.next, checkpoints.TOP)
    ghost = None
    if reference is not None:
        target_deg = own_rep.cue_rules(rules).target_deg
        ghost = checkpoints.ghost_px(row, reference, own, target_deg)
    still = PointsShown(
        next=points.next,
        held_share=0.0,
        skipped=points.skipped,
        ghost_px=ghost,
        now_px=None,
        from_own=own is not None,
    )
    return still.moved(points, pose, rules)


def resting(before: PracticeShown, why: str) -> PracticeShown:
    """Return what is shown in a pause."""
    return replace(before, headline=why, paused=True, points=None)
