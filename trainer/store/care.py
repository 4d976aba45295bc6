"""The record of reps as a whole: a copy of it, a copy in its place, and one player out of it."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from trainer.errors import BusyStoreError, DamagedStoreError, PlayerError, StoreError
from trainer.players import data_dir, load, record_key, record_path, save
from trainer.store.content import Store, player_key
from trainer.store.file import free_name, open_store, set_aside, store_path
from trainer.store.pictures import delete_pictures
from trainer.store.trouble import damaged, in_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """How much a record, or a player in it, holds."""

    players: int
    sessions: int
    reps: int


def held(store: Store, player: str | None = None) -> Held:
    """Return how much is kept, of one player or of all."""
    key = None if player is None else player_key(player)
    where = "" if key is None else "WHERE players.key = :key"
    counts = []
    for what, source in (
        ("DISTINCT players.id", "players"),
        ("DISTINCT sessions.id", "players JOIN sessions ON player_id = players.id"),
        (
            "reps.id",
            "players JOIN sessions ON player_id = players.id JOIN reps ON session_id = sessions.id",
        ),
    ):
        row = store.query(f"SELECT count({what}) FROM {source} {where}", {"key": key})[0]
        counts.append(int(row[0]))
    return Held(players=counts[0], sessions=counts[1], reps=counts[2])


def backup(target: Path, path: Path | None = None) -> Held:
    """Write a whole copy of the record to ``target``, also while a mirror is keeping reps.

    Raises StoreError when there is no record, when ``target`` is there already or cannot be
    written; DamagedStoreError when the record is not whole.
    """
    if target.exists():
        raise StoreError(
            f"{target} is there already and is not written over. The name of a new file was "
            "wanted. Give another name."
        )
    half = target.with_name(f".{target.name}.{os.getpid()}.part")
    with open_store(path) as store:
        _sound(store)
        try:
            with in_words(target), closing(sqlite3.connect(half)) as copy:
                store.copy_into(copy)
                # One file by itself, without a log beside it.
                copy.execute("PRAGMA journal_mode = DELETE")
            with half.open("rb+") as file:
                os.fsync(file.fileno())
            os.replace(half, target)
        except OSError as error:
            raise StoreError(
                f"the backup could not be written to {target} ({error.strerror or error}). A "
                "folder that can be written, on a disk with space, was wanted. Give another name."
            ) from None
        finally:
            with contextlib.suppress(OSError):
                half.unlink(missing_ok=True)
        return held(store)


def restore(source: Path, path: Path | None = None) -> tuple[Held, Path | None]:
    """Put the backup ``source`` in the record's place; return what is there now.

    What was there before is kept under the name that is returned too; None when there was nothing.
    Raises StoreError when ``source`` is no whole record of this program, and changes nothing then.
    """
    path = store_path() if path is None else path
    if not source.exists():
        raise StoreError(
            f"there is no file {source}. A backup written by trainer backup was wanted. "
            "Check the name."
        )
    if path.exists() and source.samefile(path):
        raise StoreError(
            f"{source} is the record of reps itself. A backup of it was wanted. Give its name."
        )
    with contextlib.ExitStack() as stack:
        try:
            backed_up = stack.enter_context(open_store(source, read_only=True))
            _sound(backed_up)
        except DamagedStoreError as error:
            # Of the record in use it is said to restore a backup: here that is what failed.
            why = str(error).partition("(")[2].partition("). A record")[0]
            raise StoreError(
                f"{source} is no whole backup ({why}), and nothing was changed. A file written by "
                "trainer backup was wanted. Give another one."
            ) from None
        before = _kept_before(path)
        with open_store(path, create=True) as store:
            store.replace_by(backed_up)
    with open_store(path) as store:  # brings one of an earlier version up
        return held(store), before


def forget(player: str, path: Path | None = None) -> bool:
    """Delete all that is kept of ``player``: reps, the pictures of them, the player's own record.

    Returns False when another program uses the file: then traces stay in its log until that one
    is closed. Raises StoreError when it cannot be written, PicturesError when a clip stays.
    """
    path = store_path() if path is None else path
    for part in records_of(player):
        try:
            part.unlink()
        except OSError as error:
            raise StoreError(
                f"{part} could not be deleted ({error.strerror or error}). A folder that can be "
                "written was wanted. Delete that file by hand."
            ) from None
    if not path.exists():
        return True
    with open_store(path) as store:
        delete_pictures(store, player)
        store.delete_player(player)
        try:
            store.clean()
        except BusyStoreError:
            return False
    return True


def rename(old: str, new: str, *, join: bool = False, path: Path | None = None) -> tuple[bool, int]:
    """Give a player another name: in their own record, and with every session that is kept.

    Returns whether there was a record, and how many sessions there were. Where ``new`` has a
    record or sessions too, those of ``old`` come to them only with ``join``, and the record of
    ``new`` stands; a record of ``old`` is then kept beside it under another name. Raises
    StoreError or PlayerError, before anything is changed, where that cannot be.
    """
    path = store_path() if path is None else path
    was, now = record_path(old), record_path(new)
    same = record_key(old) == record_key(new)
    with contextlib.ExitStack() as stack:
        store = stack.enter_context(open_store(path)) if path.exists() else None
        both_kept = store is not None and all(store.sessions(n, most=1) for n in (old, new))
        if not same and not join and (both_kept or (was.exists() and now.exists())):
            raise StoreError(
                f"{new} is a player of whom something is kept already. A name that is free was "
                f"wanted. Give another one, or --join where {old} and {new} are one person."
            )
        had, takes_over = was.exists(), same or not now.exists()
        record, trouble = load(old)
        if trouble:  # it was set aside, and there is nothing to give another name to
            raise PlayerError(trouble)
        sessions = 0 if store is None else store.rename_player(old, new)
        if had and takes_over:
            save(replace(record, name=new))
        if had and not same:
            was.unlink() if takes_over else was.rename(free_name(was, "joined"))
    return had, sessions


def records_of(player: str) -> list[Path]:
    """Return the files of the player's own record, damaged ones too."""
    name = record_path(player).name
    folder = data_dir()
    if not folder.is_dir():
        return []
    return sorted(p for p in folder.iterdir() if p.name == name or p.name.startswith(f"{name}."))


def other_copies(path: Path | None = None) -> list[Path]:
    """Return earlier records that lie beside the one in use: they still hold every player."""
    path = store_path() if path is None else path
    if not path.parent.is_dir():
        return []
    kinds = (f"{path.name}.damaged", f"{path.name}.before")
    found = (p for p in path.parent.iterdir() if p.name.startswith(kinds))
    return sorted(p for p in found if not p.name.endswith(("-wal", "-shm")))


def _sound(store: Store) -> None:
    state = store.check()
    if state != "ok":
        raise damaged(store.path, state.splitlines()[0])


def _kept_before(path: Path) -> Path | None:
    """Keep what is at ``path`` under another name; return that name, None for nothing."""
    if not path.exists():
        return None
    try:
        before = free_name(path, "before")
        backup(before, path)
    except DamagedStoreError:
        return set_aside(path)
    return before
