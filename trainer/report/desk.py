"""Makes reports for the mirror, in a process of its own: charts never cost the mirror a picture."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any, Final

from trainer.kept_file import kept_dir

#: Where pages made from the mirror lie, beside the record of reps.
FOLDER: Final = "reports"
#: Lower than the mirror's priority by so much, where the system knows such a thing.
NICER: Final = 10

Start = Callable[[Sequence[str], IO[bytes]], Any]


def _start(command: Sequence[str], told: IO[bytes]) -> subprocess.Popen[bytes]:
    flags = getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0)
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=told, stderr=told, creationflags=flags
    )
    if hasattr(os, "setpriority"):
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, process.pid, NICER)
    return process


class ReportDesk:
    """Starts one report at a time and says how it went. Used from the main thread."""

    def __init__(self, start: Start = _start) -> None:
        self._start = start
        self._process: Any = None
        self._told: Any = None
        self._path = Path()

    def ask(self, player: str, session: str, *, name: str, against: str | None = None) -> str:
        """Start the page about a session; ``name`` names its file. Return words for the player."""
        if self._process is not None:
            return "A report is being made already"
        self._path = kept_dir() / FOLDER / f"{name}.html"
        command = [sys.executable, "-m", "trainer", "report", "--player", player]
        command += ["--session", session, "--out", str(self._path), "--open"]
        if against is not None:
            command += ["--against", against]
        told = tempfile.TemporaryFile()  # noqa: SIM115 -- closed by ``news``
        try:
            self._process = self._start(command, told)
        except OSError as error:
            told.close()
            return f"No report: it could not be started ({error.strerror or error})"
        self._told = told
        return "Making the report …"

    def news(self) -> str:
        """Return how the report under way ended, once; empty while it goes on or none does."""
        if self._process is None or self._process.poll() is None:
            return ""
        with self._told as told:
            told.seek(0)
            lines = told.read().decode("utf-8", "replace").strip().splitlines()
        done, self._process, self._told = self._process, None, None
        if done.returncode == 0:
            return f"Report: {self._path}"
        return f"No report: {lines[-1].partition(': ')[2] if lines else 'it broke off'}"
