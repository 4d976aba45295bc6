"""Where the pictures of filmed reps lie, and how they go: over the budget, or when asked to.

One MP4 file a rep in the folder ``pictures`` beside the record, named by the session's ``uid`` and
the rep's number. A file goes before its row does, so that none is left that nothing tells of.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from trainer.errors import PicturesError
from trainer.store.content import Store
from trainer.store.file import store_path
from trainer.store.records import KeptPictures, KeptRep

FOLDER: Final = "pictures"
_NAME: Final = re.compile(r"([0-9a-f]{32})-([1-9][0-9]{0,8})\.mp4")
#: What is left of a clip whose writing broke off, if it is older than this.
_HALF: Final = ".*.part.mp4"
_OLD_S: Final = 3600.0


def pictures_dir(path: Path | None = None) -> Path:
    """Return the folder beside the record at ``path``, by default the user's own."""
    return (store_path() if path is None else path).with_name(FOLDER)


def clip_name(session_uid: str, number: int) -> str:
    """Return the name of a rep's file. Raises ValueError for what is no ``uid`` or number."""
    name = f"{session_uid}-{number}.mp4"
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} is no name of a rep's pictures")
    return name


def clips_in(folder: Path) -> list[Path]:
    """Return the clips that lie there, oldest first."""
    if not folder.is_dir():
        return []
    found = [p for p in folder.iterdir() if _NAME.fullmatch(p.name) and p.is_file()]
    return sorted(found, key=lambda p: (p.stat().st_mtime_ns, p.name))


def size_of(clips: Iterable[Path]) -> int:
    """Return how many bytes they take together."""
    return sum(clip.stat().st_size for clip in clips)


def sha256_of(clip: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal digits."""
    return hashlib.sha256(clip.read_bytes()).hexdigest()


def clip_of(store: Store, session_uid: str, number: int) -> tuple[Path, KeptPictures] | None:
    """Return a rep's clip and what is told of it; None without one, or where it is another."""
    told = store.pictures_of(session_uid, number)
    if told is None:
        return None
    clip = pictures_dir(store.path) / clip_name(session_uid, number)
    try:
        same = clip.stat().st_size == told.bytes and sha256_of(clip) == told.sha256
    except OSError:
        return None
    return (clip, told) if same else None


def top_picture(store: Store, kept: KeptRep) -> bytes | None:
    """Return the picture at a rep's top as JPEG; None unless it was filmed and its clip is here."""
    found = clip_of(store, kept.session.uid, kept.rep.number)
    top_frame = None if found is None else found[1].top_frame
    if found is None or top_frame is None:
        return None
    from trainer.adapters.rep_clip import picture_in

    return picture_in(found[0], top_frame)


def keep_within(store: Store, most_bytes: int) -> int:
    """Delete the oldest clips until all take ``most_bytes`` or less; return how many went.

    The reps they were of stay. Raises PicturesError when one cannot be deleted.
    """
    folder = pictures_dir(store.path)
    _unlink(p for p in folder.glob(_HALF) if time.time() - p.stat().st_mtime > _OLD_S)
    clips = clips_in(folder)
    over, gone = size_of(clips) - most_bytes, []
    for clip in clips:
        if over <= 0:
            break
        over -= clip.stat().st_size
        gone.append(clip)
    _delete(store, gone)
    return len(gone)


def delete_pictures(store: Store, player: str | None = None) -> int:
    """Delete the clips of a player's reps, or every clip; return how many.

    Raises PicturesError when one cannot be deleted, StoreError when the record cannot be written.
    """
    if player is not None:
        clips = player_clips(store, player)
    else:
        folder = pictures_dir(store.path)
        clips = clips_in(folder)
        _unlink(folder.glob(_HALF))
    _delete(store, clips)
    return len(clips)


def player_clips(store: Store, player: str) -> list[Path]:
    """Return the clips of a player's sessions, also of reps that are not told of."""
    theirs = {line.session.uid for line in store.sessions(player)}
    clips = clips_in(pictures_dir(store.path))
    return [clip for clip in clips if _place(clip)[0] in theirs]


def stray(store: Store) -> list[Path]:
    """Return the clips of reps that are not in the record."""
    told = set(store.pictures_kept())
    return [clip for clip in clips_in(pictures_dir(store.path)) if _place(clip) not in told]


def drop_clip(clip: Path) -> None:
    """Delete one clip. Raises PicturesError when it cannot be."""
    _unlink([clip])


def _delete(store: Store, clips: list[Path]) -> None:
    gone: list[tuple[str, int]] = []
    try:
        for clip in clips:
            _unlink([clip])
            gone.append(_place(clip))
    finally:
        store.drop_pictures_of(gone)


def _place(clip: Path) -> tuple[str, int]:
    uid, number = clip.stem.rsplit("-", 1)
    return uid, int(number)


def _unlink(clips: Iterable[Path]) -> None:
    for clip in clips:
        try:
            clip.unlink(missing_ok=True)
        except OSError as error:
            raise PicturesError(
                f"{clip} could not be deleted ({error.strerror or error}). A folder that can be "
                "written was wanted. Close what shows that file, or delete it by hand."
            ) from None
