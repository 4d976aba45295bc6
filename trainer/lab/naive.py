"""What a first attempt would read, to be compared with."""

from __future__ import annotations

from trainer.core import geometry as geo
from trainer.core.records import Pose
from trainer.core.setup import Reference


def width_turn_deg(pose: Pose, reference: Reference) -> float:
    """Return the shoulder turn as the arc cosine of the width's ratio to that at setup.

    NaN when the shoulders had no width at setup.
    """
    lead, trail = geo.lead_trail(reference.handed, "shoulder")
    away = geo.away_sign(reference.handed)
    now = float(pose.image_px[trail, 0] - pose.image_px[lead, 0]) * away
    then = float(reference.image_px[trail, 0] - reference.image_px[lead, 0]) * away
    return geo.turn_from_width_deg(now, then) if then > 0 else float("nan")
