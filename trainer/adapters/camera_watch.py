"""Notices that the camera was moved: the picture around the player shifts and stays shifted.

Looked at in a small copy of the picture, about twice a second. A shift counts where the edges of
the picture agree on it: three of the four corners, because the player, a curtain or a passer-by
covers one or two of them at most.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2

Float32Array = NDArray[np.float32]

#: The small copy's width; a shift is told in shares of it.
_WIDTH: Final = 320
_EVERY_S: Final = 0.5
#: From this share of the width on a shift counts: 0.5 degrees of a lens 70 degrees wide is 0.007.
_MOVED: Final = 0.012
#: Corners agree within this many pixels of the small copy.
_AGREE_PX: Final = 1.5
#: Below this answer of the phase correlation (0 to 1) a corner has nothing to hold on to.
_SURE: Final = 0.15
_AGREEING: Final = 3
#: So often in a row it must be seen: an autofocus or a flash passes.
_TIMES: Final = 2
#: How long it is said.
_SAID_S: Final = 10.0
MOVED_NOTICE: Final = (
    "The camera was moved: figures since the last setup may be off. Leave it where it is now, and "
    "stand at setup again."
)


class CameraWatch:
    """Compares the picture's corners with those kept from before. One thread."""

    def __init__(self) -> None:
        self._kept: list[Float32Array] | None = None
        self._looked_s = float("-inf")
        self._off, self._until_s = 0, float("-inf")

    def look(self, t_s: float, image: NDArray[np.uint8]) -> str:
        """Return words while the camera was lately moved; empty otherwise.

        ``image`` is (H, W, 3) or grey.
        """
        if t_s < self._looked_s:
            self._kept, self._looked_s, self._until_s = None, float("-inf"), float("-inf")
        if t_s - self._looked_s >= _EVERY_S:
            self._looked_s = t_s
            self._compare(t_s, _corners(image))
        return MOVED_NOTICE if t_s < self._until_s else ""

    def _compare(self, t_s: float, corners: list[Float32Array]) -> None:
        if self._kept is None or self._kept[0].shape != corners[0].shape:
            self._kept, self._off = corners, 0
            return
        shifts = [_shift(a, b) for a, b in zip(self._kept, corners, strict=True)]
        sure = np.array([shift for shift in shifts if shift is not None])
        if len(sure) < _AGREEING:
            return
        middle = np.median(sure, axis=0)
        agree = int(np.sum(np.hypot(*(sure - middle).T) < _AGREE_PX))
        if agree < _AGREEING or float(np.hypot(*middle)) < _MOVED * _WIDTH:
            self._off = 0
            return
        self._off += 1
        if self._off >= _TIMES:
            self._kept, self._off, self._until_s = corners, 0, t_s + _SAID_S


def _corners(image: NDArray[np.uint8]) -> list[Float32Array]:
    cv2 = load_cv2()
    height = round(_WIDTH * image.shape[0] / image.shape[1])
    small = cv2.resize(image, (_WIDTH, height), interpolation=cv2.INTER_AREA)
    if small.ndim == 3:
        small = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    grey = small.astype(np.float32)
    rows, columns = height // 3, _WIDTH // 3
    return [
        grey[:rows, :columns].copy(),
        grey[:rows, -columns:].copy(),
        grey[-rows:, :columns].copy(),
        grey[-rows:, -columns:].copy(),
    ]


def _shift(before: Float32Array, now: Float32Array) -> tuple[float, float] | None:
    """Return by how many pixels the corner shifted, right and down; None where nothing tells."""
    cv2 = load_cv2()
    if min(float(before.std()), float(now.std())) < 3.0:
        return None  # an even wall
    window = cv2.createHanningWindow((before.shape[1], before.shape[0]), cv2.CV_32F)
    (across, down), sure = cv2.phaseCorrelate(before, now, window)
    return (float(across), float(down)) if sure >= _SURE else None
