"""The reading thread behind a picture source: one slot, the newest picture wins."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import Capture, Upright
from trainer.core.records import Frame
from trainer.errors import CameraError
from trainer.ports import SourceState, SourceStatus

Clock = Callable[[], float]

#: ``time.monotonic`` on every system, but on Windows before Python 3.13 that one only moves
#: every 15.6 ms, as long as a whole picture at 60 fps.
monotonic_s: Clock = time.perf_counter

#: Least step between two pictures' times, where the clock or the container repeats itself.
LEAST_STEP_S = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long to wait for what, in seconds. Chosen by eye, except as said."""

    stalled_s: float = 1.0  #: without a picture: say so
    lost_s: float = 1.0  #: reads that fail at once: close and open again
    damaged_s: float = 5.0  #: nothing but damaged pictures: close and open again
    first_retry_s: float = 0.5  #: wait before opening again; doubles each time ...
    last_retry_s: float = 2.0  #: ... up to this
    notice_s: float = 5.0  #: how long "it is back" and the like stay in the status
    join_s: float = 1.5  #: close() waits no longer than this for the reading thread


class ThreadedSource:
    """What every picture source with a reading thread shares. See ``ports.FrameSource``."""

    def __init__(
        self,
        name: str,
        *,
        upright: Upright | None = None,
        patience: Patience | None = None,
        clock: Clock = monotonic_s,
    ) -> None:
        self.name = name
        self._upright = upright or Upright()
        self._patience = patience or Patience()
        self._clock = clock
        self._start_s = clock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._news = threading.Condition()  # guards everything below
        self._state = SourceState.STARTING
        self._latest: Frame | None = None
        self._dropped = 0
        self._index = 0
        self._last_t_s = -1.0
        self._last_read_s = self._start_s
        self._reads_s: deque[float] = deque(maxlen=1000)
        self._size_wh: tuple[int, int] | None = None
        self._trouble = f"Waiting for the first picture of {name}."
        self._notice = ""
        self._notice_until_s = 0.0

    def now_s(self) -> float:
        """Return the time now on the clock that stamps live pictures (0 at ``open``)."""
        return self._clock() - self._start_s

    def get(self, timeout_s: float) -> Frame | None:
        """Return the newest picture not yet handed out, or None if none came in time."""
        with self._news:
            self._news.wait_for(
                lambda: self._latest is not None or self._stop.is_set() or self._ended(),
                timeout=max(0.0, timeout_s),
            )
            frame, self._latest = self._latest, None
            return frame

    def status(self) -> SourceStatus:
        """Return how the source is doing now. Any thread may call it."""
        with self._news:
            now_s = self._clock()
            state, text = self._state, self._trouble
            quiet_s = now_s - self._last_read_s
            if state is SourceState.RUNNING:
                text = self._notice if now_s < self._notice_until_s else ""
                if self._can_stall() and quiet_s > self._patience.stalled_s:
                    state = SourceState.STALLED
                    text = (
                        f"{self.name} has sent no picture for {quiet_s:.0f} s. "
                        f"{self._remedy()} It goes on by itself when pictures come."
                    )
            return SourceStatus(
                state=state,
                text=text,
                size_wh=self._size_wh,
                measured_fps=self._fps(now_s),
                dropped=self._dropped,
            )

    def close(self) -> None:
        """Stop reading and let the device go. Safe to call twice; returns within 2 s.

        A read that hangs inside the driver is left to its daemon thread, which lets the device
        go when the read returns: releasing a capture while another thread reads it can crash.
        """
        closed_before = self._stop.is_set()
        self._stop.set()
        with self._news:
            self._latest = None
            self._news.notify_all()
        thread = self._thread
        if closed_before:
            return
        if thread is not None and thread is not threading.current_thread():
            thread.join(self._patience.join_s)

    def _begin(self, target: Callable[[], None]) -> None:
        if self._thread is not None or self._stop.is_set():
            raise CameraError(
                f"{self.name} was opened before. A source is wanted once only. "
                "Try making a new one."
            )
        self._start_s = self._last_read_s = self._clock()
        self._thread = threading.Thread(target=target, name=f"pictures of {self.name}", daemon=True)
        self._thread.start()

    def _offer(self, image: object, t_s: float, read_s: float) -> bool:
        """Put a picture into the slot. False when it is damaged and was not taken."""
        picture = self._upright.rgb(image)
        if picture is None:
            return False
        self._put(picture, t_s, read_s)
        return True

    def _put(self, picture: NDArray[np.uint8], t_s: float, read_s: float) -> None:
        """Put an upright RGB picture into the slot."""
        with self._news:
            if self._stop.is_set():
                return
            t_s = max(t_s, self._last_t_s + LEAST_STEP_S)
            if self._latest is not None:
                self._dropped += 1
            self._latest = Frame(t_s=t_s, index=self._index, image_rgb=picture)
            self._index += 1
            self._last_t_s, self._last_read_s = t_s, read_s
            self._reads_s.append(read_s)
            size_wh = (picture.shape[1], picture.shape[0])
            if self._size_wh not in (None, size_wh):
                self._tell(
                    f"{self.name} changed its picture from {_size(self._size_wh)} to "
                    f"{_size(size_wh)}. Stand at setup again."
                )
            elif self._state is SourceState.LOST:
                self._tell(f"{self.name} is back.")
            self._size_wh = size_wh
            self._state, self._trouble = SourceState.RUNNING, ""
            self._news.notify_all()

    def _tell(self, words: str) -> None:
        self._notice = words
        self._notice_until_s = self._clock() + self._patience.notice_s

    def _now(self, state: SourceState, text: str) -> None:
        with self._news:
            self._state, self._trouble = state, text
            self._news.notify_all()

    def _ended(self) -> bool:
        return self._state is SourceState.ENDED

    def _can_stall(self) -> bool:
        return True

    def _remedy(self) -> str:
        return ""

    def _fps(self, now_s: float) -> float | None:
        recent_s = list(takewhile(lambda read_s: now_s - read_s <= 1.0, reversed(self._reads_s)))
        if len(recent_s) < 2 or recent_s[0] <= recent_s[-1]:
            return None
        return (len(recent_s) - 1) / (recent_s[0] - recent_s[-1])


def _size(size_wh: tuple[int, int] | None) -> str:
    return "nothing" if size_wh is None else f"{size_wh[0]} by {size_wh[1]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveKind:
    """What a live source needs to know about its camera."""

    name: str  #: "camera 0" or the URL
    connect: Callable[[], Capture]  #: opens the camera; raises CameraError
    remedy: str  #: one sentence: what to check when it is gone
    silent: str  #: the whole error when it opens but sends no picture
    open_limit_s: float  #: from ``open`` to the first picture
    describe: Callable[[Capture], str] | None = None  #: what was asked for and what was got
    connect_in_caller: bool = False  #: macOS asks the user for leave on the main thread only


class LiveSource(ThreadedSource):
    """A webcam or network camera, opened again by itself when it is lost.

    ``t_s`` is stamped when the grab returns, before the picture is decoded; 0 is ``open``.
    """

    def __init__(
        self,
        kind: LiveKind,
        *,
        upright: Upright | None = None,
        patience: Patience | None = None,
        clock: Clock = monotonic_s,
    ) -> None:
        super().__init__(kind.name, upright=upright, patience=patience, clock=clock)
        self._kind = kind
        self.got = ""  #: what the camera was asked for and what it gives; empty until known
        self._first = threading.Event()  # the first picture came, or opening failed
        self._failure: CameraError | None = None
        # NB: written by open() before the thread starts, then by the thread alone.
        self._capture: Capture | None = None

    def open(self) -> None:
        """Open the camera and wait for its first picture. Raises CameraError if none comes."""
        if self._kind.connect_in_caller and self._thread is None:
            self._capture = self._kind.connect()
        self._begin(self._run)
        if not self._first.wait(self._kind.open_limit_s):
            self._failure = CameraError(self._kind.silent)
        if self._failure is not None:
            self.close()
            raise self._failure

    def close(self) -> None:
        """Stop reading and let the camera go. Safe to call twice; returns within 2 s."""
        super().close()
        if self._thread is None and self._capture is not None:
            self._capture.release()
            self._capture = None

    def _remedy(self) -> str:
        return self._kind.remedy

    def _run(self) -> None:
        retry_s = self._patience.first_retry_s
        while not self._stop.is_set():
            before, error = self._index, None
            try:
                if self._capture is None:
                    self._capture = self._kind.connect()
                if self._kind.describe is not None:
                    self.got = self._kind.describe(self._capture)
                self._read_until_lost(self._capture)
            except Exception as caught:  # any driver error means the same: try again
                error = caught
            finally:
                if self._capture is not None:
                    with suppress(Exception):
                        self._capture.release()
                    self._capture = None
            if self._stop.is_set():
                return
            if not self._first.is_set():
                self._failure = self._as_camera_error(error)
                self._first.set()
                return
            if self._index > before:
                retry_s = self._patience.first_retry_s
            self._now(
                SourceState.LOST,
                f"{self.name} was lost. {self._kind.remedy} Trying again by itself.",
            )
            self._stop.wait(retry_s)
            retry_s = min(2 * retry_s, self._patience.last_retry_s)

    def _read_until_lost(self, capture: Capture) -> None:
        good_s = self._clock()
        while not self._stop.is_set():
            if not capture.grab():
                if self._clock() - good_s >= self._patience.lost_s:
                    return
                self._stop.wait(0.01)
                continue
            read_s = self._clock()
            ok, image = capture.retrieve()
            if ok and self._offer(image, read_s - self._start_s, read_s):
                good_s = read_s
                self._first.set()
                continue
            with self._news:
                self._tell(f"{self.name} sends damaged pictures; they are left out.")
            if read_s - good_s >= self._patience.damaged_s:
                return
            self._stop.wait(0.002)

    def _as_camera_error(self, error: Exception | None) -> CameraError:
        if isinstance(error, CameraError):
            return error
        if error is None or isinstance(error, TimeoutError):
            return CameraError(self._kind.silent)
        failure = CameraError(
            f"{self.name} failed while opening: {error}. A camera that sends pictures is wanted. "
            f"{self._kind.remedy}"
        )
        failure.__cause__ = error
        return failure
