"""Curves and points as bytes.

Whole numbers of a fixed step, byte planes apart, deflated (RFC 1951 in the frame of RFC 1950).
Neighbouring readings differ little, so that the upper planes shrink to almost nothing.
"""

from __future__ import annotations

import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import LANDMARK_COUNT
from trainer.store.records import Curves, KeptPose

#: A step of a time and of a reading: what is kept is rounded to these.
TIME_STEP_S: Final = 1e-4
READING_STEP: Final = 0.01
_MISSING: Final = np.iinfo(np.int32).min
_MOST_BYTES: Final = 1 << 26  #: unpacked; an hour of readings at 240 a second is less


def pack_curves(curves: Curves) -> tuple[list[str], int, bytes]:
    """Return the columns' names, how many readings there are, and the readings packed."""
    table = np.full((1 + len(curves.columns), curves.t_s.size), _MISSING, dtype="<i4")
    table[0] = np.rint(curves.t_s / TIME_STEP_S)
    for row, values in enumerate(curves.columns.values(), start=1):
        read = np.isfinite(values)
        table[row, read] = np.rint(values[read] / READING_STEP)
    planes = np.ascontiguousarray(table).view(np.uint8).reshape(-1, 4).T
    return list(curves.columns), curves.t_s.size, zlib.compress(planes.tobytes(), 6)


def unpack_curves(names: list[str], count: int, packed: bytes) -> Curves:
    """Return what ``pack_curves`` packed. Raises ValueError for bytes of another size."""
    wanted = 4 * count * (1 + len(names))
    if not 0 < wanted <= _MOST_BYTES:
        raise ValueError(f"{count} readings of {len(names)} measures")
    unpacker = zlib.decompressobj()
    try:
        raw = unpacker.decompress(packed, wanted + 1)
    except zlib.error as error:
        raise ValueError(str(error)) from None
    if len(raw) != wanted:
        raise ValueError(f"{len(raw)} bytes of curves where {wanted} were wanted")
    planes = np.frombuffer(raw, dtype=np.uint8).reshape(4, -1)
    table = np.ascontiguousarray(planes.T).view("<i4").reshape(1 + len(names), count)
    readings = np.where(table[1:] == _MISSING, np.nan, table[1:] * READING_STEP)
    return Curves(t_s=table[0] * TIME_STEP_S, columns=dict(zip(names, readings, strict=True)))


def pack_points(pose: KeptPose) -> bytes:
    """Return the points and their visibilities as (33, 3) numbers of single precision."""
    table: NDArray[np.float64] = np.hstack([pose.image_px, pose.visibility[:, None]])
    return table.astype("<f4").tobytes()


def unpack_points(size_wh: tuple[int, int], packed: bytes) -> KeptPose:
    """Return what ``pack_points`` packed. Raises ValueError for bytes of another size."""
    table = np.frombuffer(packed, dtype="<f4").reshape(LANDMARK_COUNT, 3).astype(np.float64)
    return KeptPose(size_wh=size_wh, image_px=table[:, :2], visibility=table[:, 2])
