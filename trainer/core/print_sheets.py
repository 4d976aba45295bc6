"""Sizes and places on the printed sheets, in millimetres from the page's upper left corner.

Pages: A4 is 210 by 297 mm (ISO 216); Letter is 8.5 by 11 inches, 215.9 by 279.4 mm (ANSI/ASME
Y14.1, size A). A tag's size is the side of its black square, which is what a reader of tags takes
for its size. A tag of the family 36h11 is 8 modules across: 6 of code in a black border of one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

PAPERS_MM: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

MODULES: Final = 8  #: across a tag, its black border counted
QUIET_MODULES: Final = 1.0  #: white all round; a reader needs one to see where the black ends
SIZE_LIMITS_CM: Final = (8.0, 16.0)
STRIP_MM: Final = 9.0  #: above and below the white, for the words on the card
RULER_MM: Final = 100.0
#: A printed ruler further off than this is a slip of the unit, not a printer's scale.
RULER_LIMITS_MM: Final = (80.0, 120.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle, in millimetres from the page's upper left corner."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.top + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class TagPlace:
    """Where a tag stands on its page."""

    page_mm: tuple[float, float]  #: width, height
    tag: Box  #: the black square
    white: Box  #: with the quiet zone
    card: Box  #: to be cut out: with the strips for words
    ruler: Box  #: exactly ``RULER_MM`` wide


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPlace:
    """Where the calibration board stands on its page."""

    page_mm: tuple[float, float]
    board: Box
    ruler: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The calibration board: a chessboard with a marker in each white square (ChArUco).

    An odd number of rows, so that older and newer OpenCV draw and read the same board. Its
    markers are of another family than the tags, so that neither is taken for the other.
    """

    columns: int = 7
    rows: int = 9
    square_mm: float = 25.0
    marker_mm: float = 18.0
    markers: str = "DICT_4X4_50"  #: OpenCV's name of the family

    @property
    def corners(self) -> int:
        """How many inner corners there are."""
        return (self.columns - 1) * (self.rows - 1)


BOARD: Final = Board()


def tag_place(size_mm: float, paper: str) -> TagPlace:
    """Return where a tag of this size stands on a page of ``PAPERS_MM``.

    Raises ValueError for a paper that is not there, or a size outside ``SIZE_LIMITS_CM``.
    """
    width, height = _page(paper)
    low, high = (10.0 * limit for limit in SIZE_LIMITS_CM)
    if not low <= size_mm <= high:
        raise ValueError(
            f"a tag of {size_mm / 10.0:g} cm cannot be made. {low / 10.0:g} to {high / 10.0:g} cm "
            "was wanted: smaller ones cannot be read from where the camera stands, larger ones "
            "do not fit on the page. Try 12."
        )
    quiet = QUIET_MODULES * size_mm / MODULES
    white = Box(
        left=width / 2.0 - size_mm / 2.0 - quiet,
        top=14.0 + STRIP_MM,
        width=size_mm + 2.0 * quiet,
        height=size_mm + 2.0 * quiet,
    )
    return TagPlace(
        page_mm=(width, height),
        tag=Box(left=white.left + quiet, top=white.top + quiet, width=size_mm, height=size_mm),
        white=white,
        card=Box(
            left=white.left,
            top=white.top - STRIP_MM,
            width=white.width,
            height=white.height + 2.0 * STRIP_MM,
        ),
        ruler=_ruler(width, height),
    )


def board_place(paper: str) -> BoardPlace:
    """Return where the board stands on a page. Raises ValueError for a paper not there."""
    width, height = _page(paper)
    across, down = BOARD.columns * BOARD.square_mm, BOARD.rows * BOARD.square_mm
    return BoardPlace(
        page_mm=(width, height),
        board=Box(left=(width - across) / 2.0, top=19.0, width=across, height=down),
        ruler=_ruler(width, height),
    )


def page_ruler(paper: str) -> Box:
    """Return where the ruler stands on every page. Raises ValueError for a paper not there."""
    return _ruler(*_page(paper))


def true_size_mm(nominal_mm: float, ruler_mm: float) -> float:
    """Return a tag's true size where the 100 mm ruler beside it measures ``ruler_mm``.

    Raises ValueError outside ``RULER_LIMITS_MM``.
    """
    low, high = RULER_LIMITS_MM
    if not low <= ruler_mm <= high:
        raise ValueError(
            f"a ruler of {ruler_mm:g} mm cannot be believed. {low:g} to {high:g} mm was wanted. "
            "Measure the printed ruler from end to end, in millimetres."
        )
    return nominal_mm * ruler_mm / RULER_MM


def _page(paper: str) -> tuple[float, float]:
    try:
        return PAPERS_MM[paper]
    except KeyError:
        raise ValueError(
            f"there is no paper {paper!r}. One of {', '.join(PAPERS_MM)} was wanted. Give one."
        ) from None


def _ruler(width: float, height: float) -> Box:
    return Box(left=(width - RULER_MM) / 2.0, top=height - 25.0, width=RULER_MM, height=4.0)
