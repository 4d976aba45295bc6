"""Looks at everybody in the picture now and then, beside the tracker that follows one player.

A tracker for several people would look for new ones in every frame while fewer are there than it
was asked for: 26.6 instead of 15.8 ms a frame, and without smoothing (docs/accuracy.md). One
look a second by a second landmarker costs a fraction of that and stays off the pose thread.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

MOST_PEOPLE: Final = 3

Look = Callable[[Any], list[NDArray[np.float64]]]
"""Takes a picture, gives each person's (33, 2) points in pixels."""


class PeopleWatch:
    """Runs ``look`` on a picture at a time, in its own thread or, if ``synchronous``, at once.

    ``offer``, ``take`` and ``close`` are called from the pose thread only.
    """

    def __init__(self, look: Look, *, synchronous: bool) -> None:
        self._look = look
        self._wake = threading.Condition()
        self._picture: Any = None
        self._stamp_s = 0.0
        self._busy = False
        self._stopped = False
        self._found: tuple[float, list[NDArray[np.float64]]] | None = None
        self._failure: Exception | None = None
        self._thread: threading.Thread | None = None
        if not synchronous:
            # NB: daemon, so that a hanging native call cannot keep the program from ending.
            self._thread = threading.Thread(target=self._work, name="people watch", daemon=True)
            self._thread.start()

    def offer(self, picture: Any, t_s: float) -> bool:  # noqa: ANN401 -- the library's picture
        """Ask for a look at ``picture``; False when one is still under way."""
        if self._thread is None:
            self._found = (t_s, self._look(picture))
            return True
        with self._wake:
            if self._busy or self._stopped:
                return False
            self._picture, self._stamp_s, self._busy = picture, t_s, True
            self._wake.notify()
        return True

    def take(self) -> tuple[float, list[NDArray[np.float64]]] | None:
        """Return the time and people of a look not yet taken, or None.

        Raises whatever the look raised.
        """
        with self._wake:
            if self._failure is not None:
                failure, self._failure = self._failure, None
                raise failure
            found, self._found = self._found, None
        return found

    def close(self) -> bool:
        """Stop the thread; False when it is stuck in a look. Safe to call twice."""
        with self._wake:
            self._stopped = True
            self._wake.notify()
        if self._thread is not None:
            self._thread.join(timeout=2.0)
            return not self._thread.is_alive()
        return True

    def _work(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._stopped or self._picture is not None)
                if self._stopped:
                    return
                picture, self._picture = self._picture, None
                stamp_s = self._stamp_s
            try:
                people = self._look(picture)
            except Exception as error:  # handed on to the pose thread, which raises it
                with self._wake:
                    self._failure, self._busy = error, False
                continue
            finally:
                picture = None  # else it would be kept until the next look
            with self._wake:
                self._found, self._busy = (stamp_s, people), False
