"""Draws the sheets to print: the tags to wear with a page on how, and the calibration board."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.core.print_sheets import (
    BOARD,
    RULER_MM,
    STRIP_MM,
    Box,
    TagPlace,
    board_place,
    page_ruler,
    tag_place,
    true_size_mm,
)
from trainer.core.tag_roles import ROLES, Role
from trainer.errors import SheetError
from trainer.tag_size import keep_tag_size, load_tag_size

if TYPE_CHECKING:
    from trainer.adapters.pdf_pages import Page

DEFAULT_CM: Final = 12.0
#: How far crop marks stand off the corner of the card, and how long they are at most.
_MARK_OFF_MM: Final = 1.0
_MARK_MM: Final = 6.0
_BLOCKS: Final = 10

#: Where each tag is worn, in the words of the page that explains it.
WHERE: Final = {
    "chest": "on the breastbone, in the middle",
    "lead side": "on the lowest ribs, forward of the shirt's seam",
    "lead side, back": "behind it, below the shoulder blade",
    "trail side": "on the ribs under the trail arm",
    "belt": "on the buckle, in the middle",
    "belt, lead side": "on the belt over the lead hip",
    "cap": "on the front of the cap",
}

WEARING: Final = (
    "Lead is the side nearer the target: the left of a right-hander, the right of a left-hander.",
    "Print on stiff card, or glue the sheets on it. A tag must lie flat: a bent or folded one",
    "is read wrongly or not at all. Matt paper is better than glossy. Cut along the corner",
    "marks and leave the white round the black; it is needed.",
    "Wear each card with its arrow up, over close-fitting clothes, fixed at all four corners",
    "with safety pins, clothes tape or an elastic band round the chest, so that it cannot swing.",
    "The lead side's looks half forward, and sits so low that no sleeve hangs over it. A tag that",
    "is not worn is left out; chest and lead side matter most. Where one is too large to lie flat,",
    "leave it out. All tags must be of one printed size.",
)
CAUTION: Final = (
    "Fix the cards so that none can poke you, come loose or catch an arm or the club. If one",
    "hampers the swing or hurts, stop and take it off.",
)

RULER_WORDS: Final = (
    f"This bar must measure {RULER_MM:g} mm from end to end.",
    "If not, print at 100 % (actual size), no fit to page.",
)


def make_tags(
    out: Path | None,
    *,
    size_cm: float | None,
    paper: str,
    ruler_mm: float | None,
    today: datetime.date,
    say: Callable[[str], None],
) -> None:
    """Write the sheets, or note what the printed ruler measures, or both; keep the tags' size.

    ``size_cm`` None: 12 for new sheets; the size made last for the ruler alone. Raises
    SheetError as the parts do, and when neither ``out`` nor ``ruler_mm`` is given.
    """
    if out is None and ruler_mm is None:
        raise SheetError(
            "nothing was asked for. A file for the sheets, or the length of the printed bar, was "
            "wanted. Give --out tags.pdf, or --printed-ruler-mm with what you measured."
        )
    if size_cm is None:
        known, trouble = load_tag_size()
        if trouble:
            say(trouble)
        size_cm = DEFAULT_CM if known is None or out is not None else known.asked_mm / 10.0
    _place(size_cm, paper)
    ruler_mm, measured = (RULER_MM, False) if ruler_mm is None else (ruler_mm, True)
    try:
        true_size_mm(10.0 * size_cm, ruler_mm)  # refused before anything is written
    except ValueError as error:
        raise SheetError(str(error)) from None
    if out is not None:
        write_tag_sheets(out, size_cm=size_cm, paper=paper)
        say(f"Written: {out}. Print it at 100 % (actual size), no fit to page, on stiff card.")
    size = keep_tag_size(asked_mm=10.0 * size_cm, ruler_mm=ruler_mm, today=today)
    say(f"Tags are taken to be {size.size_mm / 10.0:g} cm from now on.")
    if not measured:
        say(
            "Measure the printed bar: if it is not 100 mm, print again, or tell the program, as in "
            "trainer tags --printed-ruler-mm 96"
        )


def write_tag_sheets(path: Path, *, size_cm: float, paper: str = "a4") -> None:
    """Write a PDF of one tag a page, one for each of ``ROLES``, and a last page on wearing them.

    ``size_cm`` is the side of the black square. Raises SheetError for a size or paper that
    cannot be, or when the file cannot be written.
    """
    from trainer.adapters.pdf_pages import write_pdf

    place = _place(size_cm, paper)

    def draw(new_page: Callable[[tuple[float, float]], Page]) -> None:
        for count, role in enumerate(ROLES, start=1):
            _tag_page(new_page(place.page_mm), role, place, count)
        _wearing_page(new_page(place.page_mm), paper)

    write_pdf(path, draw)


def write_board_sheet(path: Path, *, paper: str = "a4") -> None:
    """Write a PDF of the calibration board, one page.

    Raises SheetError for a paper that is not there, or when the file cannot be written.
    """
    from trainer.adapters.pdf_pages import write_pdf
    from trainer.adapters.tag_modules import board_blacks

    try:
        place = board_place(paper)
    except ValueError as error:
        raise SheetError(str(error)) from None

    def draw(new_page: Callable[[tuple[float, float]], Page]) -> None:
        page = new_page(place.page_mm)
        middle = place.page_mm[0] / 2.0
        page.words(middle, 8.0, "Calibration sheet", size_pt=12, align="center", bold=True)
        page.words(
            middle,
            14.0,
            f"{BOARD.columns} by {BOARD.rows} squares of {BOARD.square_mm:g} mm. "
            "Glue it on something flat and stiff, and hold it still for each view.",
            size_pt=8,
            align="center",
        )
        page.blacks(board_blacks(), (place.board.left, place.board.top))
        _ruler(page, place.ruler)

    write_pdf(path, draw)


def _place(size_cm: float, paper: str) -> TagPlace:
    try:
        return tag_place(10.0 * size_cm, paper)
    except ValueError as error:
        raise SheetError(str(error)) from None


def _tag_page(page: Page, role: Role, place: TagPlace, count: int) -> None:
    from trainer.adapters.tag_modules import tag_blacks

    size_mm = place.tag.width
    middle = place.page_mm[0] / 2.0
    page.words(
        middle,
        7.0,
        f"Tag {count} of {len(ROLES)}: {role.name}, {WHERE[role.name]}",
        size_pt=10,
        align="center",
    )
    page.blacks(tag_blacks(role.number, size_mm), (place.tag.left, place.tag.top))
    _crop_marks(page, place.card)
    up_y = place.card.top + STRIP_MM / 2.0
    page.words(middle + 2.0, up_y, "UP", size_pt=14, bold=True)
    page.shape(
        [(middle - 5.0, up_y + 3.0), (middle - 2.0, up_y - 3.0), (middle + 1.0, up_y + 3.0)],
        fill=0.0,
        edge=0.0,
    )
    page.words(
        middle,
        place.card.bottom - STRIP_MM / 2.0,
        f"{role.name} · number {role.number} · {size_mm / 10.0:g} cm",
        size_pt=11,
        align="center",
    )
    _ruler(page, place.ruler)


def _crop_marks(page: Page, card: Box) -> None:
    """Draw two short lines off each corner of the card, outside it and inside the page."""
    across = min(_MARK_MM, card.left - _MARK_OFF_MM - 0.5)
    for x, outward in ((card.left, -1.0), (card.right, 1.0)):
        for y, down in ((card.top, -1.0), (card.bottom, 1.0)):
            start, end = _MARK_OFF_MM, _MARK_OFF_MM + across
            page.line([(x + outward * start, y), (x + outward * end, y)])
            low = _MARK_OFF_MM + _MARK_MM
            page.line([(x, y + down * _MARK_OFF_MM), (x, y + down * low)])


def _ruler(page: Page, ruler: Box) -> None:
    block = ruler.width / _BLOCKS
    for number in range(_BLOCKS):
        grey = 0.0 if number % 2 == 0 else 0.75
        page.box(ruler.left + number * block, ruler.top, block, ruler.height, grey=grey)
    side_y = ruler.top + ruler.height / 2.0
    page.words(ruler.left - 2.0, side_y, "0", size_pt=8, align="right")
    page.words(ruler.right + 2.0, side_y, f"{RULER_MM:g} mm", size_pt=8)
    for line, text in enumerate(RULER_WORDS):
        page.words(
            ruler.left + ruler.width / 2.0,
            ruler.bottom + 4.0 + 4.0 * line,
            text,
            size_pt=8,
            align="center",
        )


def _wearing_page(page: Page, paper: str) -> None:
    ruler = page_ruler(paper)
    middle = ruler.left + ruler.width / 2.0
    page.words(middle, 12.0, "How to wear the tags", size_pt=16, align="center", bold=True)
    _from_the_front(page, middle - 55.0, 24.0)
    _from_above(page, middle + 52.0, 24.0)
    y = 137.0
    for role in ROLES:
        page.words(middle - 88.0, y, str(role.number), size_pt=9, align="left", bold=True)
        page.words(middle - 80.0, y, role.name, size_pt=9, bold=True)
        page.words(middle - 45.0, y, WHERE[role.name], size_pt=9)
        y += 5.0
    y += 2.0
    for text in WEARING:
        page.words(middle - 88.0, y, text, size_pt=9)
        y += 5.0
    y += 2.0
    for text in CAUTION:
        page.words(middle - 88.0, y, text, size_pt=9, bold=True)
        y += 5.0
    y += 2.0
    page.words(
        middle - 88.0,
        y,
        "Bar not 100 mm and no other printer? Tell the program what it measures, for example:",
        size_pt=9,
    )
    page.words(middle - 88.0, y + 5.0, "trainer tags --printed-ruler-mm 96", size_pt=9, bold=True)
    _ruler(page, ruler)


def _from_the_front(page: Page, x: float, y: float) -> None:
    """Draw a right-hander at address as the camera sees them, feet left out; (x, y) top middle."""
    page.words(x, y, "From the front (right-hander)", size_pt=9, align="center")
    y += 6.0
    page.shape(
        [(x - 13, y + 90), (x - 15, y + 62), (x + 15, y + 62), (x + 13, y + 90), (x + 3, y + 90),
         (x, y + 70), (x - 3, y + 90)],
        fill=0.8,
    )  # fmt: skip
    page.shape(
        [(x - 19, y + 26), (x - 7, y + 22), (x + 7, y + 22), (x + 19, y + 26), (x + 16, y + 62),
         (x - 16, y + 62)],
        fill=0.9,
    )  # fmt: skip
    page.shape([(x - 16, y + 60), (x + 16, y + 60), (x + 16, y + 65), (x - 16, y + 65)], fill=0.6)
    page.oval(x, y + 13, 15, 18, fill=0.9)
    page.shape([(x - 8, y + 9), (x - 7, y + 3), (x, y), (x + 7, y + 3), (x + 8, y + 9)], fill=0.7)
    for side in (-1.0, 1.0):
        page.line(
            [(x + side * 18, y + 28), (x + side * 24, y + 46), (x + side * 2, y + 70)],
            width_mm=3.0,
            grey=0.55,
        )
    for left, top, name, to_y in (
        (x - 3, y + 2, "cap", y + 5),
        (x - 4, y + 32, "chest", y + 36),
    ):
        page.blacks([(0.0, 0.0, 7.0, 7.0)], (left, top))
        page.line([(left + 7.5, to_y), (x + 30, to_y)], width_mm=0.15)
        page.words(x + 31, to_y, name, size_pt=9)
    for left, top, name, to_y in (
        (x + 11.5, y + 49, "lead side", y + 52),
        (x + 13, y + 59.0, "belt, lead side", y + 68),
    ):
        page.blacks([(0.0, 0.0, 2.5, 7.0)], (left, top))
        page.line([(left + 3.0, min(to_y, top + 5.0)), (x + 30, to_y)], width_mm=0.15)
        page.words(x + 31, to_y, name, size_pt=9)
    page.blacks([(0.0, 0.0, 2.5, 7.0)], (x - 17, y + 42))
    page.line([(x - 17.5, y + 46), (x - 26, y + 50)], width_mm=0.15)
    page.words(x - 27, y + 53, "trail side", size_pt=9, align="center")
    page.blacks([(0.0, 0.0, 7.0, 7.0)], (x - 3.5, y + 59))
    page.line([(x - 4.0, y + 62.5), (x - 22, y + 70)], width_mm=0.15)
    page.words(x - 23, y + 72, "belt", size_pt=9, align="right")
    page.words(x + 24, y + 84, "target  >", size_pt=9)


def _from_above(page: Page, x: float, y: float) -> None:
    """Draw the chest from above, the camera below it; (x, y) is the top middle."""
    page.words(x, y, "The chest from above (right-hander)", size_pt=9, align="center")
    y += 42.0
    page.oval(x, y, 50, 34, fill=0.9)
    page.oval(x, y + 3, 16, 18, fill=0.7)
    page.words(x, y + 25, "chest", size_pt=9, align="center")
    page.line([(x - 7, y + 19), (x + 7, y + 19)], width_mm=1.6)
    page.line([(x + 18, y + 15), (x + 27, y + 5)], width_mm=1.6)
    page.words(x + 26, y + 12, "lead", size_pt=9)
    page.words(x + 26, y + 16, "side", size_pt=9)
    page.line([(x + 13, y - 18), (x + 24, y - 10)], width_mm=1.6)
    page.words(x + 17, y - 23, "lead side, back", size_pt=9, align="center")
    page.line([(x - 27, y - 5), (x - 27, y + 8)], width_mm=1.6)
    page.words(x - 29, y + 3, "trail", size_pt=9, align="right")
    page.words(x - 29, y + 7, "side", size_pt=9, align="right")
    page.shape([(x - 5, y + 44), (x + 5, y + 44), (x + 5, y + 38), (x - 5, y + 38)], fill=0.3)
    page.words(x, y + 48, "camera", size_pt=9, align="center")
