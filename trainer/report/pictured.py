"""Pictures of reps that were filmed, in the page itself."""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ET
from collections.abc import Sequence

from trainer.report import drawn
from trainer.report.chosen import Closer
from trainer.report.html import el
from trainer.report.measured import CHEST, HEAD, HIPS, TURN, shown


def filmed(closer: Sequence[Closer]) -> bool:
    """Tell whether any of them has a picture."""
    return any(one.top_jpeg is not None for one in closer)


def pictured(closer: Sequence[Closer], names: Sequence[str]) -> ET.Element | None:
    """Return the picture at the top of each that was filmed, with its words; none twice."""
    made: list[ET.Element] = []
    seen: set[bytes] = set()
    for one, name in zip(closer, names, strict=True):
        if one.top_jpeg is None or one.top_jpeg in seen:
            continue
        seen.add(one.top_jpeg)
        read = drawn.rep_words(one, shown((TURN, CHEST, HEAD, HIPS), [one.kept]))
        told = f"{name} at the top, as the camera saw it"
        image = el(
            "img",
            src=f"data:image/jpeg;base64,{base64.b64encode(one.top_jpeg).decode('ascii')}",
            alt=f"Picture of the player. {told}: {read}.",
        )
        made.append(el("figure", image, el("figcaption", f"{told}."), class_="picture"))
    return el("div", *made, class_="half") if made else None
