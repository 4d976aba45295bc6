"""Which views of the calibration sheet are worth keeping, and what is still missing.

A lens is told apart from the sheet's distance only by tilted views, and its distortion is told
only where the sheet was seen. So the views have to cover the picture and lean both ways.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Cells of the picture, across and down, in which corners of the sheet have to be seen.
CELLS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewRules:
    """What is asked of the views. All chosen by trying rendered views of a known lens."""

    least_views: int = 12
    most_views: int = 30
    least_corners: int = 16  #: of the sheet in one view, or it is left out
    least_cells: int = 8  #: of the 9
    tilt_deg: float = 15.0  #: a view leaning by this counts as tilted
    least_tilted: int = 2  #: of each of the four ways
    most_edge_px: float = 5.0  #: wider edges than this are blurred
    moved: float = 0.10  #: a new view's middle has moved by this share of the picture's width ...
    turned_deg: float = 10.0  #: ... or it leans otherwise by this ...
    grown: float = 0.25  #: ... or is larger or smaller by this share
    most_error_px: float = 1.0
    most_focal_se: float = 0.005  #: standard error of the focal length, as a share of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """How the sheet stood in one view."""

    middle: tuple[float, float]  #: of its corners, in shares of the picture's width and height
    width: float  #: spread of its corners across, as a share of the picture's width
    lean_side_deg: float  #: + when its right edge, as the picture has it, is further away
    lean_down_deg: float  #: + when its lower edge is further away


class Missing(str, Enum):
    """What is still to be shown, as words for the person who holds the sheet before the camera.

    Right and left are theirs: they face the camera.
    """

    RIGHT_FAR = "turn the sheet about its upright middle, your left edge further from the camera"
    LEFT_FAR = "turn the sheet about its upright middle, your right edge further from the camera"
    TOP_FAR = "lean the sheet's top edge away from the camera"
    BOTTOM_FAR = "lean the sheet's top edge toward the camera"
    VIEWS = "show more views: nearer, further, turned, in other places"


def is_new(place: Place, kept: Sequence[Place], rules: ViewRules) -> bool:
    """Tell whether a view shows something the kept ones do not."""
    return all(_differs(place, other, rules) for other in kept)


def _differs(one: Place, other: Place, rules: ViewRules) -> bool:
    moved = max(abs(a - b) for a, b in zip(one.middle, other.middle, strict=True))
    turned = max(
        abs(one.lean_side_deg - other.lean_side_deg), abs(one.lean_down_deg - other.lean_down_deg)
    )
    grown = max(one.width, other.width) / min(one.width, other.width) - 1.0
    return moved >= rules.moved or turned >= rules.turned_deg or grown >= rules.grown


def cells_seen(corners_px: Sequence[NDArray[np.float32]], size_wh: tuple[int, int]) -> set[int]:
    """Return the cells with corners in them, 0 to 8 by row from the upper left."""
    seen: set[int] = set()
    for corners in corners_px:
        share = np.clip(corners / np.array(size_wh), 0.0, 0.999)
        cells = (share * CELLS).astype(int)
        seen |= {int(row) * CELLS + int(column) for column, row in cells}
    return seen


def missing(places: Sequence[Place], cells: set[int], rules: ViewRules) -> tuple[str, ...]:
    """Return what to do next, the most wanted first; empty when the views are enough.

    A corner of the picture may stay empty where ``rules.least_cells`` are seen.
    """
    wanted: list[str] = []
    if len(cells) < rules.least_cells:
        wanted += [
            f"bring the sheet {_where(cell)}" for cell in range(CELLS * CELLS) if cell not in cells
        ]
    leans = {
        Missing.RIGHT_FAR: [p.lean_side_deg for p in places],
        Missing.LEFT_FAR: [-p.lean_side_deg for p in places],
        Missing.BOTTOM_FAR: [p.lean_down_deg for p in places],
        Missing.TOP_FAR: [-p.lean_down_deg for p in places],
    }
    for what, degrees in leans.items():
        if sum(value >= rules.tilt_deg for value in degrees) < rules.least_tilted:
            wanted.append(what.value)
    if len(places) < rules.least_views:
        wanted.append(Missing.VIEWS.value)
    return tuple(wanted)


def _where(cell: int) -> str:
    # The picture is not mirrored: its left is the right of who faces the camera.
    down = ("up", "", "down")[cell // CELLS]
    across = ("to your right", "", "to your left")[cell % CELLS]
    words = " and ".join(word for word in (down, across) if word)
    return (words or "to the middle") + ", as far as the camera sees"
