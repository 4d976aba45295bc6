"""The ball line, and how far the upper back still is from it at the top.

The ball line is the vertical through the ball in the picture. Where the ball lies is not seen by
the program, so the line starts in line with the lead shoulder at setup, and the player moves it.
At the top of a driver backswing the back faces the target; how far its edge has come to the
ball line tells how far the upper body has gone round and behind the ball. That it is read so is
common practice in golf teaching, no source; the limits are design choices.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core import middles
from trainer.core.records import Outline, Pose
from trainer.core.setup import Reference

FloatArray = NDArray[np.float64]

#: The rows of the upper back, from mid-hip (0) to mid-shoulder (1) of the pose now. Below them is
#: the waist, which hardly turns with the shoulders; above them are the shoulder's cap and the
#: neck, and at the top of the backswing often the raised lead arm. Chosen for that.
BAND: Final = (0.45, 0.85)

#: The arm reaches this far round the line from joint to joint. Chosen: an upper arm is about
#: 10 cm thick, and a sleeve adds to it.
ARM_HALF_CM: Final = 6.0

#: Of the rows' ends, this share lies on the trail side of what is called the edge. The farthest
#: point is meant, but single rows stick out (a fold of cloth, a speck of the silhouette).
EDGE_SHARE: Final = 0.8

#: One press of a key moves the ball line so far; so fine that a drag seems smooth.
STEP_CM: Final = 0.5
#: The line stays within so far of the lead shoulder: a wide stance and more.
FARTHEST_CM: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BallLine:
    """Where the line and the back's edge are in the unmirrored picture, to be drawn."""

    x_px: float
    cm_per_px: float
    top_px: float  #: upper row of the upper back
    low_px: float  #: lower row of the upper back
    back_px: float | None = None  #: x of the back's edge; None when it was not read
    gap_cm: float | None = None  #: as in ``Measures.back_gap_cm``
    at_top: bool = False  #: the edge is that of the last rep's top, not of the newest picture


def line_px(reference: Reference, ball_line_cm: float) -> float:
    """Return the line's x in the unmirrored picture.

    ``ball_line_cm`` is counted from the lead shoulder at setup, + away from the target.
    """
    lead, _ = geo.lead_trail(reference.handed, "shoulder")
    offset_px = ball_line_cm / reference.cm_per_px * geo.away_sign(reference.handed)
    return float(reference.image_px[lead, 0]) + offset_px


def band_px(image_px: FloatArray) -> tuple[float, float]:
    """Return the upper and lower row, in pixels, of the upper back of points (33, 2)."""
    hips_y = float(geo.middle(image_px, "hip")[1])
    shoulders_y = float(geo.middle(image_px, "shoulder")[1])
    low, top = (hips_y + share * (shoulders_y - hips_y) for share in BAND)
    return top, low


def back_edge_px(outline: Outline, pose: Pose, reference: Reference) -> float | None:
    """Return the x of the silhouette's edge on the target side, over the rows of the upper back.

    Rows in which the lead arm makes the edge tell nothing of the back and are left out (it goes
    across the chest to the trail side at the top, but may stick out before). None when fewer
    than a third of the band's rows are left, or fewer than two.
    """
    toward = -geo.away_sign(reference.handed)  # picture-x sign of "toward the target"
    ends = outline.right_px if toward > 0 else outline.left_px
    top, low = band_px(pose.image_px)
    first = int(outline.row_px.searchsorted(top, "left"))
    band = slice(first, int(outline.row_px.searchsorted(low, "right")))
    rows, x = outline.row_px[band], ends[band]
    # An end that is not there (NaN) is made by nothing.
    is_back = (x == x) & ~_made_by_arm(x, rows, pose, reference, toward)
    told = np.sort(toward * x[is_back])
    if len(told) < 2 or 3 * len(told) < len(rows):
        return None
    return float(toward * middles.share(told, EDGE_SHARE))


def back_gap_cm(pose: Pose, reference: Reference, ball_line_cm: float | None) -> float | None:
    """Return how far the upper back's edge is from the ball line, in cm.

    Positive while the edge is still on the trail side of the line, negative past it. None
    without a line, without an outline, or where the back's edge cannot be told (see
    ``back_edge_px``).
    """
    if ball_line_cm is None or pose.outline is None:
        return None
    edge = back_edge_px(pose.outline, pose, reference)
    if edge is None:
        return None
    away_px = (edge - line_px(reference, ball_line_cm)) * geo.away_sign(reference.handed)
    return away_px * reference.cm_per_px


def to_draw(
    reference: Reference, ball_line_cm: float, gap_cm: float | None, *, at_top: bool
) -> BallLine:
    """Return line and edge as places in the picture; ``gap_cm`` was read against this line."""
    x_px = line_px(reference, ball_line_cm)
    top, low = band_px(reference.image_px)
    back_px = None
    if gap_cm is not None:
        back_px = x_px + gap_cm / reference.cm_per_px * geo.away_sign(reference.handed)
    return BallLine(
        x_px=x_px,
        cm_per_px=reference.cm_per_px,
        top_px=top,
        low_px=low,
        back_px=back_px,
        gap_cm=gap_cm,
        at_top=at_top,
    )


def moved(ball_line_cm: float | None, steps: int) -> float:
    """Return the line's place after ``steps`` of ``STEP_CM``, + away from the target."""
    now = 0.0 if ball_line_cm is None else ball_line_cm
    return min(max(now + steps * STEP_CM, -FARTHEST_CM), FARTHEST_CM)


def _made_by_arm(
    x: FloatArray, rows: FloatArray, pose: Pose, reference: Reference, toward: int
) -> NDArray[np.bool_]:
    """Tell for each edge point (``x``, ``rows``) whether the lead arm makes it."""
    half_px = ARM_HALF_CM / reference.cm_per_px
    joints = [
        pose.image_px[geo.lead_trail(reference.handed, part)[0]].tolist()
        for part in ("shoulder", "elbow", "wrist")
    ]
    made = np.zeros(x.size, dtype=np.bool_)
    for (start_x, start_y), (end_x, end_y) in pairwise(joints):
        line_x, line_y = end_x - start_x, end_y - start_y
        length2 = max(line_x * line_x + line_y * line_y, 1e-9)
        from_x, from_y = x - start_x, rows - start_y
        share = (from_x * (line_x / length2) + from_y * (line_y / length2)).clip(0.0, 1.0)
        made |= np.hypot(from_x - share * line_x, from_y - share * line_y) <= half_px
        # An arm that lies farther out than the silhouette's end was cut off it: same row, same arm.
        if abs(line_y) > 1e-9:
            along = from_y / line_y
            beside = (along >= 0.0) & (along <= 1.0)
            made |= beside & (toward * (along * line_x - from_x) > 0)
    return made
