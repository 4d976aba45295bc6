"""What SQLite says went wrong, in words a person can act on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from trainer.errors import BusyStoreError, DamagedStoreError, StoreError
from trainer.kept_file import DATA_VARIABLE

_ROOM: Final = f"Make room, or name another folder in {DATA_VARIABLE}"
#: Part of SQLite's own text -> what happened, what was wanted, what to try. The text and not the
#: code, which Python tells only from 3.11 on; SQLite has kept these texts for many years.
_WORDS: Final = (
    ("disk is full", "could not grow", "A disk with space was wanted", _ROOM),
    ("disk i/o", "could not be written or read", "A disk that answers, with space, was wanted",
     _ROOM),
    ("readonly", "may not be written", "A file and folder that can be written were wanted",
     f"Check their permissions, or name another folder in {DATA_VARIABLE}"),
    ("unable to open", "could not be opened", "A folder that can be written was wanted",
     f"Check its permissions, or name another folder in {DATA_VARIABLE}"),
)  # fmt: skip
_DAMAGED: Final = ("not a database", "malformed", "no such table", "no such column")


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn what SQLite raises within into StoreError, or DamagedStoreError for a damaged file."""
    try:
        yield
    except sqlite3.Error as error:
        raise error_of(error, path) from None


@contextmanager
def understood(path: Path) -> Iterator[None]:
    """As ``in_words``; besides, a value that this program never put in is damage."""
    try:
        with in_words(path):
            yield
    except (ValueError, KeyError, TypeError) as error:
        raise damaged(path, f"{type(error).__name__}: {error}") from None


def error_of(error: sqlite3.Error, path: Path) -> StoreError:
    """Return what to tell of ``error``, raised by the record of reps at ``path``."""
    said = str(error)
    if any(part in said.lower() for part in _DAMAGED):
        return damaged(path, said)
    if "locked" in said.lower():
        return BusyStoreError(
            f"the record of reps, {path}, is in use by another program ({said}). Leave to write to "
            "it was wanted. Close the other program."
        )
    for part, happened, wanted, try_this in _WORDS:
        if part in said.lower():
            return StoreError(
                f"the record of reps, {path}, {happened} ({said}). {wanted}. {try_this}."
            )
    return StoreError(
        f"the record of reps, {path}, could not be used ({said}). A record that can be read and "
        f"written was wanted. {_ROOM}."
    )


def damaged(path: Path, why: str) -> DamagedStoreError:
    """Return the error of a file that is not whole, or not ours."""
    return DamagedStoreError(
        f"the record of reps, {path}, is damaged ({why}). A record this program wrote was wanted. "
        "Put a backup in its place: trainer restore FILE."
    )
