"""Searches pictures for a rod on the floor, once a second and beside everything else."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.placement_rod import RodLine, RodSeen
from trainer.core.records import Pose

Find = Callable[[NDArray[np.uint8], NDArray[np.float64], float], RodLine | None]

#: A search costs about a tenth of a second of one core; a rod lies where it lies.
SEARCH_S: Final = 1.0


class RodWatch:
    """One search at a time, in a thread of its own that begins with the first.

    ``find`` gets an unmirrored picture, the body's points (33, 2) in it and the picture's pixels
    a centimetre at the player. With ``wait`` a search is done before ``search`` returns.
    """

    def __init__(self, find: Find | None = None, *, wait: bool = False) -> None:
        self._find, self._wait = _find if find is None else find, wait
        self._pool: ThreadPoolExecutor | None = None
        self._running: tuple[float, Future[RodLine | None]] | None = None
        self._begun_s = float("-inf")

    def search(
        self, t_s: float, image_rgb: NDArray[np.uint8], pose: Pose, px_per_cm: float
    ) -> None:
        """Begin a search, unless one is going on or began less than ``SEARCH_S`` ago."""
        if self._running is not None or 0 <= t_s - self._begun_s < SEARCH_S:
            return
        if self._pool is None:
            self._pool = ThreadPoolExecutor(1, thread_name_prefix="rod")
        job = self._pool.submit(self._find, image_rgb, pose.image_px, px_per_cm)
        if self._wait:
            job.exception()
        self._running, self._begun_s = (t_s, job), t_s

    def found(self) -> RodSeen | None:
        """Return what the last search brought, once; None while there is nothing new."""
        if self._running is None or not self._running[1].done():
            return None
        (t_s, job), self._running = self._running, None
        return RodSeen(t_s=t_s, rod=job.result())

    def forget(self) -> None:
        """Leave a search that is going on to end by itself, and its thread with it."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool, self._running, self._begun_s = None, None, float("-inf")


def _find(
    image_rgb: NDArray[np.uint8], points_px: NDArray[np.float64], px_per_cm: float
) -> RodLine | None:
    from trainer.adapters.floor_rod import find_rod

    return find_rod(image_rgb, points_px, px_per_cm)[0]
