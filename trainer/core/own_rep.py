"""The reference rep of the day: target and bands from the player's own top.

A player marks a rep ("this one"). When wished, the target is then that rep's turn, and the bands
for head and hips lie round its figures. It changes what is asked for, never what is measured.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from trainer.core.asked_turn import LINE_PER_CHEST, asked
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Measures, Rep
from trainer.core.rules import CueRules, OwnRep, Rules

#: A turn read larger than this is asked of nobody; the same limit as for ``target_deg``.
MOST_DEG: Final = 110.0

#: No target lies further than this above the player's comfortable maximum. Chosen.
OVER_COMFORT_DEG: Final = 5.0

#: Figures this near are the same: half of what is rounded off where they are kept.
SAME: Final = 0.006

Band = tuple[float, float]


def own_from(rep: Rep | None, rules: Rules) -> OwnRep | None:
    """Return the figures at the top of a complete rep; None where it cannot be a reference."""
    if rep is None or not rep.complete or rep.at_top is None:
        return None
    top = asked(rep.at_top, rules.cues)
    if top.shoulder_turn_deg is None:
        return None
    return OwnRep(
        turn_deg=top.shoulder_turn_deg,
        head_lateral_cm=top.head_lateral_cm,
        head_vertical_cm=top.head_vertical_cm,
        hip_lateral_cm=top.hip_lateral_cm,
        back_gap_cm=top.back_gap_cm,
        hand_lateral_cm=top.hand_lateral_cm,
        hand_height_cm=top.hand_height_cm,
    )


def is_of(top: Measures | None, own: OwnRep, turn_of: TurnOf) -> bool:
    """Tell whether ``own`` was taken from a rep with this top.

    Figures may have been rounded to 0.01 where the reference was kept.
    """
    if top is None:
        return False
    mine = asked(top, CueRules(turn_of=turn_of))
    return all(
        one is other if one is None or other is None else math.isclose(one, other, abs_tol=SAME)
        for one, other in (
            (mine.shoulder_turn_deg, own.turn_deg),
            (mine.head_lateral_cm, own.head_lateral_cm),
            (mine.hip_lateral_cm, own.hip_lateral_cm),
        )
    )


def in_use(rules: Rules) -> OwnRep | None:
    """Return the reference that target and bands are taken from now; None for none."""
    return rules.own if rules.cues.own_top else None


def cue_rules(rules: Rules) -> CueRules:
    """Return the cue rules with the target in force now.

    Never more than ``OVER_COMFORT_DEG`` above the comfortable maximum, whoever chose the target.
    Once pain is marked a reference may lower the target, never raise it.
    """
    own, target_deg = in_use(rules), rules.cues.target_deg
    if own is not None:
        target_deg = min(own.turn_deg, MOST_DEG)
        if rules.pain:
            target_deg = min(target_deg, rules.cues.target_deg)
    target_deg = min(target_deg, most_target_deg(rules))
    if target_deg == rules.cues.target_deg:
        return rules.cues
    return replace(rules.cues, target_deg=target_deg)


def most_target_deg(rules: Rules) -> float:
    """Return the highest target the comfortable maximum allows; infinite without one."""
    if rules.comfort_deg is None:
        return math.inf
    most_deg = rules.comfort_deg + OVER_COMFORT_DEG
    # Comfort is told of the shoulders.
    return most_deg / LINE_PER_CHEST if rules.cues.turn_of is TurnOf.CHEST else most_deg


def path_band(own_cm: float | None, tol_cm: float) -> Band:
    """Return (lowest, highest) drift allowed all the way from setup to the top.

    Setup reads 0 and the reference's top reads ``own_cm``, so all between them is allowed, with
    the tolerance beyond either end. Without a figure the band lies round the setup.
    """
    own_cm = own_cm or 0.0
    return min(0.0, own_cm) - tol_cm, max(0.0, own_cm) + tol_cm


def top_band(own_cm: float | None, tol_cm: float) -> Band:
    """Return (lowest, highest) drift allowed at the top alone."""
    own_cm = own_cm or 0.0
    return own_cm - tol_cm, own_cm + tol_cm


def hip_band(own: OwnRep | None, cues: CueRules) -> Band:
    """Return the hips' band: at the top alone, or all the way with ``hips_strict``."""
    own_cm = None if own is None else own.hip_lateral_cm
    return (path_band if cues.hips_strict else top_band)(own_cm, cues.hip_tol_cm)


def beyond(value_cm: float | None, band: Band, tol_cm: float) -> float | None:
    """Return the drift counted from the inner band's nearer end, so that it is out past ``tol_cm``.

    The inner band is ``band`` less the tolerance at both ends: one point, or the way from setup to
    the reference's top. Inside it the drift counts as 0.
    """
    if value_cm is None:
        return None
    low, high = band[0] + tol_cm, band[1] - tol_cm
    return value_cm - min(max(value_cm, low), high)


def judged(now: Measures, rules: Rules) -> Measures:
    """Return ``now`` for the cues: the turn asked for, drifts counted from the reference in use."""
    own, cues = in_use(rules), rules.cues
    now = asked(now, cues)
    if own is None:
        return now
    head, hips = cues.head_tol_cm, cues.hip_tol_cm
    return replace(
        now,
        head_lateral_cm=beyond(now.head_lateral_cm, path_band(own.head_lateral_cm, head), head),
        head_vertical_cm=beyond(now.head_vertical_cm, path_band(own.head_vertical_cm, head), head),
        hip_lateral_cm=beyond(now.hip_lateral_cm, hip_band(own, cues), hips),
    )
