"""Small TOML files kept for the user: written whole or not at all, set aside if damaged.

These are the players' records, the lenses and the tags' true size.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final, TypeVar

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

from trainer.errors import TrainerError

#: Names the folder for all that is kept, in place of the system's own place for data.
DATA_VARIABLE: Final = "TRAINER_DATA_DIR"

#: Another program's writing is waited for so long; it takes milliseconds.
PATIENCE_S: Final = 1.0
#: A lock this old was left by a program that died.
LEFT_BEHIND_S: Final = 10.0

_Kept = TypeVar("_Kept")


class DamagedError(Exception):
    """A kept file holds something that cannot be used; the words say what."""


def kept_dir() -> Path:
    """Return the folder: ``TRAINER_DATA_DIR``, else the user's data folder."""
    chosen = os.environ.get(DATA_VARIABLE)
    if chosen:
        return Path(chosen)
    import platformdirs

    return Path(platformdirs.user_data_dir("backswing-mirror", appauthor=False))


def read_kept(
    path: Path,
    understand: Callable[[dict[str, Any]], _Kept],
    *,
    what: str,
    error_class: type[TrainerError],
    then: str = "it is not used",
) -> tuple[_Kept | None, str]:
    """Return what ``understand`` makes of the file, and plain words about what went wrong.

    Without a file: (None, ""). A damaged one (``understand`` raised DamagedError, or it is no
    TOML) is renamed and gives None and words that end with what follows, ``then``. Raises
    ``error_class`` when the file is there but cannot be read or set aside.
    """
    try:
        return understand(tomllib.loads(path.read_bytes().decode("utf-8"))), ""
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        raise error_class(
            f"{what}, {path}, could not be read ({error.strerror or error}). A file this program "
            "wrote was wanted. Check its permissions."
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, DamagedError) as error:
        aside = _set_aside(path, what, error_class)
        why = str(error).splitlines()[0].split(". ")[0].rstrip(".")
        return None, (
            f"{what[0].upper()}{what[1:]} was damaged ({why}), so {then}. "
            f"The old file is kept as {aside}; mend it and name it {path.name} to have it back."
        )


def write_kept(
    path: Path, head: str, values: dict[str, Any], *, what: str, error_class: type[TrainerError]
) -> None:
    """Write ``head`` and ``values``, whole or not at all. Raises ``error_class`` if it cannot."""
    import tomli_w

    half = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with half.open("w", encoding="utf-8", newline="\n") as file:
                file.write(head + tomli_w.dumps(values))
                file.flush()
                os.fsync(file.fileno())
            os.replace(half, path)
        finally:
            with contextlib.suppress(OSError):
                half.unlink(missing_ok=True)
    except OSError as error:
        raise error_class(
            f"{what} could not be written to {path} ({error.strerror or error}). A folder that "
            "can be written, on a disk with space, was wanted. Make room, or name another folder "
            f"in {DATA_VARIABLE}."
        ) from None


@contextlib.contextmanager
def held_alone(path: Path, *, what: str, error_class: type[TrainerError]) -> Iterator[None]:
    """Keep other programs from reading and writing the file until the end of the block.

    A lock left by a program that died is taken over after some seconds. Where no lock can be made
    at all the block runs without one: what is wrong there is then said by the writing. Raises
    ``error_class`` when another program does not let go in time.
    """
    lock = path.with_name(f".{path.name}.lock")
    until_s = time.monotonic() + PATIENCE_S
    mine = False
    while not mine:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            mine = True
        except FileExistsError:
            with contextlib.suppress(OSError):  # it may have gone by now
                if time.time() - lock.stat().st_mtime > LEFT_BEHIND_S:
                    lock.unlink()
                    continue
            if time.monotonic() >= until_s:
                raise error_class(
                    f"{what}, {path}, is being written by another program. A moment alone with it "
                    f"was wanted. Close that program, or delete {lock.name} if there is none."
                ) from None
            time.sleep(0.01)
        except OSError:
            break
    try:
        yield
    finally:
        if mine:
            with contextlib.suppress(OSError):
                lock.unlink()


def number(values: dict[str, Any], name: str, low: float, high: float) -> float:
    """Return the number of that name. Raises DamagedError unless it is one from low to high."""
    return checked_number(values.get(name), name, low, high)


def checked_number(value: object, name: str, low: float, high: float) -> float:
    """Return ``value`` as a number. Raises DamagedError unless it is one from low to high."""
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:  # type: ignore[operator]
        raise DamagedError(f"{name} is {value!r}, not a number from {low:g} to {high:g}")
    return float(value)  # type: ignore[arg-type]


def date(values: dict[str, Any]) -> datetime.date:
    """Return the day. Raises DamagedError unless it is one, without a time."""
    found = values.get("date")
    if type(found) is not datetime.date:
        raise DamagedError(f"date is {found!r}, not a day such as 2026-05-31 without quotes")
    return found


def _set_aside(path: Path, what: str, error_class: type[TrainerError]) -> str:
    """Move a damaged file to a name that is free; return that name."""
    for count in range(1, 1000):
        aside = path.with_name(f"{path.name}.damaged" + ("" if count == 1 else f"-{count}"))
        if aside.exists():
            continue
        try:
            path.rename(aside)
        except OSError as error:
            raise error_class(
                f"{what}, {path}, is damaged and could not be set aside "
                f"({error.strerror or error}). A folder that can be written was wanted. "
                "Move that file away by hand."
            ) from None
        return aside.name
    raise error_class(
        f"{what}, {path}, is damaged, and too many damaged ones lie beside it. A free name was "
        "wanted. Delete the old ones."
    )
