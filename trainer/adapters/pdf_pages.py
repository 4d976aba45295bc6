"""Pages of a PDF drawn in millimetres, by matplotlib; vectors only, true to size when printed.

matplotlib is loaded when a page is first drawn, for the commands that print and for nothing live.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Final

from trainer.errors import SheetError

MM_PER_INCH: Final = 25.4
#: Words in points, as printers count: 72 an inch.
_WORDS_PT: Final = 10.0


class Page:
    """One page to draw on. All lengths in millimetres from its upper left corner."""

    def __init__(self, size_mm: tuple[float, float]) -> None:
        from matplotlib.figure import Figure

        width, height = size_mm
        self.figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
        self._axes: Any = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_xlim(0.0, width)
        self._axes.set_ylim(height, 0.0)
        self._axes.axis("off")

    def blacks(
        self, boxes: Iterable[tuple[float, float, float, float]], at: Sequence[float]
    ) -> None:
        """Fill rectangles (left, top, width, height) moved by ``at``, as one path.

        One path, because neighbours filled one by one show hair lines between them.
        """
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as Outline

        points: list[tuple[float, float]] = []
        codes: list[int] = []
        for left, top, width, height in boxes:
            x, y = left + at[0], top + at[1]
            points += [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
            codes += [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY]
        self._axes.add_patch(PathPatch(Outline(points, codes), facecolor="black", linewidth=0))

    def box(self, left: float, top: float, width: float, height: float, *, grey: float) -> None:
        """Fill one rectangle; ``grey`` is 0 for black and 1 for white."""
        from matplotlib.patches import Rectangle

        shade = str(grey)
        self._axes.add_patch(Rectangle((left, top), width, height, facecolor=shade, linewidth=0))

    def line(
        self, points: Sequence[tuple[float, float]], *, width_mm: float = 0.2, grey: float = 0.0
    ) -> None:
        """Draw a line through ``points``."""
        across, down = zip(*points, strict=True)
        self._axes.plot(
            across,
            down,
            color=str(grey),
            linewidth=width_mm * 72.0 / MM_PER_INCH,
            solid_capstyle="round",
            solid_joinstyle="round",
        )

    def shape(
        self, points: Sequence[tuple[float, float]], *, fill: float, edge: float = 0.3
    ) -> None:
        """Fill a closed shape in a grey and draw its edge."""
        from matplotlib.patches import Polygon

        self._axes.add_patch(
            Polygon(points, closed=True, facecolor=str(fill), edgecolor=str(edge), linewidth=1.0)
        )

    def oval(self, x: float, y: float, width: float, height: float, *, fill: float) -> None:
        """Draw an oval round (x, y)."""
        from matplotlib.patches import Ellipse

        self._axes.add_patch(
            Ellipse((x, y), width, height, facecolor=str(fill), edgecolor="0.3", linewidth=1.0)
        )

    def words(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size_pt: float = _WORDS_PT,
        align: str = "left",
        bold: bool = False,
    ) -> None:
        """Write one line, (x, y) in the middle of its height; ``align`` says what of it is at x."""
        weight = "bold" if bold else "normal"
        self._axes.text(
            x, y, text, fontsize=size_pt, ha=align, va="center_baseline", fontweight=weight
        )


def write_pdf(path: Path, draw: Callable[[Callable[[tuple[float, float]], Page]], None]) -> None:
    """Write what ``draw`` draws on the pages it asks for, in their order.

    The same drawing gives the same bytes: no date is written. The file is written whole or not
    at all. Raises SheetError when it cannot be.
    """
    half = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _draw_into(half, draw)
        os.replace(half, path)
    except OSError as error:
        raise SheetError(
            f"{path} could not be written ({error.strerror or error}). A place that can be "
            "written was wanted. Close the file where it is open, or give another --out or --sheet."
        ) from None
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)


def _draw_into(path: Path, draw: Callable[[Callable[[tuple[float, float]], Page]], None]) -> None:
    import matplotlib as mpl
    from matplotlib.backends.backend_pdf import PdfPages

    # The user's own matplotlib settings must not change a size.
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams["pdf.fonttype"] = 42  # outlines a printer knows
        pages: list[Page] = []

        def new_page(size_mm: tuple[float, float]) -> Page:
            pages.append(Page(size_mm))
            return pages[-1]

        draw(new_page)
        with PdfPages(path, metadata={"CreationDate": None, "Title": "Sheets to print"}) as book:
            for page in pages:
                book.savefig(page.figure)
