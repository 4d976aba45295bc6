"""A player's own standard errors, found with printed tags, in the place of everybody's."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

from trainer.core.asked_turn import LINE_PER_CHEST, LINE_PER_CHEST_SE
from trainer.core.records import Measures, Pose
from trainer.core.rules import OwnErrors
from trainer.core.setup import Reference

#: By stem: what ends the names of value and error.
STEMS: Final = {
    "shoulder_turn": "deg",
    "hip_turn": "deg",
    "chest_pitch": "deg",
    "hip_lateral": "cm",
    "head_lateral": "cm",
    "head_vertical": "cm",
}
#: The tags tell the chest, and the shoulder line is only made of it: so much of the line's turn
#: stays unsure, however well the tags sit.
LINE_SHARE: Final = LINE_PER_CHEST_SE / LINE_PER_CHEST
#: A player whose size in the picture differs by more stands elsewhere, or another camera sees.
#: Chosen: standing at 3.5 m in place of 3 is one part in six.
SAME_SCALE: Final = 0.15


def floor_of(stem: str, floor: float, value: float) -> float:
    """Return the least standard error that may be told of ``value``."""
    return math.hypot(floor, LINE_SHARE * value) if stem == "shoulder_turn" else floor


def with_own_errors(
    now: Measures, pose: Pose | None, reference: Reference | None, own: OwnErrors | None
) -> Measures:
    """Return ``now`` with the player's own standard errors while the set-up is the same.

    The very same record comes back without any, in a picture of another size, and before a
    player of another size in it.
    """
    if own is None or pose is None or reference is None:
        return now
    if pose.size_wh != (own.width_px, own.height_px):
        return now
    scale = reference.cm_per_px if own.cm_per_px is None else own.cm_per_px
    if abs(reference.cm_per_px / scale - 1.0) > SAME_SCALE:
        return now
    told: dict[str, Any] = {}
    for stem, unit in STEMS.items():
        value, se = getattr(now, f"{stem}_{unit}"), getattr(now, f"{stem}_se_{unit}")
        factor: float = getattr(own, f"{stem}_factor")
        if value is None or se is None or factor == 1.0:
            continue
        own_se = factor * se
        if factor < 1.0:  # a floor holds an error up; it makes none larger than it was
            floor = floor_of(stem, getattr(own, f"{stem}_floor"), value)
            own_se = max(own_se, min(floor, se))
        told[f"{stem}_se_{unit}"] = own_se
    return replace(now, **told)
