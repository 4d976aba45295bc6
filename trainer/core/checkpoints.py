"""Slow checkpoints: a backswing in order, each place reached and held before the next counts.

Setup, hands at hip height, lead arm level, top. Where the hands are is read from their level on
the body and from the slope of the line from the lead shoulder to the hands; the bands are design
choices. A hold begins again when its band is left or the hands move on inside it: hands that only
pass by hold nothing. No controlled trial of slow practice in golf is known to us: it is common
practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core import own_rep
from trainer.core.measures import hand_level
from trainer.core.records import Measures, Phase, Pose, Signal
from trainer.core.rules import OwnRep, Rules
from trainer.core.setup import Reference

FloatArray = NDArray[np.float64]

NAMES: Final = ("setup", "hands at hip height", "lead arm level", "top")
TOP: Final = 3
#: The tone of each checkpoint held: each higher than the last.
HELD: Final = (Signal.CHECK_1, Signal.CHECK_2, Signal.CHECK_3, Signal.CHECK_4)

#: The hands' height; 0 the line of the hip joints, 1 of the shoulders. Hands "at hip height" are
#: seen about the belt: at 0.33 on a rendered player told to pause there.
HIP_LEVEL: Final = (-0.1, 0.45)
HIP_ARC_DEG: Final = 25.0  #: farther round than this: hands hang at about hip height too
ARM_DEG: Final = (-12.0, 12.0)  #: slope of the line from the lead shoulder to the hands
#: The model sees the turned lead shoulder above its joint, so the arm seems to hang lower by this:
#: the median of 1638 readings within 15 degrees of level, of 102 rendered backswings. Of 261
#: readings of others within 8 degrees of level 55 % were in the band without it, 92 % are with it.
SEEN_LOW_DEG: Final = 9.0
#: Past these a checkpoint was skipped; between them and the band is the way there and back.
HIP_PAST: Final = 0.62
ARM_PAST_DEG: Final = 30.0
#: Held inside, a band is so much wider, so that noise does not end a hold.
EASE_LEVEL: Final = 0.06
EASE_DEG: Final = 4.0
EASE_CM: Final = 0.5
#: Held means that the hands stay as near as this to where the hold began. A slow backswing without
#: a stop takes a second through a band; the hands of a rendered golfer who stops seem to wander 2.
HELD_CM: Final = 6.0
SOUNDED_S: Final = 0.25  #: a hold that lasted less is not missed when it ends
GAP_S: Final = 0.3  #: unread for longer: nobody knows whether the band was left
#: Where the ghost's hands stand at the top, about mid-shoulder, without a reference rep; chosen.
TOP_ARC_DEG: Final = 140.0
#: How far the ghost's shoulders have turned, as a share of the target; drawn only, never asked.
TURN_SHARE: Final = (0.0, 0.35, 0.7, 1.0)

_ON_THE_WAY: Final = frozenset({Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckState:
    """How far through the checkpoints this backswing has come."""

    next: int = 0  #: row of ``NAMES``; their number once all are held
    since_s: float | None = None  #: inside the next one's band since then
    held_s: float = 0.0  #: for so long
    longest_s: float = 0.0  #: the longest hold since the band was entered
    at_cm: tuple[float, float] | None = None  #: where the hands were when the hold began
    seen_s: float | None = None
    skipped: bool = False  #: the next one was passed without being held
    outside: str = ""  #: what keeps the hands' place from counting: "turn", "head" or "hips"
    short: bool = False  #: the top was stood in with the turn not there
    restarts: int = 0
    phase: Phase = Phase.NOBODY

    @property
    def all_held(self) -> bool:
        """True once every checkpoint was held in order."""
        return self.next == len(NAMES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the hands are on the way."""

    level: float  #: 0 hip line, 1 shoulder line at setup
    arm_deg: float  #: slope from the lead shoulder to the hands; 0 level, + hands higher
    arc_deg: float
    hands_cm: tuple[float, float]  #: from setup, + away from the target and + up


def step(
    state: CheckState,
    now: Measures,
    phase: Phase,
    pose: Pose | None,
    reference: Reference | None,
    rules: Rules,
) -> tuple[CheckState, tuple[Signal, ...]]:
    """Advance by one reading; return the new state and the tones it is worth."""
    if phase not in _ON_THE_WAY:
        # What was reached stays to be judged until the player stands at address again.
        return replace(_unheld(state), phase=phase, outside=""), ()
    if phase is Phase.SETUP and state.phase not in _ON_THE_WAY:
        state = CheckState()
    state = replace(state, phase=phase)
    place = place_of(now, pose, reference)
    if state.all_held:
        return state, ()
    if place is None:
        if state.seen_s is not None and now.t_s - state.seen_s > GAP_S:
            state = _unheld(state)
        return state, ()
    inside, outside = _inside(state, place, now, phase, rules)
    if state.seen_s is not None and now.t_s - state.seen_s > GAP_S:
        state = _unheld(state)
    state = replace(state, seen_s=now.t_s, outside=outside)
    if outside == "turn":
        state = replace(state, short=True)
    if inside:
        return _held(state, now.t_s, place, rules)
    return _not_inside(state, place, phase, rules)


def _unheld(state: CheckState) -> CheckState:
    return replace(state, since_s=None, held_s=0.0, longest_s=0.0, at_cm=None)


def _held(
    state: CheckState, t_s: float, place: Place, rules: Rules
) -> tuple[CheckState, tuple[Signal, ...]]:
    since_s, at_cm = state.since_s, state.at_cm
    if since_s is None or at_cm is None or math.dist(at_cm, place.hands_cm) > HELD_CM:
        since_s, at_cm = t_s, place.hands_cm
    held_s = t_s - since_s
    if held_s < rules.practice.hold_s - 1e-9:
        longest_s = max(state.longest_s, held_s)
        state = replace(state, since_s=since_s, held_s=held_s, longest_s=longest_s, at_cm=at_cm)
        return replace(state, skipped=False), ()
    done = state.next
    return replace(_unheld(state), next=done + 1, skipped=False), (HELD[done],)


def _not_inside(
    state: CheckState, place: Place, phase: Phase, rules: Rules
) -> tuple[CheckState, tuple[Signal, ...]]:
    signals: tuple[Signal, ...] = ()
    if state.longest_s >= SOUNDED_S and state.next > 0:  # a setup left too soon is one skipped
        state, signals = replace(state, restarts=state.restarts + 1), (Signal.CHECK_LEFT,)
    state = _unheld(state)
    if not state.skipped and _is_past(state.next, place, phase, rules):
        return replace(state, skipped=True), (Signal.CHECK_SKIPPED,)
    return state, signals


def place_of(now: Measures, pose: Pose | None, reference: Reference | None) -> Place | None:
    """Return where the hands are; None without a pose, a setup or the hands."""
    lateral, height, arc = now.hand_lateral_cm, now.hand_height_cm, now.hand_arc_deg
    if pose is None or reference is None or lateral is None or height is None or arc is None:
        return None
    sign = geo.away_sign(reference.handed)
    lead, _ = geo.lead_trail(reference.handed, "shoulder")
    hand_x, hand_y = reference.hand_px.tolist()
    lead_x, lead_y = pose.image_px[lead].tolist()
    out = (hand_x - lead_x) * sign + lateral / reference.cm_per_px
    up = lead_y - hand_y + height / reference.cm_per_px
    return Place(
        level=hand_level(height, reference),
        arm_deg=math.degrees(math.atan2(up, out)) + SEEN_LOW_DEG,
        arc_deg=arc,
        hands_cm=(lateral, height),
    )


def _inside(
    state: CheckState, place: Place, now: Measures, phase: Phase, rules: Rules
) -> tuple[bool, str]:
    """Return whether the next checkpoint's band is kept, and what of the body leaves it."""
    ease = 1.0 if state.since_s is not None else 0.0
    row = state.next
    if row == 0:
        there = phase is Phase.SETUP
    elif row == 1:
        margin = EASE_LEVEL * ease
        low, high = HIP_LEVEL[0] - margin, HIP_LEVEL[1] + margin
        there = low <= place.level <= high and place.arc_deg >= HIP_ARC_DEG
    elif row == 2:
        margin = EASE_DEG * ease
        low, high = ARM_DEG[0] - margin, ARM_DEG[1] + margin
        there = low <= place.arm_deg <= high and place.arc_deg >= HIP_ARC_DEG
    else:
        high_enough = rules.phases.low_top_height - EASE_LEVEL * ease
        there = place.level >= high_enough and place.arm_deg >= ARM_DEG[1] - EASE_DEG * ease
    if not there:
        return False, ""
    outside = _body_outside(row, now, rules, ease)
    return not outside, outside


def _body_outside(row: int, now: Measures, rules: Rules, ease: float) -> str:
    """Return which part of the body is out of its band at the checkpoint; empty for none.

    The head counts all the way, the hips and the turn at the top; the hips everywhere when they
    are strict. With pain marked no turn is asked for.
    """
    cues = own_rep.cue_rules(rules)
    off = own_rep.judged(now, rules)
    head = max((abs(x) for x in (off.head_lateral_cm, off.head_vertical_cm) if x is not None),
               default=0.0)  # fmt: skip
    if head > cues.head_tol_cm + EASE_CM * ease:
        return "head"
    hips = abs(off.hip_lateral_cm or 0.0)
    if (row == TOP or cues.hips_strict) and hips > cues.hip_tol_cm + EASE_CM * ease:
        return "hips"
    turn = off.shoulder_turn_deg
    if row == TOP and not rules.pain:
        asked = cues.target_deg - cues.turn_band_deg - EASE_DEG * ease
        if turn is None or turn < asked:
            return "turn"
    return ""


def _is_past(row: int, place: Place, phase: Phase, rules: Rules) -> bool:
    if row == 0:
        return phase is not Phase.SETUP and place.arc_deg >= HIP_ARC_DEG
    if row == 1:
        return place.level > HIP_PAST
    if row == 2:
        # Not every top is so steep: hands that rest above the band have passed it too.
        rest = phase is Phase.TOP and place.level >= rules.phases.low_top_height
        return place.arm_deg > (ARM_DEG[1] if rest else ARM_PAST_DEG) and place.level > 0.5
    return False


def ghost_px(row: int, reference: Reference, own: OwnRep | None, target_deg: float) -> FloatArray:
    """Return the player's own setup points (33, 2) with arms and shoulders at checkpoint ``row``.

    From the reference rep where one is in use and the row is the top, else from the bands. It is
    drawn beside the player, never over: a template that lies on the movement makes it lean on
    the template (Buchanan and Wang 2012, Experimental Brain Research 222:305).
    """
    points: FloatArray = reference.image_px.copy()
    sign = geo.away_sign(reference.handed)
    if row == 0:
        return points
    cm = reference.cm_per_px
    turn_deg = TURN_SHARE[row] * (target_deg if own is None else own.turn_deg)
    lead, trail = geo.lead_trail(reference.handed, "shoulder")
    middle = reference.chest_px.copy()
    if row == TOP and own is not None:
        middle[0] += sign * (own.head_lateral_cm or 0.0) / cm / 2
    half_px = (reference.image_px[lead] - reference.image_px[trail]) / 2
    half_px = half_px * [math.cos(math.radians(turn_deg)), 1.0]
    points[lead], points[trail] = middle + half_px, middle - half_px
    hands = _ghost_hands(row, reference, own)
    for part in ("wrist", "elbow"):
        share, sides = 1.0 if part == "wrist" else 0.5, geo.lead_trail(reference.handed, part)
        for side, shoulder in zip(sides, (lead, trail), strict=True):
            points[side] = points[shoulder] + share * (hands - points[shoulder])
    return points


def _ghost_hands(row: int, reference: Reference, own: OwnRep | None) -> FloatArray:
    sign, cm = geo.away_sign(reference.handed), reference.cm_per_px
    if row == TOP and own is not None and own.hand_lateral_cm is not None:
        moved = np.array([sign * own.hand_lateral_cm, -(own.hand_height_cm or 0.0)])
        place: FloatArray = reference.hand_px + moved / cm
        return place
    chest, reach = reference.chest_px, float(np.linalg.norm(reference.hand_px - reference.chest_px))
    if row == 1:
        level = (HIP_LEVEL[0] + HIP_LEVEL[1]) / 2
        y = reference.hip_px[1] - level * (reference.hip_px[1] - chest[1])
        angle = math.acos(min(max((float(y) - float(chest[1])) / reach, -1.0), 1.0))
    else:
        angle = math.radians(90.0 if row == 2 else TOP_ARC_DEG)
    hands: FloatArray = chest + reach * np.array([sign * math.sin(angle), math.cos(angle)])
    return hands


def words(state: CheckState, rules: Rules) -> str:
    """Return what to do now, to be read from afar."""
    if state.all_held:
        return "all four held"
    name = NAMES[state.next]
    if state.skipped:
        return f"skipped: {name}, go back"
    if state.outside:
        return (
            f"{name}: {'turn not there yet' if state.outside == 'turn' else f'{state.outside} out'}"
        )
    return f"hold: {name}" if state.since_s is not None else f"next: {name}"
