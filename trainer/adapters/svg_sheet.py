"""The sheet the report's charts are drawn on, by matplotlib, and its way into a page as SVG.

matplotlib is loaded when a chart is first drawn, for the page alone and for nothing live.
"""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

INK: Final = "#1a1a1a"
BLUE: Final = "#0b4f7d"
ORANGE: Final = "#c65300"
GREY: Final = "#707070"
BAND: Final = "#dfe6ea"
_SVG: Final = "{http://www.w3.org/2000/svg}"
_HREF: Final = "{http://www.w3.org/1999/xlink}href"
_REFERS: Final = re.compile(r"#([A-Za-z_][\w.-]*)")


@contextmanager
def sheet(size_in: tuple[float, float], *, bare: bool = False) -> Iterator[tuple[Any, Any]]:
    """Give a figure and a function that makes its axes, free of the user's own settings.

    ``bare``: without room for an axis below.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(
            {
                "svg.fonttype": "none",  # words stay words: they can be read out and searched
                "svg.hashsalt": "report",
                "font.family": ["sans-serif"],
                "font.sans-serif": ["DejaVu Sans", "sans-serif"],
                "font.size": 9.5,
                "axes.spines.top": False,
                "axes.spines.right": False,
                "axes.unicode_minus": True,
            }
        )
        figure = Figure(figsize=size_in)

        def plots(rows: int, columns: int = 1) -> list[Any]:
            width, height = size_in
            figure.subplots_adjust(
                left=0.62 / width, right=1.0 - 0.18 / width,
                bottom=(0.05 if bare else 0.48) / height, top=1.0 - 0.32 / height,
                hspace=0.12, wspace=0.05,
            )  # fmt: skip
            found = figure.subplots(rows, columns, squeeze=False, sharex=columns == 1)
            return [axes for row in found for axes in row]

        yield figure, plots


def svg_of(figure: Any, *, name: str, title: str, desc: str) -> ET.Element:  # noqa: ANN401
    """Return the figure as an element to be put in a page.

    ``name`` goes before every id that is referred to, because ids count for the whole page; the
    others are left out.
    """
    file = io.StringIO()
    figure.savefig(
        file, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type"))
    )
    root = ET.fromstring(file.getvalue())
    _strip(root, name)
    for place, (tag, words) in enumerate((("title", title), ("desc", desc))):
        told = ET.Element(tag, {"id": f"{name}-{tag}"})
        told.text = words
        root.insert(place, told)
    view = root.get("viewBox", "")
    root.attrib.clear()
    root.attrib.update(
        {
            "viewBox": view,
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
        }
    )
    return root


def _strip(root: ET.Element, name: str) -> None:
    """Take out what a page does not need, and make ids the chart's own."""
    wanted = set(_REFERS.findall(" ".join(v for e in root.iter() for v in e.attrib.values())))
    for parent in root.iter():
        for child in list(parent):
            kept = child.tag.removeprefix(_SVG)
            if kept in ("metadata", "style") or (kept == "defs" and _only_style(child)):
                parent.remove(child)
    for item in root.iter():
        item.tag = item.tag.removeprefix(_SVG)
        item.text = (item.text or "").strip() or None
        item.tail = None
        target = item.attrib.pop(_HREF, None)
        if target is not None:
            item.set("href", target)
        for key, value in list(item.attrib.items()):
            if key == "id":
                if value in wanted:
                    item.set(key, f"{name}-{value}")
                else:
                    del item.attrib[key]
            elif "#" in value and ("url(" in value or key == "href"):
                item.set(key, _REFERS.sub(rf"#{name}-\1", value))
        uses = [child for child in item if child.tag.removeprefix(_SVG) == "use"]
        styles = {child.get("style") for child in uses}
        if (
            len(uses) > 1
            and len(uses) == len(item)
            and len(styles) == 1
            and "style" not in item.attrib
        ):
            style = styles.pop()
            if style:
                item.set("style", style)
                for child in uses:
                    del child.attrib["style"]


def _only_style(defs: ET.Element) -> bool:
    return all(child.tag.removeprefix(_SVG) == "style" for child in defs)
