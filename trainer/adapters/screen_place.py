"""Which sides the columns take, so that they keep off the body and do not hop about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from trainer.adapters.screen_layout import (
    Box,
    Layout,
    Placement,
    best_fallback,
    lay_out,
    may_overlay,
)
from trainer.adapters.screen_state import SWINGING
from trainer.core.landmarks import Landmark
from trainer.core.records import Phase, Pose

SETTLE_S: Final = 1.0  #: a better place must stay better for this long; chosen by eye
FLESH: Final = 0.04  #: of the body's height, round the points: they lie inside the body
CROWN: Final = 0.10  #: of the body's height, above the topmost point (eyes) for the head


def body_box(pose: Pose | None, picture: Box) -> Box | None:
    """Return the player's box in the window's mirrored picture, or None when nobody was read."""
    if pose is None:
        return None
    points = pose.image_px[np.isfinite(pose.image_px).all(axis=1)]
    if len(points) == 0:
        return None
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    tall = max(y1 - y0, 1.0)
    return _mirrored(
        (x0 - FLESH * tall, y0 - CROWN * tall, x1 + FLESH * tall, y1 + FLESH * tall),
        pose.size_wh,
        picture,
    )


def reach_box(pose: Pose | None, picture: Box) -> Box | None:
    """Return the box the body may fill in a backswing: as far as the arms reach to both sides.

    Arm span is about stature (common knowledge of body proportions), so the hands stay within
    half the body's height of its middle; a whole backswing then stays inside the box.
    """
    body = body_box(pose, picture)
    if pose is None or body is None:
        return None
    shoulders = pose.image_px[[Landmark.LEFT_SHOULDER, Landmark.RIGHT_SHOULDER], 0]
    if not np.isfinite(shoulders).all():
        return body
    middle = picture.right - float(shoulders.mean()) * picture.w / pose.size_wh[0]
    x0 = max(min(body.x, middle - body.h / 2), picture.x)
    x1 = min(max(body.right, middle + body.h / 2), picture.right)
    return Box(x0, body.y, max(x1 - x0, 0.0), body.h)


def _mirrored(
    corners: tuple[float, float, float, float], size_wh: tuple[int, int], picture: Box
) -> Box | None:
    """Return corners of the unmirrored picture as a box of the window, cut to the picture."""
    w, h = size_wh
    x0, y0, x1, y1 = (float(c) for c in corners)
    x0, x1 = (min(max(x, 0.0), w) for x in (x0, x1))
    y0, y1 = (min(max(y, 0.0), h) for y in (y0, y1))
    if x1 <= x0 or y1 <= y0:
        return None
    sx, sy = picture.w / w, picture.h / h
    return Box(picture.right - x1 * sx, picture.y + y0 * sy, (x1 - x0) * sx, (y1 - y0) * sy)


def clear_of(layout: Layout, body: Box | None) -> bool:
    """Return True where no plate touches ``body``."""
    return body is None or not any(plate.overlaps(body) for plate in layout.plates)


@dataclass(slots=True)
class Placer:
    """Remembers where the columns stand. Called from the main thread only."""

    placement: Placement | None = None
    wanted: Placement | None = None
    wanted_since_s: float = 0.0

    def place(
        self,
        window_wh: tuple[int, int],
        picture_wh: tuple[int, int],
        pose: Pose | None,
        phase: Phase,
        *,
        handed_left: bool,
        now_s: float,
        large_text: bool = False,
    ) -> Layout:
        """Return the layout for this drawing; its plates never touch the body.

        A column the body comes under moves at once. Otherwise the columns move only between
        swings, and only when another place has been the better one for ``SETTLE_S``.
        """

        def laid(placement: Placement) -> Layout:
            return lay_out(
                window_wh,
                picture_wh,
                placement,
                handed_left=handed_left,
                large_text=large_text,
            )

        fallback = best_fallback(window_wh, picture_wh, large_text=large_text)
        known = {Placement.SPLIT, Placement.BOTH_LEFT, Placement.BOTH_RIGHT, fallback}
        if not may_overlay(window_wh):
            known = {fallback}
        best = self._best(laid, pose, fallback, may=may_overlay(window_wh))
        if best is not self.wanted:
            self.wanted, self.wanted_since_s = best, now_s
        now = self.placement
        touched = (
            now is None
            or now not in known
            or not clear_of(laid(now), body_box(pose, laid(now).picture))
        )
        settled = (
            pose is not None and phase not in SWINGING and now_s - self.wanted_since_s >= SETTLE_S
        )
        if touched or settled:
            self.placement = best
        return laid(self.placement or best)

    @staticmethod
    def _best(
        laid: Callable[[Placement], Layout], pose: Pose | None, fallback: Placement, *, may: bool
    ) -> Placement:
        if not may:
            return fallback
        split = laid(Placement.SPLIT)
        reach = reach_box(pose, split.picture)
        order = [Placement.SPLIT, Placement.BOTH_LEFT, Placement.BOTH_RIGHT]
        if reach is not None and reach.x + reach.w / 2 < split.window.w / 2:
            order = [Placement.SPLIT, Placement.BOTH_RIGHT, Placement.BOTH_LEFT]
        return next((p for p in order if clear_of(laid(p), reach)), fallback)
