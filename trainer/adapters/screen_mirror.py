"""Puts the camera's picture on a surface, flipped left-right. Main thread only."""

from __future__ import annotations

import sys
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.screen_layout import Box

#: Where red, green and blue lie in a pixel of four bytes that OpenCV calls BGRA.
_BGRA: Final = (0xFF0000, 0xFF00, 0xFF)


def draw_mirror(surface: Any, image_rgb: NDArray[np.uint8], picture: Box) -> None:  # noqa: ANN401
    """Draw the picture flipped left-right into ``picture``."""
    image = np.ascontiguousarray(image_rgb)
    size = (max(round(picture.w), 1), max(round(picture.h), 1))
    at = (round(picture.x), round(picture.y))
    if not _written(surface, image, at, size):
        _drawn(surface, image, at, size)


def _written(
    surface: Any,  # noqa: ANN401
    image: NDArray[np.uint8],
    at: tuple[int, int],
    size: tuple[int, int],
) -> bool:
    """Write the picture straight into the surface's memory; False where that cannot be.

    In half the time of pygame's own way, and without holding up other threads meanwhile.
    """
    import pygame

    place = pygame.Rect(at, size)
    fits = surface.get_rect().contains(place) and surface.get_clip().contains(place)
    known = surface.get_bitsize() == 32 and surface.get_masks()[:3] == _BGRA
    if not (fits and known and sys.byteorder == "little"):
        return False
    cv2 = load_cv2()
    shown = cv2.cvtColor(image, cv2.COLOR_RGB2BGRA)
    if size != (image.shape[1], image.shape[0]):
        shown = cv2.resize(shown, size, interpolation=cv2.INTER_NEAREST)
    pitch = surface.get_pitch()
    pixels: NDArray[np.uint8] = np.ndarray(
        (size[1], size[0], 4),
        np.uint8,
        buffer=surface.get_buffer(),
        offset=at[1] * pitch + 4 * at[0],
        strides=(pitch, 4, 1),
    )
    cv2.flip(shown, 1, dst=pixels)
    return True


def _drawn(
    surface: Any,  # noqa: ANN401
    image: NDArray[np.uint8],
    at: tuple[int, int],
    size: tuple[int, int],
) -> None:
    import pygame

    source = pygame.image.frombuffer(image, (image.shape[1], image.shape[0]), "RGB")
    if size != source.get_size():
        source = pygame.transform.scale(source, size)
    surface.blit(pygame.transform.flip(source, True, False), at)
