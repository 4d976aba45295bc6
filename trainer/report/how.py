"""How the figures of a page were taken, and how sure they are."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Final

from trainer.core.counted import counted
from trainer.report.chosen import Material
from trainer.report.html import bullets, section
from trainer.store.records import Kind

_ALWAYS: Final = (
    "Zero is the player's own setup. Turn and sideways values are positive away from the target, "
    "heights positive up.",
    "± is one standard error, as each reading states it of itself: about two readings in three "
    "should lie within it. It was found on rendered people whose joints are known; no golfer was "
    "filmed for it, so take it as the good end of what to expect.",
    "A reading beyond its limit by less than is likely (75 %) by its ± is called near the limit.",
    "A difference of averages is called a change only where it is larger than t times its standard "
    "error (Welch 1947, 95 %), and larger than the ± of one reading: part of that is common to all "
    "reps before a camera, so that averaging does not take it away.",
    "A measure that was not read is “not measured”; it is never taken as 0.",
    "Do not compare the turn with published figures: two usual laboratory methods differ by about "
    "16° in the separation of shoulders and hips (Smith and others 2016, Journal of Applied "
    "Biomechanics 32:23).",
)


def how_taken(material: Material) -> ET.Element:
    """Return the section on camera, model, scale, signs and standard errors."""
    reps = material.reps
    sessions = [one.session for one in material.sessions]
    hands = sorted({kept.handed.value for kept in reps})
    statures = sorted({kept.stature_cm for kept in reps if kept.stature_cm is not None})
    scales = {kept.scale_from_stature for kept in reps}
    clips = sum(one.kind is Kind.CLIP for one in sessions)
    live = len(sessions) - clips
    taken = [counted(live, "live session")] if live else []
    taken += [counted(clips, "clip")] if clips else []
    player = [f"{hand}-hander" for hand in hands] + [f"{cm:g} cm" for cm in statures]
    lines = [
        f"Taken by one camera, face-on ({', '.join(dict.fromkeys(s.source for s in sessions))}), "
        "from body points found by the pose model "
        f"({', '.join(dict.fromkeys(s.model for s in sessions))}); {' and '.join(taken)}.",
        f"Player: {', '.join(player) or 'hand and stature not known'}.",
        *_ALWAYS,
    ]
    if True in scales:
        lines.append(
            "Centimetres: the legs were the ruler, from the stature told; that may be a few per "
            "cent off for a given person."
        )
    if False in scales:
        lines.append(
            "Centimetres: by the pose model's own guess of the body's size, as no stature was told."
        )
    if not all(one.model_fitted for one in sessions):
        lines.append(
            "Another pose model was used than the readings were fitted with: their ± was widened."
        )
    return section("How the figures were taken, and how sure they are", bullets(lines))
