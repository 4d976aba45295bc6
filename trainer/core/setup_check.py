"""The setup check: one still look at address, before every rep.

Stance, side tilt, ball line, head and hips against bands that the coach can move. The bands are
conventions of teaching, no source: what is common at address with a driver, not what is right
for a player. Everything is read in the picture from the reference's points, so it needs no
estimator; a camera that is not square or level shifts it (docs/measures.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from trainer.core import geometry as geo
from trainer.core.landmarks import Landmark
from trainer.core.rules import Rules
from trainer.core.setup import Reference

#: Of the width of the shoulders: a body seen narrower than this tells no stance.
LEAST_WIDTH_PX: Final = 5.0
_EDGE: Final = 1e-6  #: the edge itself is inside, however it was rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupFinding:
    """One thing looked at: what was read, its band, and what to say of it."""

    part: str  #: "stance", "tilt", "ball", "head" or "hips"
    value: float
    low: float
    high: float
    y_px: float  #: row of the unmirrored picture it is about
    word: str  #: what is off, in a word or two; empty inside the band

    @property
    def fine(self) -> bool:
        """True inside the band."""
        return not self.word


def findings(reference: Reference, rules: Rules) -> tuple[SetupFinding, ...]:
    """Return everything that could be read of this setup, in the order feet to head.

    ``stance``: ankle to ankle over shoulder to shoulder, both across the picture; 1 equal.
    ``hips``: mid-hip from mid-ankle along the target line over the stance, + away from the
    target; 0 midway. It is where the hips stand, nothing about the load on the feet, which a
    camera cannot see. ``tilt``: mid-hip to mid-shoulder from the picture's upright in degrees,
    + away. ``ball``: the ball line from the lead shoulder in cm, + away; left out without a line.
    ``head``: how far the head is behind the ball line in cm, + away from the target.
    """
    points, sign = reference.image_px, geo.away_sign(reference.handed)
    checks, found = rules.setup_check, []
    lead, trail = geo.lead_trail(reference.handed, "shoulder")
    ankles = points[[Landmark.LEFT_ANKLE, Landmark.RIGHT_ANKLE]]
    width_px = abs(float(points[lead, 0] - points[trail, 0]))
    stance_px = abs(float(ankles[0, 0] - ankles[1, 0]))
    feet_y, hips, chest = float(ankles[:, 1].mean()), reference.hip_px, reference.chest_px
    if width_px >= LEAST_WIDTH_PX:
        found.append(
            _finding("stance", stance_px / width_px, checks.stance_low, checks.stance_high, feet_y)
        )
    if stance_px >= LEAST_WIDTH_PX:
        off = sign * float(hips[0] - ankles[:, 0].mean()) / stance_px
        share = checks.hips_off_share
        found.append(_finding("hips", off, -share, share, float(hips[1])))
    leaning = chest - hips
    tilt_deg = math.degrees(math.atan2(sign * float(leaning[0]), -float(leaning[1])))
    middle_y = float(chest[1] + hips[1]) / 2
    found.append(_finding("tilt", tilt_deg, checks.tilt_low_deg, checks.tilt_high_deg, middle_y))
    line_cm = rules.ball_line_cm
    if line_cm is not None:
        off_cm = checks.ball_off_cm
        found.append(_finding("ball", line_cm, -off_cm, off_cm, float(points[lead, 1])))
        head = geo.head_point(points)
        from_lead_cm = sign * float(head[0] - points[lead, 0]) * reference.cm_per_px
        found.append(
            _finding(
                "head", from_lead_cm - line_cm, checks.head_behind_cm, math.inf, float(head[1])
            )
        )
    return tuple(item for item in found if np.isfinite(item.value))


#: What is off below and above each band.
_WORDS: Final = {
    "stance": ("stance narrow", "stance wide"),
    "hips": ("hips toward the target", "hips away from the target"),
    "tilt": ("trunk toward the target", "trunk tilted far"),
    "ball": ("ball far forward", "ball far back"),
    "head": ("head over the ball", ""),
}


def _finding(part: str, value: float, low: float, high: float, y_px: float) -> SetupFinding:
    row = 0 if value < low - _EDGE else 1 if value > high + _EDGE else None
    return SetupFinding(
        part=part,
        value=value,
        low=low,
        high=high,
        y_px=y_px,
        word="" if row is None else _WORDS[part][row],
    )
