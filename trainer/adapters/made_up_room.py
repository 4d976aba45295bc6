"""Draws the made-up player in a made-up room: flat colours, so that the photographs stay small."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark as L
from trainer.core.records import Pose

WALL: Final = (0xC9, 0xC4, 0xB8)
FLOOR: Final = (0x8B, 0x7D, 0x6B)
MAT: Final = (0x6C, 0x8A, 0x5C)
SKIN: Final = (0xB9, 0x86, 0x63)
SHIRT: Final = (0x4A, 0x5D, 0x73)
TROUSERS: Final = (0x3A, 0x36, 0x33)
SHOE: Final = (0xEE, 0xEA, 0xE2)
SHAFT: Final = (0x22, 0x22, 0x22)
HORIZON: Final = 0.80  #: of the picture's height

#: Joint to joint, thickness as a share of the shoulders' width, colour; far things first.
_LIMBS: Final = (
    ("HIP", "KNEE", 0.40, TROUSERS),
    ("KNEE", "ANKLE", 0.28, TROUSERS),
    ("ANKLE", "FOOT_INDEX", 0.24, SHOE),
)
_ARMS: Final = (("SHOULDER", "ELBOW", 0.26, SHIRT), ("ELBOW", "WRIST", 0.17, SKIN))


def picture_of(pose: Pose | None, size_wh: tuple[int, int], club: bool = True) -> NDArray[np.uint8]:
    """Return an unmirrored picture (height, width, 3) of the player in the room; None: nobody."""
    import pygame

    w, h = size_wh
    surface = pygame.Surface(size_wh, 0, 24)
    surface.fill(WALL)
    surface.fill(FLOOR, (0, round(HORIZON * h), w, h))
    pygame.draw.polygon(
        surface, MAT, [(0.22 * w, h), (0.30 * w, 0.88 * h), (0.70 * w, 0.88 * h), (0.78 * w, h)]
    )
    if pose is not None:
        _draw_player(surface, pose.image_px, club=club)
    made: NDArray[np.uint8] = np.ascontiguousarray(
        pygame.surfarray.array3d(surface).transpose(1, 0, 2)
    )
    return made


def _draw_player(surface: Any, points: NDArray[np.float64], *, club: bool) -> None:  # noqa: ANN401
    import pygame

    feet = points[[L.LEFT_ANKLE, L.RIGHT_ANKLE]].mean(axis=0)
    wide = 0.155 * float(feet[1] - points[L.NOSE, 1])  # of the shoulders, whichever way they turn
    hands = points[[L.LEFT_WRIST, L.RIGHT_WRIST]].mean(axis=0)
    chest = points[[L.LEFT_SHOULDER, L.RIGHT_SHOULDER]].mean(axis=0)
    for first, second, thick, colour in _LIMBS:
        _both(surface, points, first, second, thick * wide, colour)
    for side in ("LEFT", "RIGHT"):
        _limb(
            surface,
            points[L[f"{side}_SHOULDER"]],
            points[L[f"{side}_HIP"]],
            0.62 * wide,
            SHIRT,
        )
    _limb(surface, chest, points[[L.LEFT_HIP, L.RIGHT_HIP]].mean(axis=0), 0.9 * wide, SHIRT)
    if club:
        way = hands - chest
        way = way / max(float(np.hypot(*way)), 1.0)
        low = hands[1] > chest[1]
        # At address the club lies on the ground; at the top it points over the head.
        away = 1.0 if hands[0] >= chest[0] else -1.0
        head = hands + (way * 2.6 * wide if low else np.array([-away * 2.2, -1.0]) * wide)
        pygame.draw.line(surface, SHAFT, tuple(hands), tuple(head), max(round(0.06 * wide), 2))
        pygame.draw.circle(surface, SHAFT, tuple(head), 0.14 * wide)
    head_at = points[[L.LEFT_EAR, L.RIGHT_EAR]].mean(axis=0)
    _limb(surface, chest, head_at, 0.26 * wide, SKIN)
    for first, second, thick, colour in _ARMS:
        _both(surface, points, first, second, thick * wide, colour)
    pygame.draw.circle(surface, SKIN, tuple(head_at), 0.34 * wide)


def _both(
    surface: Any,  # noqa: ANN401
    points: NDArray[np.float64],
    first: str,
    second: str,
    thick: float,
    colour: tuple[int, int, int],
) -> None:
    for side in ("LEFT", "RIGHT"):
        start, end = points[L[f"{side}_{first}"]], points[L[f"{side}_{second}"]]
        _limb(surface, start, end, thick, colour)


def _limb(
    surface: Any,  # noqa: ANN401
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    thick: float,
    colour: tuple[int, int, int],
) -> None:
    import pygame

    along = end - start
    length = max(float(np.hypot(*along)), 1e-6)
    aside = np.array([-along[1], along[0]]) / length * thick / 2
    corners = [start + aside, end + aside, end - aside, start - aside]
    pygame.draw.polygon(surface, colour, [tuple(corner) for corner in corners])
    for middle in (start, end):
        pygame.draw.circle(surface, colour, tuple(middle), thick / 2)
