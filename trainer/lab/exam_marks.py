"""How the accuracy report writes tables and numbers in Markdown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

#: What is measured, in the order of ``exam_read.FIELDS``, and its unit.
NAMES: Final = (
    ("shoulder turn", "°"),
    ("hip turn", "°"),
    ("chest pitch", "°"),
    ("head sideways", " cm"),
    ("head up and down", " cm"),
    ("hip drift", " cm"),
    ("separation", "°"),
    ("side tilt", "°"),
    ("back to the ball line", " cm"),
)


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table; the first column is left-aligned, the others right."""
    lines = ["| " + " | ".join(head) + " |", "|---|" + "---:|" * (len(head) - 1)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines)


def number(value: float, digits: int = 1, *, sign: bool = False) -> str:
    """Return a value for a table: a dash for none, a real minus, no minus zero."""
    if math.isnan(value):
        return "–"
    rounded = round(value, digits) + 0.0
    text = f"{rounded:+.{digits}f}" if sign and rounded else f"{rounded:.{digits}f}"
    return text.replace("-", "−")


def sized(value: float, unit: str, digits: int = 1) -> str:
    """Return a value with its unit, a mere dash for none."""
    return "–" if math.isnan(value) else f"{number(value, digits)}{unit}"


def share(value: float) -> str:
    """Return a share 0..1 as a whole percentage."""
    return "–" if math.isnan(value) else f"{100 * value:.0f} %"


def of_all(right: int, count: int) -> str:
    """Return a percentage with what it was counted from."""
    return "–" if not count else f"{100 * right / count:.1f} % of {count}"


def digits_of(unit: str) -> int:
    """Return how many digits a value of that unit is given with."""
    return 2 if unit == " cm" else 1
