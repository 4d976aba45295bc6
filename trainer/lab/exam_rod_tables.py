"""The accuracy report's tables of rod checks, repeats and the unseen style, as Markdown."""

from __future__ import annotations

import math

from trainer.lab.exam_marks import NAMES, digits_of, number, share, sized, table
from trainer.lab.exam_results import KINDS, TURN, Pool, Unseen
from trainer.lab.exam_rod_scores import SHARES, RodResults
from trainer.lab.exam_scores import inside_share, stats


def shares_table(rod: RodResults) -> str:
    """Return the mean error at the top by how much of the check's error is taken off."""
    rows = [
        [f"{part:.1f}", sized(ratio, "°", 2), sized(difference, "°", 2)]
        for part, ratio, difference in zip(SHARES, rod.by_ratio, rod.by_difference, strict=True)
    ]
    return table(("share taken off", "as the program corrects", "difference taken off"), rows)


def style_table(both: Unseen) -> str:
    """Return the mean errors of the same movements in the usual and the unseen style."""
    rows = []
    for kind in KINDS:
        usual, unseen = both.usual[kind], both.unseen[kind]
        rows.append(_turned(f"shoulder turn 15–117°, {kind}", usual, unseen))
        rows.append(_turned("the same, no picture", usual, unseen, picture=False))
        for column, (name, unit) in enumerate(NAMES):
            digits = digits_of(unit)
            cells = [f"{name}, {kind}"]
            for part in (usual, unseen):
                got = stats(part.error[:, column])
                inside = inside_share(part.error[:, column], part.se[:, column])
                cells += [sized(got.mae, unit, digits), number(got.bias, digits, sign=True)]
                cells.append(share(inside))
            rows.append(cells)
    head = ("", "usual style", "bias", "inside its ±", "unseen style", "bias", "inside its ±")
    return table(head, rows)


def _turned(name: str, usual: Pool, unseen: Pool, *, picture: bool = True) -> list[str]:
    cells = [name]
    for part in (usual, unseen):
        said = part.said if picture else part.no_picture
        error = (said - part.true)[part.turned, TURN]
        got = stats(error)
        inside = inside_share(error, part.se[part.turned, TURN]) if picture else math.nan
        cells += [sized(got.mae, "°"), number(got.bias, sign=True), share(inside)]
    return cells
