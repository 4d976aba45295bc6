"""What looking for printed tags costs: drawn pictures with five of them, through the finder."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.tag_align import family
from trainer.core import rotation as rot
from trainer.core.lens import from_field_of_view, matrix
from trainer.core.tag_seen import Box, Trunk

#: Number, and its middle on a body 3 m away: metres right and down of it.
_WORN: Final = (
    (0, 0.0, -0.25),
    (1, 0.20, -0.15),
    (3, -0.20, -0.15),
    (10, 0.0, 0.15),
    (20, 0.0, -0.6),
)
_SIZE_M: Final = 0.12
_FAR_M: Final = 3.0
_PICTURES: Final = 8


def tag_ms(size_wh: tuple[int, int], *, rounds: int) -> tuple[float, float, float]:
    """Return (median ms, worst ms, mean tags seen) of one look at a picture of ``size_wh``."""
    from trainer.adapters.tag_finder import bench

    images = [_picture(size_wh, step) for step in range(_PICTURES)]
    return bench(images, _box(size_wh), _trunk(size_wh), rounds=rounds)


def _picture(size_wh: tuple[int, int], step: int) -> NDArray[np.uint8]:
    """Return a grey room with five tags that turn by 5 degrees and wander from step to step."""
    cv2 = load_cv2()
    camera = matrix(from_field_of_view(70.0, size_wh))
    rng = np.random.default_rng(7)
    coarse = rng.uniform(60, 190, (18, 32)).astype(np.float32)
    shown = cv2.resize(coarse, size_wh, interpolation=cv2.INTER_CUBIC)
    cell = 16
    for number, right, down in _WORN:
        flat = cv2.aruco.generateImageMarker(family(), number, 8 * cell)
        flat = cv2.copyMakeBorder(flat, *[cell] * 4, cv2.BORDER_CONSTANT, value=255)
        half = _SIZE_M * 10 / 8 / 2
        sheet = np.array([[-half, -half, 0], [half, -half, 0], [half, half, 0], [-half, half, 0]])
        turn = np.radians([10.0, 5.0 * step - 5.0, 3.0])
        place = np.array([right + 0.01 * step, down, _FAR_M])
        corners = sheet @ rot.from_vector(turn).T + place
        seen, _ = cv2.projectPoints(corners, np.zeros(3), np.zeros(3), camera, None)
        side = flat.shape[0]
        ends = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - 0.5
        warp = cv2.getPerspectiveTransform(ends, seen.reshape(4, 2).astype(np.float32))
        inside = cv2.warpPerspective(np.ones_like(flat, np.float32), warp, size_wh)
        drawn = cv2.warpPerspective(flat.astype(np.float32), warp, size_wh)
        shown = shown * (1 - inside) + inside * 25 + drawn * (190 / 255)
    shown = cv2.GaussianBlur(shown, (0, 0), 0.7)
    shown = shown + np.random.default_rng(step).normal(0, 4, shown.shape)
    grey = np.clip(shown, 0, 255).astype(np.uint8)
    picture: NDArray[np.uint8] = cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB)
    return picture


def _box(size_wh: tuple[int, int]) -> Box:
    """Return where a body of that size would be looked over."""
    focal_px = matrix(from_field_of_view(70.0, size_wh))[0, 0]
    per_m = focal_px / _FAR_M
    middle = np.array(size_wh) / 2
    low, high = middle + np.array([-0.45, -0.85]) * per_m, middle + np.array([0.55, 0.45]) * per_m
    left, top = (int(max(v, 0)) for v in low)
    right, bottom = (int(min(v, s)) for v, s in zip(high, size_wh, strict=True))
    return left, top, right, bottom


def _trunk(size_wh: tuple[int, int]) -> Trunk:
    """Return where that body's trunk is; it wears no tag on the lead hip, which is sought."""
    per_m = float(matrix(from_field_of_view(70.0, size_wh))[0, 0]) / _FAR_M
    middle = np.array(size_wh) / 2
    return Trunk(
        shoulders_px=middle + np.array([0.0, -0.35]) * per_m,
        hips_px=middle + np.array([0.0, 0.1]) * per_m,
        tag_px=_SIZE_M * per_m,
    )
