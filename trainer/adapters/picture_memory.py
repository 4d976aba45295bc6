"""Pictures that lie where the pose model reads them: a copy less for each.

MediaPipe copies every picture into memory of its own, 0.3 ms for 1280 by 720 on the way to the
tone. Here a source writes its picture there in the first place, when it turns the camera's colours
round. Nobody else need know: it is an array like any other.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

#: So many pictures that nobody holds any more are kept to be written again.
_KEPT: Final = 4
_PROBE: Final = 16


class PictureMemory:
    """Lends pictures to a source; one belongs to it again when nobody holds its array. Any thread.

    Nothing is lent before the pose model is loaded.
    """

    def __init__(self) -> None:
        """Begin with nothing to lend."""
        self._to_image: Callable[[Picture], Any] | None = None
        # NB: appended to and taken from by several threads; each is one step for Python.
        self._free: list[Any] = []

    def open(self, to_image: Callable[[Picture], Any]) -> None:
        """Lend from now on; ``to_image`` makes the library's picture of an array.

        Nothing is lent where what is written into such a picture is not what the library then
        reads: it says of its pictures that they do not change, so another version might copy.
        """
        probe = to_image(np.zeros((_PROBE, _PROBE, 3), dtype=np.uint8))
        np.asarray(_Lent(probe, []))[:] = 1
        if (probe.numpy_view() == 1).all():
            self._to_image = to_image

    def lend(self, height: int, width: int) -> Picture | None:
        """Return a picture (H, W, 3) to be written, whatever it shows now; None for none.

        None too for a width of which the library does not keep one row right after the other.
        """
        if self._to_image is None:
            return None
        try:
            image = self._free.pop()
        except IndexError:
            image = None
        if image is None or (image.height, image.width) != (height, width):
            image = self._to_image(np.zeros((height, width, 3), dtype=np.uint8))
        if not image.is_contiguous():
            return None
        return np.asarray(_Lent(image, self._free))


def image_of(picture: Picture) -> Any:  # noqa: ANN401 -- the library's picture
    """Return the library's picture that a lent one lies in; None for any other array."""
    lent = picture.base
    whole = isinstance(lent, _Lent) and (picture.shape, picture.strides) == lent.lies
    return lent.image if whole else None


class _Lent:
    """What a lent picture's array holds on to; gone with the last view of it."""

    def __init__(self, image: Any, free: list[Any]) -> None:  # noqa: ANN401 -- the library's
        self.image = image
        self._free = free
        pixels = image.numpy_view()
        self.lies = pixels.shape, pixels.strides
        #: numpy's array interface, version 3: where the pixels lie, and that they may be written
        self.__array_interface__ = {
            "version": 3,
            "typestr": "|u1",
            "shape": pixels.shape,
            "data": (pixels.ctypes.data, False),
        }

    def __del__(self) -> None:
        if len(self._free) < _KEPT:
            self._free.append(self.image)
