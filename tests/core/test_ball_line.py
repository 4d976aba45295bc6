"""The upper back's edge against the ball line, from outlines whose edge is known."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, Script, View, play, pose_of, poses
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import ball_line
from trainer.core.ball_line import back_edge_px, back_gap_cm, band_px, line_px, moved, to_draw
from trainer.core.landmarks import Landmark as L
from trainer.core.measures import measure
from trainer.core.records import Handed, Outline, Phase
from trainer.core.rules import Rules
from trainer.core.setup import Reference

BOTH = pytest.mark.parametrize("handed", list(Handed))
ROWS = 120
FRONT = View()


def reference_of(handed=Handed.RIGHT, cm_per_px=0.33):
    pose = pose_of(SETUP, View(handed=handed), 0.0)
    return Reference(
        t_s=0.0,
        handed=handed,
        image_px=pose.image_px,
        depth_px=pose.depth_px,
        world_m=pose.world_m,
        cm_per_px=cm_per_px,
        scale_from_stature=False,
    )


def outline_at(edge_px, handed=Handed.RIGHT, size_wh=(1280, 720), wide_px=90.0):
    """A silhouette whose end on the target side is ``edge_px`` (a number, or one a row)."""
    rows = (np.arange(ROWS) + 0.5) * size_wh[1] / ROWS
    edge = np.broadcast_to(np.asarray(edge_px, dtype=float), rows.shape).copy()
    if handed is Handed.RIGHT:  # the target is on the picture's right
        return Outline(row_px=rows, left_px=edge - wide_px, right_px=edge)
    return Outline(row_px=rows, left_px=edge, right_px=edge + wide_px)


def top_with(edge_px, handed=Handed.RIGHT, body=TOP):
    return replace(pose_of(body, View(handed=handed), 1.0), outline=outline_at(edge_px, handed))


def away(handed):
    return -1 if handed is Handed.RIGHT else 1


@BOTH
@pytest.mark.parametrize("gap", [-8.0, 0.0, 3.5, 20.0])
def test_the_gap_is_counted_from_the_lead_shoulder_at_setup(handed, gap):
    reference = reference_of(handed)
    lead = reference.image_px[L.LEFT_SHOULDER if handed is Handed.RIGHT else L.RIGHT_SHOULDER, 0]
    pose = top_with(lead + away(handed) * gap / 0.33, handed)
    assert back_gap_cm(pose, reference, 0.0) == pytest.approx(gap, abs=1e-9)


@BOTH
@given(gap=st.floats(-10, 20), line=st.floats(-15, 15))
def test_moving_the_line_away_from_the_target_takes_as_much_from_the_gap(handed, gap, line):
    reference = reference_of(handed)
    pose = top_with(line_px(reference, 0.0) + away(handed) * gap / 0.33, handed)
    assert back_gap_cm(pose, reference, line) == pytest.approx(gap - line, abs=1e-9)


def mirrored(pose):
    order = list(range(33))
    for point in L:
        if "LEFT" in point.name:
            order[point] = int(L[point.name.replace("LEFT", "RIGHT")])
            order[L[point.name.replace("LEFT", "RIGHT")]] = int(point)
    points = pose.image_px[order].copy()
    points[:, 0] = pose.size_wh[0] - points[:, 0]
    old = pose.outline
    outline = Outline(
        row_px=old.row_px,
        left_px=pose.size_wh[0] - old.right_px,
        right_px=pose.size_wh[0] - old.left_px,
    )
    return replace(pose, image_px=points, outline=outline)


@given(seed=st.integers(0, 10_000), turn=st.floats(0, 110), line=st.floats(-10, 10))
def test_a_left_hander_reads_exactly_as_the_mirrored_right_hander(seed, turn, line):
    rng = np.random.default_rng(seed)
    edges = 640 + rng.uniform(-60, 90, ROWS)
    edges[rng.uniform(size=ROWS) < 0.1] = np.nan
    body = replace(TOP, turn_deg=turn)
    # Whole steps of 1/64 px, so that mirroring loses nothing.
    pose = top_with(np.round(edges * 64) / 64, body=body)
    pose = replace(pose, image_px=np.round(pose.image_px * 64) / 64)
    right = reference_of()
    right = replace(right, image_px=np.round(right.image_px * 64) / 64)
    at_setup = mirrored(replace(pose, image_px=right.image_px))
    left = replace(right, handed=Handed.LEFT, image_px=at_setup.image_px)
    read, other = back_gap_cm(pose, right, line), back_gap_cm(mirrored(pose), left, line)
    assert (read is None) == (other is None)
    if read is not None:
        assert other == pytest.approx(read, abs=1e-9)


def test_a_trunk_as_a_round_post_reads_its_radius():
    """A pinhole camera sees a round post of radius r at distance D out to f r / sqrt(D2 - r2).

    Plain geometry of the tangent (any textbook of projective geometry).
    """
    f, distance_cm, radius_cm = 914.0, 300.0, 12.0
    reference = reference_of(cm_per_px=distance_cm / f)
    tangent_px = f * radius_cm / np.sqrt(distance_cm**2 - radius_cm**2)
    axis_px = line_px(reference, 0.0)
    pose = top_with(axis_px + tangent_px)  # its axis in line with the lead shoulder
    assert back_gap_cm(pose, reference, 0.0) == pytest.approx(-radius_cm, rel=0.002)


def test_only_the_rows_of_the_upper_back_count():
    pose = pose_of(TOP, View(), 1.0)
    top, low = band_px(pose.image_px)
    rows = outline_at(0.0).row_px
    edges = np.where((rows >= top) & (rows <= low), 700.0, 900.0)
    assert back_edge_px(outline_at(edges), pose, reference_of()) == pytest.approx(700.0)
    hips, shoulders = (
        (pose.image_px[a, 1] + pose.image_px[b, 1]) / 2
        for a, b in ((L.LEFT_HIP, L.RIGHT_HIP), (L.LEFT_SHOULDER, L.RIGHT_SHOULDER))
    )
    assert shoulders < top < low < hips


def test_one_row_that_sticks_out_does_not_make_the_edge():
    pose = pose_of(TOP, View(), 1.0)
    top, low = band_px(pose.image_px)
    edges = np.full(ROWS, 700.0)
    inside = np.flatnonzero((outline_at(0.0).row_px >= top) & (outline_at(0.0).row_px <= low))
    edges[inside[len(inside) // 2]] = 760.0
    assert back_edge_px(outline_at(edges), pose, reference_of()) == pytest.approx(700.0, abs=1.0)


@BOTH
def test_where_the_lead_arm_makes_the_edge_the_back_is_not_read(handed):
    reference = reference_of(handed)
    pose = pose_of(SETUP, View(handed=handed), 1.0)
    lead = "LEFT" if handed is Handed.RIGHT else "RIGHT"
    points = pose.image_px.copy()
    shoulder = points[L[f"{lead}_SHOULDER"]]
    # The arm hangs straight down from the shoulder; the silhouette ends 4 cm outside its bones.
    points[L[f"{lead}_ELBOW"]] = shoulder + [0.0, 90.0]
    points[L[f"{lead}_WRIST"]] = shoulder + [0.0, 180.0]
    edge = shoulder[0] - away(handed) * 4.0 / 0.33
    hidden = replace(pose, image_px=points, outline=outline_at(edge, handed))
    assert back_gap_cm(hidden, reference, 0.0) is None
    # 15 cm outside the bones it is no arm any more.
    seen = replace(hidden, outline=outline_at(shoulder[0] - away(handed) * 15.0 / 0.33, handed))
    assert back_gap_cm(seen, reference, 0.0) == pytest.approx(-15.0, abs=0.5)


def test_an_arm_across_the_chest_leaves_the_back_to_be_read():
    reference = reference_of()
    top, low = band_px(pose_of(TOP, View(), 1.0).image_px)
    pose = top_with(line_px(reference, 0.0) - 5.0 / 0.33)
    points = pose.image_px.copy()
    # From the lead shoulder, now at mid-trunk, away to the hands: picture left.
    points[L.LEFT_SHOULDER] = [610.0, (top + low) / 2]
    points[L.LEFT_ELBOW] = [550.0, top]
    points[L.LEFT_WRIST] = [490.0, top - 60.0]
    assert back_gap_cm(replace(pose, image_px=points), reference, 0.0) == pytest.approx(5.0)


def test_half_an_arm_in_the_edge_leaves_the_other_rows():
    reference = reference_of()
    pose = pose_of(TOP, View(), 1.0)
    top, low = band_px(pose.image_px)
    rows = outline_at(0.0).row_px
    middle = (top + low) / 2
    edges = np.where(rows < middle, 760.0, 700.0)  # the upper half is an elbow that sticks out
    points = pose.image_px.copy()
    points[L.LEFT_SHOULDER], points[L.LEFT_ELBOW] = [740.0, top - 20.0], [755.0, middle - 12.0]
    points[L.LEFT_WRIST] = [640.0, top - 60.0]
    pose = replace(pose, image_px=points, outline=outline_at(edges))
    edge = back_edge_px(pose.outline, pose, reference)
    assert edge == pytest.approx(700.0, abs=1.0)


@pytest.mark.parametrize("what", ["no outline", "no line", "no rows", "upside down"])
def test_what_cannot_be_told_is_none_and_not_zero(what):
    reference, line = reference_of(), 0.0
    pose = top_with(700.0)
    if what == "no outline":
        pose = replace(pose, outline=None)
    elif what == "no line":
        line = None
    elif what == "no rows":
        pose = top_with(np.nan)
    else:
        pose = replace(pose, image_px=pose.image_px * [1.0, -1.0])
    assert back_gap_cm(pose, reference, line) is None


def test_it_is_a_measure_among_the_others():
    reference, pose = reference_of(), top_with(700.0)
    now = measure(pose, 1.0, reference, ball_line_cm=2.0)
    assert now.back_gap_cm == back_gap_cm(pose, reference, 2.0)
    assert measure(pose, 1.0, reference).back_gap_cm is None


def with_edges(script, edge_of, view=FRONT):
    """The script's poses with outlines whose edge is ``edge_of(t_s)``."""
    return [
        (t_s, pose and replace(pose, outline=outline_at(edge_of(t_s), view.handed)))
        for t_s, pose in poses(script, view)
    ]


def test_the_rep_tells_the_gap_at_its_top_and_of_no_other_moment():
    script = Script().hold(2.0).move(TOP, 1.0).hold(0.6).move(SETUP, 0.5).hold(1.5)
    pairs = with_edges(script, lambda t_s: 690.0 if 2.95 < t_s < 3.7 else 800.0)
    played = play(None, pairs=pairs, rules=Rules(ball_line_cm=0.0))
    reference = next(s for s in played.steps if s.phase is Phase.TOP)
    assert played.rep.at_top.back_gap_cm == pytest.approx(reference.measures.back_gap_cm, abs=2.0)
    shoulder = pose_of(SETUP, View(), 0.0).image_px[L.LEFT_SHOULDER, 0]
    by_hand = (shoulder - 690.0) * 0.329  # 3 m, 70 degrees: 300 / 914 cm a pixel
    assert played.rep.at_top.back_gap_cm == pytest.approx(by_hand, abs=0.5)


def test_the_line_moves_in_steps_and_stays_near_the_player():
    assert moved(None, 3) == 1.5
    assert moved(1.5, -4) == -0.5
    assert moved(0.0, 10_000) == ball_line.FARTHEST_CM
    assert moved(0.0, -10_000) == -ball_line.FARTHEST_CM


@BOTH
def test_what_is_drawn_is_where_it_was_read(handed):
    reference = reference_of(handed)
    pose = top_with(640.0, handed, body=Body(arc_deg=150.0, turn_deg=90.0))
    gap = back_gap_cm(pose, reference, 3.0)
    drawn = to_draw(reference, 3.0, gap, at_top=True)
    assert drawn.back_px == pytest.approx(640.0)
    assert drawn.x_px == pytest.approx(line_px(reference, 3.0))
    assert to_draw(reference, 3.0, None, at_top=True).back_px is None
