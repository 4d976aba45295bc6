"""Fetches, checks and caches the pose model: a file that is there and whole, or a clear error.

Kept in the user's cache folder (``TRAINER_CACHE_DIR`` overrides it), written in one step. Called
from the main thread, before the pose thread starts. What is fetched and why it can be trusted is
in ``model_bundle``; how, in ``model_download``.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, TextIO

from trainer.adapters.model_bundle import (
    DETECTOR,
    FULL_MODEL,
    LANDMARKER,
    ModelSource,
    build_task,
    is_whole,
    read_wheel,
)
from trainer.adapters.model_download import (
    CommandRunner,
    Progress,
    download,
    reason,
    run_command,
)
from trainer.errors import PoseError

CACHE_VARIABLE: Final = "TRAINER_CACHE_DIR"
_LEFTOVER_AGE_S: Final = 24 * 3600.0


def ensure_model(
    *,
    path: Path | None = None,
    progress: bool = True,
    cache_dir: Path | None = None,
    source: ModelSource = FULL_MODEL,
    runner: CommandRunner | None = None,
    stream: TextIO | None = None,
) -> Path:
    """Return a pose model file that is there and whole, fetching it if this is the first time.

    ``path`` is the player's own choice: a PoseLandmarker ``.task`` file is checked and used as
    it is, and the pinned ``.whl`` is unpacked into the cache without any network. ``progress``
    shows a bar (on a terminal) or a few lines (elsewhere) on ``stream``, standard error by
    default. Raises PoseError when no usable model can be had.
    """
    if path is not None and path.suffix != ".whl":
        check_task_file(path)
        return path
    folder = cache_folder() if cache_dir is None else cache_dir
    target = folder / source.cache_name
    if is_whole(target):
        return target
    with _explained_disk_errors(folder):
        folder.mkdir(parents=True, exist_ok=True)
        _sweep_leftovers(folder)
        with tempfile.TemporaryDirectory(prefix="fetch-", dir=folder) as work_name:
            work = Path(work_name)
            if path is not None:
                wheel = path
            else:
                with Progress(source, progress, stream or sys.stderr) as bar:
                    wheel = download(source, work, runner or run_command, bar)
            data = build_task(read_wheel(wheel, source), source)
            _store(data, target, work)
    return target


def cache_folder() -> Path:
    """Return the folder the model is kept in: ``TRAINER_CACHE_DIR``, else the user's cache."""
    chosen = os.environ.get(CACHE_VARIABLE)
    if chosen:
        return Path(chosen).expanduser()
    import platformdirs

    return Path(platformdirs.user_cache_dir("backswing-mirror", appauthor=False))


def check_task_file(path: Path) -> None:
    """Raise PoseError unless ``path`` is a PoseLandmarker ``.task`` file, as far as a zip shows."""
    wanted = f"a PoseLandmarker .task file (a zip holding {DETECTOR} and {LANDMARKER}) was wanted"
    advice = "Give another file with --model, or leave --model out to use the standard model."
    try:
        with zipfile.ZipFile(path) as bundle:
            members = {info.filename: info for info in bundle.infolist()}
    except FileNotFoundError:
        raise PoseError(f"there is no model file {path}; {wanted}. {advice}") from None
    except zipfile.BadZipFile:
        raise PoseError(f"{path} is not a zip file; {wanted}. {advice}") from None
    except OSError as error:
        raise PoseError(
            f"the model file {path} cannot be read ({reason(error)}); {wanted}. {advice}"
        ) from error
    missing = [name for name in (DETECTOR, LANDMARKER) if name not in members]
    if missing:
        raise PoseError(f"{path} holds no {' and no '.join(missing)}; {wanted}. {advice}")
    for name in (DETECTOR, LANDMARKER):
        if members[name].compress_type != zipfile.ZIP_STORED:
            raise PoseError(
                f"{name} in {path} is compressed; {wanted}, stored without compression, because "
                "it is read in place. Zip it again with compression off (zip -0)."
            )


def _store(data: bytes, target: Path, work: Path) -> None:
    """Put ``data`` in place in one step, so that no reader ever sees half a file."""
    part = work / target.name
    with part.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    try:
        part.replace(target)
    except PermissionError:
        # Windows refuses while another process has it open; then that one has just finished it.
        if not is_whole(target):
            raise


def _sweep_leftovers(folder: Path) -> None:
    """Remove what a killed fetch left behind, but nothing a running one may be using."""
    for old in folder.glob("fetch-*"):
        try:
            if time.time() - old.stat().st_mtime > _LEFTOVER_AGE_S:
                shutil.rmtree(old, ignore_errors=True)
        except OSError:
            continue


@contextmanager
def _explained_disk_errors(folder: Path) -> Iterator[None]:
    """Turn a full or unwritable disk into a PoseError that names the folder."""
    try:
        yield
    except OSError as error:
        what = reason(error)
        need = (
            "about 100 MB free for a moment and 10 MB to stay"
            if (error.errno == errno.ENOSPC)
            else "a folder that can be written to"
        )
        raise PoseError(
            f"the pose model could not be kept in {folder} ({what}); {need} was wanted. Make room "
            f"or set {CACHE_VARIABLE} to another folder, or give a model with --model."
        ) from error
