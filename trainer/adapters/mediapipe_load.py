"""Imports MediaPipe's vision tasks without the plotting library they hardly use.

``mediapipe.tasks.python.vision`` imports matplotlib for one drawing function that this program
never calls: 38 MB of memory and half of the import's time (docs/performance.md). While the
import runs, a stand-in takes matplotlib's place; whoever does touch it gets the real one, loaded
then.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any, Final

_PLOTTING: Final = ("matplotlib", "matplotlib.pyplot")


class _Later(ModuleType):
    """Stands for a module until something in it is wanted."""

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 -- whatever the real module holds
        # Asked for by the import system of every module; an answer would load the real one.
        if name.startswith("__") and name.endswith("__"):
            raise AttributeError(f"module {self.__name__!r} is not loaded yet, so has no {name!r}")
        _remove_stand_ins()
        return getattr(importlib.import_module(self.__name__), name)


@contextmanager
def plotting_later() -> Iterator[None]:
    """Keep matplotlib from being loaded inside the block, unless it is loaded or used."""
    if any(name in sys.modules for name in _PLOTTING):
        yield
        return
    top, plots = (_Later(name) for name in _PLOTTING)
    top.__path__ = []  # a package, or "import matplotlib.pyplot" would be refused
    top.pyplot = plots  # type: ignore[attr-defined]
    sys.modules.update(zip(_PLOTTING, (top, plots), strict=True))
    try:
        yield
    finally:
        _remove_stand_ins()


def load_vision() -> Any:  # noqa: ANN401 -- a module without types
    """Return ``mediapipe.tasks.python.vision``. Raises ImportError when it cannot be loaded."""
    with plotting_later():
        from mediapipe.tasks.python import vision
    return vision


def _remove_stand_ins() -> None:
    """Leave the names free, so that the next import of them finds the real modules."""
    for name in _PLOTTING:
        if isinstance(sys.modules.get(name), _Later):
            del sys.modules[name]
