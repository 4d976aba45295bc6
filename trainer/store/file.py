"""The file every rep is kept in: one SQLite database in the user's data folder.

Written ahead to a log (WAL) and flushed to the disk with every rep, so that a rep whose ``save``
has returned is there after any end of the program, and after the machine lost its power.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final

from trainer.errors import StoreError
from trainer.kept_file import DATA_VARIABLE, kept_dir
from trainer.store import schema
from trainer.store.content import Store
from trainer.store.trouble import damaged, in_words

FILE_NAME: Final = "reps.sqlite"
#: How long another program's writing is waited for.
PATIENCE_S: Final = 2.0


def open_store(path: Path | None = None, *, create: bool = False, read_only: bool = False) -> Store:
    """Open the record of reps, by default the user's own; bring one of an earlier version up.

    ``read_only``: for looking at a file as it is; nothing beside it is made either.

    Raises StoreError when there is none (unless ``create``), when it cannot be opened, or when a
    newer version of the program made it; DamagedStoreError when it is no record of this program.
    """
    path = store_path() if path is None else path
    if not create and not path.exists():
        raise StoreError(
            f"there is no record of reps yet at {path}. Reps that were kept were wanted. "
            "Make some with trainer live."
        )
    if create:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"the folder {path.parent} could not be made ({error.strerror or error}). A place "
                f"for the record of reps was wanted. Name another folder in {DATA_VARIABLE}."
            ) from None
    with in_words(path):
        db = _connect(path, "ro&immutable=1" if read_only else "rwc" if create else "rw")
        try:
            _check_kind(db, path)
            if not read_only:
                _prepare(db)
        except BaseException:
            db.close()
            raise
    return Store(db, path)


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode={mode}"
    db = sqlite3.connect(address, uri=True, timeout=PATIENCE_S, isolation_level=None)
    db.row_factory = sqlite3.Row
    return db


def _check_kind(db: sqlite3.Connection, path: Path) -> None:
    """Raise what is to be said of a file that is not ours, or of a version yet to come."""
    version = schema.version_of(db)
    ours = db.execute("PRAGMA application_id").fetchone()[0] == schema.APPLICATION_ID
    if not ours and db.execute("SELECT 1 FROM sqlite_master").fetchone():
        raise damaged(path, "it is a database of another program")
    if version > schema.VERSION:
        raise StoreError(
            f"the record of reps, {path}, is of version {version}. {schema.VERSION} or an earlier "
            "one was wanted. Use the version of the program that wrote it, or a newer one."
        )


def _prepare(db: sqlite3.Connection) -> None:
    db.execute("PRAGMA foreign_keys = ON")
    # Where the file system cannot have a log, SQLite stays with its journal, as safe but slower.
    db.execute("PRAGMA journal_mode = WAL")
    # With NORMAL the last reps would not outlive a loss of power.
    db.execute("PRAGMA synchronous = FULL")
    if schema.version_of(db) < schema.VERSION:
        schema.bring_up(db)


def set_aside(path: Path) -> Path:
    """Give a damaged record another name, with what belongs to it; return that name.

    Raises StoreError when it cannot be.
    """
    aside = free_name(path, "damaged")
    try:
        # The log first: beside a new record it would be taken for that one's.
        for ending in ("-wal", "-shm", ""):
            part = path.with_name(path.name + ending)
            if part.exists():
                part.rename(aside.with_name(aside.name + ending))
    except OSError as error:
        raise StoreError(
            f"the record of reps, {path}, is damaged and could not be set aside "
            f"({error.strerror or error}). A folder that can be written was wanted. Move that "
            "file away by hand."
        ) from None
    return aside


def free_name(path: Path, ending: str) -> Path:
    """Return a name beside ``path`` that no file has. Raises StoreError when too many have it."""
    for count in range(1, 1000):
        free = path.with_name(f"{path.name}.{ending}" + ("" if count == 1 else f"-{count}"))
        if not free.exists():
            return free
    raise StoreError(
        f"too many files called {path.name}.{ending} lie in {path.parent}. A free name was wanted. "
        "Delete the old ones."
    )


def store_path() -> Path:
    """Return where the record of reps lies: in ``TRAINER_DATA_DIR``, else the user's data."""
    return kept_dir() / FILE_NAME
