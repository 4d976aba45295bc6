"""Which views of the calibration sheet are kept, and what is asked for next."""

import numpy as np
import pytest

from trainer.core.view_choice import Missing, Place, ViewRules, cells_seen, is_new, missing

RULES = ViewRules()
SQUARE_ON = Place(middle=(0.5, 0.5), width=0.3, lean_side_deg=0.0, lean_down_deg=0.0)


def place(**other):
    values = {
        "middle": SQUARE_ON.middle,
        "width": SQUARE_ON.width,
        "lean_side_deg": 0.0,
        "lean_down_deg": 0.0,
    }
    return Place(**(values | other))


LEANS = (
    [place(lean_side_deg=20.0)] * 2
    + [place(lean_side_deg=-20.0)] * 2
    + [place(lean_down_deg=20.0)] * 2
    + [place(lean_down_deg=-20.0)] * 2
)
ENOUGH = LEANS + [SQUARE_ON] * (RULES.least_views - len(LEANS))
ALL_CELLS = set(range(9))


@pytest.mark.parametrize(
    "other",
    [
        {"middle": (0.65, 0.5)},
        {"middle": (0.5, 0.35)},
        {"width": 0.45},
        {"width": 0.2},
        {"lean_side_deg": -12.0},
        {"lean_down_deg": 12.0},
    ],
)
def test_a_view_that_shows_something_else_is_new(other):
    assert is_new(place(**other), [SQUARE_ON], RULES)


def test_a_view_like_one_of_those_kept_is_not_new():
    like = place(middle=(0.53, 0.48), width=0.33, lean_side_deg=4.0)
    assert is_new(like, [], RULES)
    assert not is_new(like, [place(middle=(0.1, 0.1)), SQUARE_ON], RULES)


def test_cells_are_counted_by_row_from_the_upper_left():
    corners = np.array([[10, 10], [1270, 10], [640, 360], [1279, 719]], np.float32)
    assert cells_seen([corners], (1280, 720)) == {0, 2, 4, 8}


def test_a_corner_on_the_very_edge_still_lies_in_the_picture():
    assert cells_seen([np.array([[1280.4, -0.3]], np.float32)], (1280, 720)) == {2}


def test_enough_views_in_all_parts_leaning_all_ways_leave_nothing_to_do():
    assert missing(ENOUGH, ALL_CELLS, RULES) == ()
    assert missing(ENOUGH, ALL_CELLS - {8}, RULES) == ()


@pytest.mark.parametrize(
    ("without", "asked"),
    [(0, Missing.RIGHT_FAR), (2, Missing.LEFT_FAR), (4, Missing.BOTTOM_FAR), (6, Missing.TOP_FAR)],
)
def test_a_lean_that_lacks_is_asked_for(without, asked):
    views = [view for number, view in enumerate(ENOUGH) if number != without] + [SQUARE_ON]
    assert missing(views, ALL_CELLS, RULES) == (asked.value,)


def test_too_few_views_are_asked_for_more():
    assert missing(LEANS, ALL_CELLS, RULES) == (Missing.VIEWS.value,)


@pytest.mark.parametrize(
    ("cell", "words"),
    [(0, "up and to your right"), (2, "up and to your left"), (6, "down and to your right")],
)
def test_empty_parts_are_named_as_the_holder_sees_them(cell, words):
    """Who faces a camera has the picture's left edge on their right."""
    wanted = missing(ENOUGH, ALL_CELLS - {cell, 4}, RULES)
    assert f"bring the sheet {words}, as far as the camera sees" in wanted
    assert len(wanted) == 2
