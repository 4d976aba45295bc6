"""Looks for cameras and shows what one of them sees, so that the player can choose."""

from __future__ import annotations

import queue
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.errors import CameraError
from trainer.ports import FrameSource

JOIN_S: Final = 3.0

Finder = Callable[[], Sequence[tuple[str, str]]]
Opener = Callable[[str], FrameSource]


def found_cameras() -> list[tuple[str, str]]:
    """Return (number, the driver's name for it) of each camera that gives a picture.

    Raises CameraError where there is none.
    """
    from trainer.adapters.camera import list_cameras, open_source

    found = [(str(facts.index), facts.name) for facts in list_cameras(measure=False)]
    if not found:
        open_source(None).close()  # raises, in the words for no camera
    return found


class CameraChoice:
    """The cameras there are, and the picture of the chosen one. Used from the main thread.

    Drivers take seconds to open a camera, so that is done in a thread of its own; on macOS, which
    asks for leave on the main thread only, in ``begin`` and ``choose`` themselves.
    """

    def __init__(
        self,
        opened: Opener,
        *,
        found: Finder = found_cameras,
        named: str | None = None,
        before: str | None = None,
        threaded: bool = sys.platform != "darwin",
    ) -> None:
        """``named`` is the only one to be shown; ``before`` the one chosen some time ago."""
        self._opened, self._found, self._named, self._before = opened, found, named, before
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._worker = threading.Thread(target=self._work, name="cameras", daemon=True)
        self._threaded, self._closed = threaded, False
        # NB: single attributes, each rebound as a whole; ``chosen`` is the main thread's once
        # ``_searched`` is set, the others the worker's while it has a job.
        self._shown: tuple[str, FrameSource] | None = None  # which camera is open
        self._trouble = ""
        self._names: tuple[tuple[str, str], ...] = ()
        self._searched = False
        self.chosen = 0
        self.image_rgb: NDArray[np.uint8] | None = None  #: newest picture of the chosen one

    @property
    def names(self) -> tuple[str, ...]:
        """What the cameras are called; empty until they were looked for, and where none is."""
        return tuple(
            name if number in name else f"{number}: {name}" for number, name in self._names
        )

    @property
    def searched(self) -> bool:
        """True once it is known which cameras there are."""
        return self._searched

    @property
    def trouble(self) -> str:
        """Why there is no picture, in plain words; empty while all is well."""
        return self._trouble

    @property
    def source(self) -> str | None:
        """Number or address of the chosen camera once it gave a picture; None before."""
        return self._names[self.chosen][0] if self._names and self.image_rgb is not None else None

    def begin(self) -> None:
        """Look for cameras and open the one chosen before, or the first. Also: look again."""
        if self._threaded and self._worker.ident is None:
            self._worker.start()
        self._searched, self.chosen = False, 0  # nothing can be chosen until it is known again
        self.image_rgb, self._trouble = None, ""
        self._do(self._search)

    def choose(self, step: int) -> None:
        """Show the next camera, or the one before."""
        if not self._searched or len(self._names) < 2:
            return
        self.chosen = (self.chosen + step) % len(self._names)
        self.image_rgb, self._trouble = None, ""
        number = self._names[self.chosen][0]
        self._do(lambda: self._show(number))

    def look(self) -> None:
        """Take the newest picture of the chosen camera, if there is one."""
        shown = self._shown  # the worker may take it away meanwhile
        if shown is not None and self._names and shown[0] == self._names[self.chosen][0]:
            frame = shown[1].get(0.0)
            if frame is not None:
                self.image_rgb = frame.image_rgb

    def close(self) -> None:
        """Let the camera go. Safe to call twice."""
        if self._closed:
            return
        self._closed = True
        self._do(self._drop)
        self._jobs.put(None)
        if self._worker.ident is not None:
            self._worker.join(JOIN_S)

    def _do(self, job: Callable[[], None]) -> None:
        if self._threaded and self._worker.ident is not None:
            self._jobs.put(job)
        else:
            job()

    def _work(self) -> None:
        while True:
            job: Any = self._jobs.get()
            if job is None:
                return
            job()

    def _search(self) -> None:
        self._drop()
        try:
            self._names = self._list()
        except CameraError as error:
            self._names, self._trouble = (), str(error)
        numbers = [number for number, _ in self._names]
        self.chosen = numbers.index(self._before) if self._before in numbers else 0
        self._searched = True
        if numbers:
            self._show(numbers[self.chosen])

    def _list(self) -> tuple[tuple[str, str], ...]:
        """Return the cameras to choose from; a network camera is found by nobody, only known."""
        if self._named is not None:
            return ((self._named, self._named),)
        known = self._before is not None and "://" in self._before
        listed = [(self._before, self._before)] if known and self._before is not None else []
        try:
            return (*listed, *self._found())
        except CameraError:
            if not listed:
                raise
            return tuple(listed)

    def _show(self, number: str) -> None:
        self._drop()
        if self._closed:
            return
        self._trouble, source = "", None
        try:
            source = self._opened(number)
            source.open()
        except CameraError as error:
            self._trouble = str(error)
            if source is not None:
                with suppress(CameraError):
                    source.close()
            return
        self._shown = number, source

    def _drop(self) -> None:
        shown, self._shown = self._shown, None
        if shown is not None:
            shown[1].close()
