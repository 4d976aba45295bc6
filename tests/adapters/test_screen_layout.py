"""Where the bars stand: off the body, steady, and calm."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screen_views import make_measures, make_pose

from trainer.adapters.screen_calm import BACK_S, FADE_S, HOLD_S, Calm
from trainer.adapters.screen_layout import (
    Placement,
    bar_top_deg,
    best_fallback,
    drift_x,
    lay_out,
    turn_y,
)
from trainer.adapters.screen_place import SETTLE_S, Placer, body_box, clear_of, reach_box
from trainer.core.records import Phase

windows = st.tuples(st.integers(200, 3000), st.integers(150, 1700)).filter(
    lambda wh: wh[0] >= 0.45 * wh[1]
)
pictures = st.sampled_from([(640, 480), (1280, 720), (1920, 1080), (720, 1280), (480, 640)])
shares = st.floats(0.0, 1.0)


@st.composite
def poses(draw, picture_wh):
    """A body anywhere: in the middle, at an edge, half outside, or filling the picture."""
    w, h = picture_wh
    x0, x1 = sorted((draw(st.floats(-0.2, 1.2)) * w, draw(st.floats(-0.2, 1.2)) * w))
    y0, y1 = sorted((draw(st.floats(-0.2, 1.2)) * h, draw(st.floats(-0.2, 1.2)) * h))
    return make_pose(x0, y0, max(x1, x0 + 1), max(y1, y0 + 1), picture_wh)


def place(placer, pose, phase=Phase.SETUP, now_s=0.0, window_wh=(1280, 720), handed_left=False):
    return placer.place(window_wh, (1280, 720), pose, phase, handed_left=handed_left, now_s=now_s)


def golfer(middle=640.0, hands=0.0, tall=480.0):
    """A player 480 px tall whose hands are ``hands`` px to the picture's left of the middle."""
    pose = make_pose(middle - 70, 680 - tall, middle + 70, 680, (1280, 720))
    pose.image_px[15:17, 0] = middle - hands
    return pose


@settings(max_examples=400, deadline=None)
@given(data=st.data(), window_wh=windows, picture_wh=pictures, handed_left=st.booleans())
def test_the_bars_never_cover_the_body(data, window_wh, picture_wh, handed_left):
    placer = Placer()
    phases = st.sampled_from(list(Phase))
    for n in range(4):  # the player moves, the columns remember
        pose = data.draw(poses(picture_wh))
        layout = placer.place(
            window_wh,
            picture_wh,
            pose,
            data.draw(phases),
            handed_left=handed_left,
            now_s=0.4 * n,
        )
        body = body_box(pose, layout.picture)
        assert clear_of(layout, body)


@settings(max_examples=300, deadline=None)
@given(window_wh=windows, picture_wh=pictures, placement=st.sampled_from(list(Placement)))
def test_plates_strip_and_writing_keep_inside_the_window_and_apart(
    window_wh, picture_wh, placement
):
    fallback = best_fallback(window_wh, picture_wh)
    if placement in (Placement.BETWEEN, Placement.BELOW):
        placement = fallback
    elif window_wh[0] < 1.3 * window_wh[1]:
        placement = Placement.BELOW
    layout = lay_out(window_wh, picture_wh, placement)
    parts = [*layout.plates, layout.strip]
    for n, part in enumerate(parts):
        assert part.x >= -0.01
        assert part.y >= -0.01
        assert part.right <= window_wh[0] + 0.01
        assert part.bottom <= window_wh[1] + 0.01
        assert not any(part.overlaps(other) for other in parts[n + 1 :])
    assert layout.picture.bottom <= layout.strip.y + 0.01
    assert layout.picture.w / layout.picture.h == pytest.approx(
        picture_wh[0] / picture_wh[1], rel=0.05
    )
    if placement is fallback:
        picture = layout.picture.inside(0.01)
        assert not any(plate.overlaps(picture) for plate in layout.plates)
    for box in (layout.turn, layout.head, layout.hips):
        for name in ("title", "figure"):
            inner = getattr(box, name)
            assert inner.right <= box.plate.right + 0.01
            assert inner.bottom <= box.plate.bottom + 0.01


def test_a_player_in_the_middle_has_a_column_at_each_side():
    layout = place(Placer(), golfer())
    assert layout.placement is Placement.SPLIT
    assert layout.turn.plate.right < layout.head.plate.x


def test_the_turn_stands_on_the_side_the_hands_do_not_swing_to():
    right, left = (place(Placer(), golfer(), handed_left=side) for side in (False, True))
    assert right.turn.plate.x < 640 < right.head.plate.x
    assert left.head.plate.x < 640 < left.turn.plate.x


@pytest.mark.parametrize(
    ("middle", "placement"), [(250.0, Placement.BOTH_LEFT), (1030.0, Placement.BOTH_RIGHT)]
)
def test_a_player_at_one_side_has_both_columns_at_the_other(middle, placement):
    # Left in the picture is right in the mirror.
    assert place(Placer(), golfer(middle)).placement is placement


def test_a_player_who_fills_the_width_gets_a_smaller_picture_between_the_columns():
    layout = place(Placer(), make_pose(20, 20, 1260, 700, (1280, 720)))
    assert layout.placement is Placement.BETWEEN
    assert not any(plate.overlaps(layout.picture) for plate in layout.plates)


def test_a_whole_swing_moves_no_column():
    placer = Placer()
    for n, hands in enumerate(np.linspace(0, 230, 60)):
        phase = Phase.BACKSWING if n else Phase.SETUP
        layout = place(placer, golfer(hands=hands), phase, now_s=n / 30)
        assert layout.placement is Placement.SPLIT


@pytest.mark.parametrize("middle", [395.0, 400.0, 405.0, 410.0, 415.0, 420.0, 425.0])
def test_a_swaying_player_does_not_make_the_columns_hop(middle):
    placer, seen = Placer(), []
    for n in range(300):
        sway = 25.0 if n % 2 else -25.0
        seen.append(place(placer, golfer(middle + sway), now_s=n / 30).placement)
    assert sum(a is not b for a, b in pairwise(seen)) <= 1


def test_columns_move_at_once_when_the_body_comes_under_them_and_back_only_after_a_while():
    placer = Placer()
    assert place(placer, golfer(), now_s=0.0).placement is Placement.SPLIT
    assert place(placer, golfer(200.0), now_s=0.1).placement is Placement.BOTH_LEFT
    assert place(placer, golfer(640.0), now_s=0.2).placement is Placement.BOTH_LEFT
    late = 0.2 + SETTLE_S + 0.1
    assert place(placer, golfer(640.0), Phase.BACKSWING, late).placement is Placement.BOTH_LEFT
    assert place(placer, golfer(640.0), Phase.SETUP, late).placement is Placement.SPLIT


def test_nobody_moves_no_column():
    placer = Placer()
    place(placer, golfer(200.0))
    for n in range(100):
        layout = place(placer, None, Phase.NOBODY, n / 10)
        assert layout.placement is Placement.BOTH_LEFT


def test_the_body_box_is_mirrored_and_cut_to_the_picture():
    layout = lay_out((1280, 720), (1280, 720), Placement.SPLIT)
    body = body_box(make_pose(-300, 100, 200, 600, (1280, 720)), layout.picture)
    assert body.right == pytest.approx(layout.picture.right)
    assert body.x > layout.picture.x + layout.picture.w / 2
    assert body_box(None, layout.picture) is None


def test_points_that_are_not_numbers_are_left_out():
    layout = lay_out((1280, 720), (1280, 720), Placement.SPLIT)
    pose = golfer()
    plain = body_box(pose, layout.picture)
    pose.image_px[13] = np.nan
    assert body_box(pose, layout.picture) == plain
    pose.image_px[:] = np.nan
    assert body_box(pose, layout.picture) is None
    assert reach_box(pose, layout.picture) is None


def test_the_bar_has_room_above_its_target_and_nothing_leaves_it():
    bar = lay_out((1280, 720), (1280, 720), Placement.SPLIT).turn.bar
    top = bar_top_deg(85.0, 5.0)
    assert top > 90.0
    assert turn_y(bar, 0.0, 85.0, top) == bar.bottom
    assert turn_y(bar, -30.0, 85.0, top) == bar.bottom
    assert turn_y(bar, 500.0, 85.0, top) == pytest.approx(bar.y)
    assert turn_y(bar, 0.0, 0.0, bar_top_deg(0.0, 0.0)) == bar.bottom


def test_a_zero_tolerance_does_not_divide_by_zero():
    beam = lay_out((1280, 720), (1280, 720), Placement.SPLIT).head.beam
    assert drift_x(beam, 1.0, 0.0, handed_left=False) == pytest.approx(beam.right)
    assert drift_x(beam, -1.0, 0.0, handed_left=False) == pytest.approx(beam.x)


@settings(deadline=None)
@given(
    states=st.lists(st.sampled_from(["in", "out"]), min_size=30, max_size=400),
    hz=st.integers(15, 120),
)
def test_a_mark_never_flashes_above_two_hertz(states, hz):
    # WCAG 2.x success criterion 2.3.1 allows three flashes (pairs of changes) a second; we keep to
    # two, so in any second a mark changes at most four times.
    calm, shown = Calm(), []
    for n, state in enumerate(states):
        shown.append(calm.settle("head", state, n / hz)[1])
    changes = [n / hz for n in range(1, len(shown)) if shown[n] != shown[n - 1]]
    for first, fifth in zip(changes, changes[4:], strict=False):
        assert fifth - first >= 1.0


def test_colours_fade_and_a_steady_state_is_reached():
    assert FADE_S >= 0.15
    assert HOLD_S > FADE_S  # a fade always ends before the next begins
    calm = Calm()
    calm.settle("turn", "below", 0.0)
    shares = [calm.settle("turn", "reached", 1.0 + n / 100)[2] for n in range(40)]
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert max(b - a for a, b in pairwise(shares)) <= 0.011 / FADE_S


def test_a_lost_reading_goes_at_once_and_blinks_twice_a_second_at_most():
    calm, shown = Calm(), []
    for n in range(300):  # every other reading is lost, for ten seconds
        turn = None if n % 2 else 40.0
        out = calm.steady(make_measures(turn=turn), n / 30).shoulder_turn_deg
        if turn is None:
            assert out is None
        shown.append(out is not None)
    returns = [n / 30 for n in range(1, 300) if shown[n] and not shown[n - 1]]
    assert len(returns) >= 10
    assert min(b - a for a, b in pairwise(returns)) >= BACK_S - 1e-9
    assert BACK_S >= 0.5


def test_one_lost_reading_hides_only_itself():
    calm = Calm()
    turns = [40.0, 41.0, None, 43.0, 44.0]
    shown = [calm.steady(make_measures(turn=t), n / 30) for n, t in enumerate(turns)]
    assert [m.shoulder_turn_deg for m in shown] == turns
