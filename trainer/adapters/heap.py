"""Keeps the C library from giving every thread a heap of its own.

Pictures of 2.8 MB go through five threads here, and with a heap each, glibc keeps what one
thread has freed from the others: about 10 MB of the live mirror (docs/performance.md). Other
systems' libraries share already.
"""

from __future__ import annotations

import ctypes
import os
import platform
from typing import Final

_ARENA_MAX: Final = -8  #: M_ARENA_MAX of glibc's malloc.h
_HEAPS: Final = 1


def share_heap() -> bool:
    """Have threads started from now on share one heap; False where there is nothing to set.

    A limit in the environment (``MALLOC_ARENA_MAX``) is obeyed instead.
    """
    if platform.libc_ver()[0] != "glibc" or "MALLOC_ARENA_MAX" in os.environ:
        return False
    try:
        return bool(ctypes.CDLL(None).mallopt(_ARENA_MAX, _HEAPS))
    except (OSError, AttributeError):
        return False
