"""Builds a page as a tree, so that no name or note can break out of its place."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

#: Characters that no HTML document may hold (HTML standard, "control characters" and
#: "noncharacters", and halves of a surrogate pair).
_FORBIDDEN: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)

#: Tables of so many rows at most are not broken between two sheets of paper.
SHORT_ROWS: Final = 12
#: More columns than so many are not squeezed into a telephone's width.
MANY_COLUMNS: Final = 3


def el(tag: str, *content: ET.Element | str | None, **attributes: str) -> ET.Element:
    """Return an element; ``None`` among its content is left out.

    An attribute's name is given with _ for -, and with one behind it where it is a word of
    Python (``class_``).
    """
    found = ET.Element(
        tag, {k.rstrip("_").replace("_", "-"): clean(v) for k, v in attributes.items()}
    )
    return add(found, *content)


def add(parent: ET.Element, *content: ET.Element | str | None) -> ET.Element:
    """Append to ``parent`` and return it."""
    for part in content:
        if part is None:
            continue
        if isinstance(part, ET.Element):
            parent.append(part)
        elif len(parent):
            parent[-1].tail = (parent[-1].tail or "") + clean(part)
        else:
            parent.text = (parent.text or "") + clean(part)
    return parent


def clean(text: str) -> str:
    """Return the text without what no page may hold; ends of lines become one kind."""
    return _FORBIDDEN.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def table(
    caption: str, head: tuple[str, ...], rows: list[tuple[ET.Element | str, ...]], **attributes: str
) -> ET.Element:
    """Return a table whose first column names its rows."""
    columns = el("tr", *(el("th", words, scope="col") for words in head))
    body = el("tbody")
    for first, *rest in rows:
        add(body, el("tr", el("th", first, scope="row"), *(el("td", cell) for cell in rest)))
    made = el("table", el("caption", caption), el("thead", columns), body, **attributes)
    # A wide table is moved under the finger, in place of the page.
    # A short one stays on one sheet of paper.
    of = ["wide", *(["short"] if len(rows) <= SHORT_ROWS else [])]
    of += ["many"] if len(head) > MANY_COLUMNS else []
    return el("section", made, class_=" ".join(of), tabindex="0", aria_label=caption)


def figure(chart: ET.Element | None, *words: ET.Element | str) -> ET.Element:
    """Return a chart over its words; the words alone where there is none."""
    if chart is None:
        return el("p", *words)
    return el("figure", el("div", chart, class_="chart"), el("figcaption", *words))


def bullets(lines: Sequence[str]) -> ET.Element:
    """Return lines as a list."""
    return el("ul", *(el("li", line) for line in lines))


def section(title: str, *content: ET.Element | str | None) -> ET.Element:
    """Return a part of the page under its heading."""
    return el("section", el("h2", title), *content)


def text_of(page: ET.Element) -> str:
    """Return the page as the text of an HTML document."""
    return "<!DOCTYPE html>\n" + ET.tostring(page, encoding="unicode", method="html") + "\n"
