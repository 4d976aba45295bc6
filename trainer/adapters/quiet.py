"""Keeps a native library's log lines off standard error.

MediaPipe 1.2 writes some fifty lines while it loads a model, straight to file descriptor 2, and
none of the usual switches (``GLOG_minloglevel``, ``TF_CPP_MIN_LOG_LEVEL``, ...) stops them
(tried on 1.2.3). So the descriptor itself is turned aside for as long as that takes, into a
file, since a pipe could fill up. Anything in there that does not look like a native log line,
such as another thread's traceback, is passed on afterwards.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from types import TracebackType
from typing import Final

_NATIVE_LINE: Final = re.compile(
    rb"^(INFO|WARNING|ERROR|VERBOSE): |^[IWEF]\d{4} \d\d:\d\d|^WARNING: All log messages"
    # ALSA and SDL on a machine without a sound card or a desktop session
    rb"|^ALSA lib |^error: XDG_RUNTIME_DIR"
)
_turn: Final = threading.RLock()
#: Set to any value to see the native log lines, for finding a fault.
NATIVE_LOG_VARIABLE: Final = "TRAINER_NATIVE_LOG"


@contextmanager
def quiet_stderr() -> Iterator[list[str]]:
    """Hold back native log lines; the list given holds them once the block has ended.

    One thread at a time: a second one waits. Where standard error has no descriptor (a windowed
    program on Windows) nothing is held back.
    """
    said: list[str] = []
    if os.environ.get(NATIVE_LOG_VARIABLE):
        yield said
        return
    with _turn:
        try:
            kept = os.dup(2)
        except OSError:
            yield said
            return
        with tempfile.TemporaryFile() as aside:
            _flush()
            os.dup2(aside.fileno(), 2)
            try:
                yield said
            finally:
                _flush()
                os.dup2(kept, 2)
                os.close(kept)
                aside.seek(0)
                for line in aside.read().splitlines(keepends=True):
                    if _NATIVE_LINE.match(line):
                        said.append(line.decode(errors="replace").rstrip())
                    else:
                        os.write(2, line)


class Hush:
    """``quiet_stderr`` for each ``with``, until lifted; then it costs nothing."""

    def __init__(self) -> None:
        self._lifted = False
        self._inner: AbstractContextManager[list[str]] | None = None

    def lift(self) -> None:
        """Let everything through from now on."""
        self._lifted = True

    def __enter__(self) -> None:
        if not self._lifted:
            self._inner = quiet_stderr()
            self._inner.__enter__()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        inner, self._inner = self._inner, None
        if inner is not None:
            inner.__exit__(kind, error, trace)


def _flush() -> None:
    if sys.stderr is not None:
        sys.stderr.flush()
