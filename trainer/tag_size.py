"""How large the printed tags truly are: one small TOML file for the user's own printed sheets."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from trainer.core.print_sheets import RULER_MM, SIZE_LIMITS_CM, true_size_mm
from trainer.errors import SheetError
from trainer.kept_file import DamagedError, date, kept_dir, number, read_kept, write_kept

SCHEMA: Final = 1
#: A sheet of 8 to 16 cm printed a fifth too small or too large.
LIMITS_MM: Final = (8.0 * SIZE_LIMITS_CM[0], 12.0 * SIZE_LIMITS_CM[1])
_KEYS: Final = {"schema", "date", "asked_mm", "ruler_mm", "size_mm"}
_HEAD: Final = (
    "# How large the printed tags are. size_mm is what counts: the side of the black square as\n"
    "# measured; it may be changed by hand (docs/how-to/tags.md).\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TagSize:
    """The size of the tags that are worn. All tags of a player are of one size."""

    asked_mm: float  #: as the sheet was made
    ruler_mm: float = RULER_MM  #: what the printed 100 mm ruler measures
    size_mm: float  #: the true side of the black square
    date: datetime.date


def tag_size_path(folder: Path | None = None) -> Path:
    """Return the file."""
    return (kept_dir() if folder is None else folder) / "tags.toml"


def load_tag_size(folder: Path | None = None) -> tuple[TagSize | None, str]:
    """Return what is kept of the printed tags, and words about what went wrong.

    None where no sheet was made here. A damaged file is set aside. Raises SheetError when the
    file is there but cannot be read or set aside.
    """
    return read_kept(
        tag_size_path(folder),
        _from_values,
        what="The size of the printed tags",
        error_class=SheetError,
    )


def keep_tag_size(
    *, asked_mm: float, ruler_mm: float, today: datetime.date, folder: Path | None = None
) -> TagSize:
    """Keep the size of tags made at ``asked_mm`` whose 100 mm ruler measures ``ruler_mm``.

    Raises SheetError for a ruler that cannot be believed, or when nothing can be written.
    """
    try:
        true_mm = true_size_mm(asked_mm, ruler_mm)
    except ValueError as error:
        raise SheetError(str(error)) from None
    size = TagSize(asked_mm=asked_mm, ruler_mm=ruler_mm, size_mm=round(true_mm, 3), date=today)
    write_kept(
        tag_size_path(folder),
        _HEAD,
        {
            "schema": SCHEMA,
            "date": size.date,
            "asked_mm": size.asked_mm,
            "ruler_mm": size.ruler_mm,
            "size_mm": size.size_mm,
        },
        what="the size of the printed tags",
        error_class=SheetError,
    )
    return size


def _from_values(values: dict[str, Any]) -> TagSize:
    unknown = sorted(set(values) - _KEYS)
    if unknown:
        raise DamagedError(f"the unknown key {unknown[0]!r}")
    if values.get("schema") != SCHEMA:
        raise DamagedError(f"schema is {values.get('schema')!r}, not {SCHEMA}")
    return TagSize(
        asked_mm=number(values, "asked_mm", *LIMITS_MM),
        ruler_mm=number(values, "ruler_mm", 1.0, 1000.0),
        size_mm=number(values, "size_mm", *LIMITS_MM),
        date=date(values),
    )
