"""One file of reps from a player to a coach: a zip with the reps as JSON, and a page to read.

A file from elsewhere is looked at from end to end before anything of it is kept, and then all of
it is kept or nothing.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from trainer.core.counted import counted
from trainer.errors import ShareError
from trainer.store.content import Store, player_key
from trainer.store.export import SCHEMA, json_text, of_sessions
from trainer.store.records import KeptRep, Motion
from trainer.store.values import (
    MOST_REPS,
    MOST_SESSIONS,
    StrangeError,
    rep_from,
    session_from,
)
from trainer.store.written import whole_file

REPS: Final = "reps.json"
PAGE: Final = "report.html"
#: Unpacked. Some 3,000 reps; more is not one practice to look at.
MOST_BYTES: Final = 64 << 20
MOST_PAGE_BYTES: Final = 32 << 20
MOST_PACKED_BYTES: Final = 32 << 20
#: A rep's curves shrink to a fifth or so; what shrinks more than this is made to burst.
MOST_SHRINK: Final = 100
_ENCRYPTED: Final = 0x1  #: bit 0 of the general purpose flags, APPNOTE.TXT 4.4.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What came of a file from elsewhere."""

    players: tuple[str, ...]
    sessions: int
    reps: int  #: in the file
    new: int  #: of these, not here before


def share(
    store: Store, target: Path, player: str, *, sessions: int = -1, page: bytes | None = None
) -> int:
    """Write the ``sessions`` newest sessions (all: -1) of ``player``; return how many reps.

    ``page`` is put in beside them, and no picture but those in it. Raises ShareError when that is
    too much for whoever gets it, or when it cannot be written.
    """
    lines = store.sessions(player, most=sessions)
    text = "".join(json_text(of_sessions(store, player, sessions))).encode("utf-8")
    count = sum(len(store.reps_of(line.session)) for line in lines)
    if len(text) > MOST_BYTES or count > MOST_REPS or len(lines) > MOST_SESSIONS:
        raise _too_much(f"{counted(count, 'rep')} in {len(text) >> 20} MB")
    if page is not None and len(page) > MOST_PAGE_BYTES:
        raise _too_much(f"a page of {len(page) >> 20} MB and {counted(count, 'rep')}")
    with whole_file(target) as half, zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(REPS, text)
        if page is not None:
            packed.writestr(PAGE, page)
        packed.close()
        if half.stat().st_size > MOST_PACKED_BYTES:
            raise _too_much(f"{half.stat().st_size >> 20} MB packed")
    return count


def take(store: Store, found: list[tuple[KeptRep, Motion]]) -> Taken:
    """Keep the reps of a shared file, all or none; those that are here already stay as they are.

    Raises StoreError where they cannot be kept, or a session is here under another name.
    """
    new = store.save_all(found)
    sessions = {kept.session.uid for kept, _ in found}
    players = {player_key(kept.session.player): kept.session.player for kept, _ in found}
    return Taken(
        players=tuple(sorted(players.values())), sessions=len(sessions), reps=len(found), new=new
    )


def read_share(source: Path, player: str | None = None) -> list[tuple[KeptRep, Motion]]:
    """Return every rep of a shared file, filed under ``player`` if one is given.

    Raises ShareError for anything that this program would not have written.
    """
    with _refused(source):
        values = _values(_unpacked(source))
        if not isinstance(values, dict) or set(values) != {"schema", "program", "sessions"}:
            raise StrangeError(f"{REPS} is no list of sessions")
        if values["schema"] != SCHEMA or isinstance(values["schema"], bool):
            raise StrangeError(f"it has schema {str(values['schema'])[:20]}, not {SCHEMA}")
        sessions = values["sessions"]
        if not isinstance(sessions, list) or not 0 < len(sessions) <= MOST_SESSIONS:
            raise StrangeError(f"it holds no list of 1 to {MOST_SESSIONS} sessions")
        found: list[tuple[KeptRep, Motion]] = []
        places: set[tuple[str, int]] = set()
        for count, told in enumerate(sessions, start=1):
            session = session_from(told, player, f"session {count}")
            reps = told["reps"]
            if not isinstance(reps, list) or len(reps) + len(found) > MOST_REPS:
                raise StrangeError(f"session {count} has no list of reps, or too many")
            for number, one in enumerate(reps, start=1):
                kept, motion = rep_from(one, session, f"session {count} rep {number}")
                places.add((session.uid, kept.rep.number))
                found.append((kept, motion))
        if len(places) != len(found):
            raise StrangeError("it holds one rep twice")
        return found


def _too_much(what: str) -> ShareError:
    return ShareError(
        f"{what} are more than one file may hold. {MOST_REPS} reps in {MOST_BYTES >> 20} MB at "
        f"most, packed to {MOST_PACKED_BYTES >> 20} MB, were wanted. Take fewer of the newest with "
        "--sessions."
    )


def _unpacked(source: Path) -> bytes:
    """Return the reps' text out of the zip; nothing is ever unpacked to the disk."""
    if source.stat().st_size > MOST_PACKED_BYTES:
        raise StrangeError(f"it has {source.stat().st_size >> 20} MB")
    with zipfile.ZipFile(source) as packed:
        inside = packed.infolist()
        names = [info.filename for info in inside]
        if REPS not in names or not set(names) <= {REPS, PAGE} or len(set(names)) != len(names):
            strange = next((n for n in names if n not in (REPS, PAGE)), None)
            why = f"it holds {strange[:60]!r}" if strange else f"it does not hold one {REPS}"
            raise StrangeError(why)
        for info in inside:
            most = MOST_BYTES if info.filename == REPS else MOST_PAGE_BYTES
            if info.flag_bits & _ENCRYPTED:
                raise StrangeError(f"{info.filename} is encrypted")
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise StrangeError(f"{info.filename} is packed in a way not used here")
            if info.file_size > most or info.file_size > MOST_SHRINK * max(info.compress_size, 1):
                raise StrangeError(f"{info.filename} would unpack to {info.file_size} bytes")
        with packed.open(REPS) as file:
            # What the zip says of a size need not be true.
            text = file.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise StrangeError(f"{REPS} unpacks to more than it says")
        return text


def _values(text: bytes) -> Any:  # noqa: ANN401 -- a stranger's
    def no_number(said: str) -> float:
        raise StrangeError(f"it holds {said[:20]}, which is no number")

    def whole(said: str) -> int:
        if len(said) > 16:
            raise StrangeError(f"it holds a number of {len(said)} digits")
        return int(said)

    return json.loads(text.decode("utf-8"), parse_constant=no_number, parse_int=whole)


@contextmanager
def _refused(source: Path) -> Iterator[None]:
    """Turn all that a strange file can raise into one clear word."""
    try:
        yield
    except FileNotFoundError:
        raise ShareError(
            f"there is no file {source}. A file written by trainer share was wanted. "
            "Check the name."
        ) from None
    except OSError as error:
        raise ShareError(
            f"{source} could not be read ({error.strerror or error}). A file written by trainer "
            "share was wanted. Check its permissions."
        ) from None
    except RecursionError:
        raise _strange(source, "it is nested too deep") from None
    except MemoryError:
        raise _strange(source, "it is too big for this machine's memory") from None
    except zipfile.BadZipFile as error:
        why = str(error).splitlines()[0][:200]
        raise _strange(source, f"it is no whole zip file ({why})") from None
    except (StrangeError, ValueError, NotImplementedError) as error:
        raise _strange(source, str(error).splitlines()[0][:200]) from None
    except (EOFError, RuntimeError, zlib.error) as error:
        raise _strange(source, str(error)[:200]) from None


def _strange(source: Path, why: str) -> ShareError:
    return ShareError(
        f"{source} was not taken in, and nothing was changed: {why}. A file written by trainer "
        "share, of this version or an earlier one, was wanted. Ask for it again."
    )


def read_page(page: Path) -> bytes:
    """Return a page of the user's own to put in. Raises ShareError when it cannot be read."""
    try:
        return page.read_bytes()
    except OSError as error:
        raise ShareError(
            f"the page {page} could not be read ({error.strerror or error}). A page written by "
            "this program was wanted. Check its name."
        ) from None
