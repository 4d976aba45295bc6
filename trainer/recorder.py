"""Writes a trace from its own thread, so a slow or full disk never reaches the pose thread."""

from __future__ import annotations

import contextlib
import queue
import threading
from pathlib import Path
from typing import Final, TextIO

from trainer.core.records import Pose, Step
from trainer.core.rules import Rules
from trainer.core.trace import end_line, header_line, reading_line
from trainer.errors import TraceError
from trainer.settings import rules_to_values

#: About a minute of readings at 60 a second; a disk slower than that loses the trace's rest.
_QUEUE: Final = 4000


class TraceRecorder:
    """Takes readings from the pose thread and writes them to one file.

    ``trouble`` says in plain words when writing failed; practice goes on without it.
    """

    def __init__(self, path: Path, rules: Rules, source: str) -> None:
        """Open ``path``, a new file or a pipe.

        Raises TraceError when it is a file already, or cannot be written at all.
        """
        self.path = path
        self.trouble = ""
        self._count = 0
        self._queue: queue.Queue[tuple[float, Pose | None, Step, str | None] | None] = queue.Queue(
            maxsize=_QUEUE
        )
        try:
            self._file = _open_new(path)
            try:
                self._file.write(header_line(rules_to_values(rules), source) + "\n")
                self._file.flush()
            except OSError:
                with contextlib.suppress(OSError):
                    self._file.close()
                raise
        except FileExistsError:
            raise TraceError(
                f"the trace {path} is there already and is not written over. The name of a new "
                "file was wanted. Give another name to --record, or move that one away."
            ) from None
        except OSError as error:
            raise TraceError(
                f"the trace {path} could not be written ({error.strerror or error}). A file in a "
                "folder that can be written, on a disk with space, was wanted. "
                "Give another name to --record."
            ) from None
        self._thread = threading.Thread(target=self._write, name="record", daemon=True)
        self._thread.start()

    def put(self, t_s: float, pose: Pose | None, step: Step, action: str | None) -> None:
        """Hand one reading over; never waits and never raises."""
        if self.trouble:
            return
        try:
            self._queue.put_nowait((t_s, pose, step, action))
        except queue.Full:
            self.trouble = f"The disk is too slow: the trace {self.path.name} ends here."

    def close(self) -> None:
        """Write what is left, close the trace and wait at most two seconds. Safe to call twice.

        A trace without any reading is taken away again, so that its name is free for the next try.
        """
        if self._thread.is_alive():
            try:
                self._queue.put(None, timeout=1.0)
            except queue.Full:
                self.trouble = f"The disk is too slow: the trace {self.path.name} ends here."
            self._thread.join(timeout=2.0)
            if self._thread.is_alive():
                self.trouble = f"The disk is too slow: the trace {self.path.name} is not whole."
            elif self._count == 0 and self.path.is_file():
                with contextlib.suppress(OSError):
                    self.path.unlink()
                self.trouble = self.trouble or "Nothing was read, so no trace was written."

    def _write(self) -> None:
        try:
            while True:
                try:
                    item = self._queue.get(timeout=1.0)
                except queue.Empty:
                    self._file.flush()
                    continue
                if item is None:
                    break
                self._file.write(reading_line(*item) + "\n")
                self._count += 1
            if not self.trouble:
                self._file.write(end_line(self._count) + "\n")
            self._file.close()
        except (OSError, ValueError) as error:
            # NB: a plain attribute, rebound as a whole; no reader sees half of it.
            reason = getattr(error, "strerror", None) or error
            self.trouble = f"The trace {self.path.name} could not be written: {reason}."
            # Closing writes what is left, which fails again on a full disk.
            with contextlib.suppress(OSError):
                self._file.close()


def _open_new(path: Path) -> TextIO:
    """Open a file that is not there yet; a pipe or a device may be there and is written to."""
    special = path.exists() and not path.is_file() and not path.is_dir()
    return path.open("w" if special else "x", encoding="utf-8")
