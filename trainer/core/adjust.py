"""What a coach changes on the spot: target and tolerances by steps, the comfortable maximum.

Nothing here lifts a target more than 5 degrees above the comfortable maximum, nor any after pain.
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from typing import Any, Final

from trainer.core import bay_words, own_rep, summary
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Rep
from trainer.core.rules import Rules

LEAST_COMFORT_DEG: Final = 20.0  #: a turn read lower is taken as this far


class Part(str, Enum):
    """What is changed: a field of ``CueRules``."""

    TARGET = "target_deg"
    BAND = "turn_band_deg"
    HEAD = "head_tol_cm"
    HIPS = "hip_tol_cm"


#: How far one step goes; the lowest and the highest are those of the settings.
STEPS: Final = {Part.TARGET: 1.0, Part.BAND: 1.0, Part.HEAD: 0.5, Part.HIPS: 0.5}
LIMITS: Final = {
    Part.TARGET: (45.0, 110.0),
    Part.BAND: (0.0, 30.0),
    Part.HEAD: (1.0, 30.0),
    Part.HIPS: (1.0, 30.0),
}


def adjusted(rules: Rules, part: Part, way: int) -> tuple[Rules, str]:
    """Return the rules with ``part`` moved one step up (+1) or down (-1), and it in words.

    What may not be moved stays, and the words say why: no turn is asked for after pain, a
    reference in use is not moved by hand, and no target is lifted over the comfortable maximum.
    """
    why = _fixed(rules, part)
    if why:
        return rules, why
    low, high = LIMITS[part]
    now = _in_force(rules, part)
    wanted = _on_step(now, STEPS[part], way)
    if part is Part.TARGET and way > 0 and wanted > own_rep.most_target_deg(rules):
        return rules, summary.comfort_words(rules)
    wanted = min(max(wanted, low), high)
    if (wanted - now) * way <= 0:
        return rules, f"{now_words(rules, part)}: {bay_words.ENDS[way]}"
    changed: dict[str, Any] = {part.value: wanted}
    rules = replace(rules, cues=replace(rules.cues, **changed))
    return rules, now_words(rules, part)


def now_words(rules: Rules, part: Part) -> str:
    """Return what ``part`` is now, in words."""
    return bay_words.part_words(part.value, _in_force(rules, part))


def contradiction(rules: Rules) -> str:
    """Return in words where what is kept of a player contradicts itself; empty where it does not.

    What then counts is the comfortable maximum.
    """
    own, wanted_deg = own_rep.in_use(rules), rules.cues.target_deg
    if own is not None:
        wanted_deg = own.turn_deg
    most_deg = own_rep.most_target_deg(rules)
    if wanted_deg <= most_deg:
        return ""
    return bay_words.over_comfort_words(wanted_deg, most_deg, own=own is not None)


def comfort_taken(rep: Rep | None, rules: Rules) -> tuple[Rules, str]:
    """Return the rules with the turn of ``rep`` as the comfortable maximum, and it in words."""
    cues = replace(rules.cues, turn_of=TurnOf.SHOULDERS)  # comfort is told of these
    own = own_rep.own_from(rep, replace(rules, cues=cues))
    if own is None:
        return rules, summary.NO_COMFORT
    comfort_deg = min(max(float(round(own.turn_deg)), LEAST_COMFORT_DEG), own_rep.MOST_DEG)
    before_deg = rules.comfort_deg
    if rules.pain and before_deg is not None:
        comfort_deg = min(comfort_deg, before_deg)  # after pain nothing is raised
    rules = replace(rules, comfort_deg=comfort_deg)
    return rules, summary.comfort_words(rules)


def _fixed(rules: Rules, part: Part) -> str:
    """Return why ``part`` may not be moved at all now; empty where it may."""
    if part is not Part.TARGET:
        return ""
    if rules.pain:
        return bay_words.PAIN_FIXED
    if own_rep.in_use(rules) is not None:
        return bay_words.OWN_FIXED
    return ""


def _in_force(rules: Rules, part: Part) -> float:
    cues = own_rep.cue_rules(rules) if part is Part.TARGET else rules.cues
    value: float = getattr(cues, part.value)
    return value


def _on_step(value: float, step: float, way: int) -> float:
    """Return the next whole step: 84.3 and up gives 85, down 84."""
    steps = value / step
    whole = round(steps)
    if abs(steps - whole) < 1e-6:
        return (whole + way) * step
    return ((steps // 1) + (1 if way > 0 else 0)) * step
