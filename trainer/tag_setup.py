"""Opens the reading of worn tags: how large they are, and which lens they are seen through."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from trainer import lenses
from trainer.core.lens import Lens, from_field_of_view
from trainer.errors import LensError, SheetError
from trainer.settings import TagSettings
from trainer.tag_size import load_tag_size

if TYPE_CHECKING:
    from trainer.adapters.tag_reader import TagReader

#: Taken for a lens nobody told anything of: most webcams are 60 to 80 degrees wide.
GUESS_DEG: Final = 70.0

LensOf = Callable[[tuple[int, int]], tuple[Lens, str]]


def open_tags(tags: TagSettings, source: str, *, synchronous: bool = False) -> TagReader:
    """Return what reads the tags worn before the camera called ``source``.

    Raises SheetError when nobody told how large the tags are, LensError for the name of a camera
    that was never calibrated.
    """
    size_mm = tag_size_mm(tags)
    lens_of = lens_finder(tags, source)
    from trainer.adapters.tag_reader import TagReader

    return TagReader(lens_of, size_mm / 1000.0, tilt_deg=tags.tilt_deg, synchronous=synchronous)


def tag_size_mm(tags: TagSettings) -> float:
    """Return the measured side of the black square: as told, else as ``trainer tags`` kept it.

    Raises SheetError when it is not known.
    """
    if tags.size_mm is not None:
        return tags.size_mm
    size, trouble = load_tag_size()
    if size is None:
        raise SheetError(
            f"{trouble + ' ' if trouble else ''}the size of the printed tags is not known. Sheets "
            "made with trainer tags, or the measured side of the black square, were wanted. Give "
            "it with --tag-size-mm, such as 120."
        )
    return size.size_mm


def lens_finder(tags: TagSettings, source: str) -> LensOf:
    """Return what gives the lens for a picture's size, with words where it is not calibrated.

    The lens kept for the camera, else the angle of view told, else a guess. Raises LensError
    where a camera was named whose lens is not kept.
    """
    camera = source if tags.lens is None else tags.lens
    if tags.lens is not None and not lenses.sizes(tags.lens):
        known = ", ".join(lenses.cameras()) or "none yet"
        raise LensError(
            f"no lens of {tags.lens!r} is kept. The name of a calibrated camera was wanted: "
            f"{known}. Give one of them to --lens, or run trainer calibrate."
        )

    def lens_of(size_wh: tuple[int, int]) -> tuple[Lens, str]:
        lens, trouble = lenses.find(camera, size_wh)
        if lens is not None:
            return lens, trouble
        wide_deg = GUESS_DEG if tags.field_of_view_deg is None else tags.field_of_view_deg
        guessed = from_field_of_view(wide_deg, size_wh)
        if trouble:
            return guessed, trouble
        told = f"{wide_deg:g}° of view is taken"
        others = lenses.sizes(camera)
        if others:
            sizes = ", ".join(f"{w} by {h}" for w, h in others)
            return guessed, (
                f"The lens was calibrated at {sizes}; {size_wh[0]} by {size_wh[1]} is another "
                f"shape, so {told}. Calibrate at this size."
            )
        if tags.field_of_view_deg is None:
            return guessed, (
                f"The camera's lens is not calibrated: {told}. trainer calibrate makes it sure."
            )
        return guessed, ""

    return lens_of
