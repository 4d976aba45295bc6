"""The estimator: exact at setup, exactly mirrored, sane far away, and right about its own form."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, View, pose_of, with_outline, with_trunk
from scipy.spatial.distance import cdist

from trainer.core import estimate as est
from trainer.core.records import Handed
from trainer.core.rules import Rules
from trainer.core.setup import StillWindow, reference_from
from trainer.estimator_file import shipped


def points_alone(pose):
    return pose


#: What a pose may hold: points, an outline with them, and the trunk's picture read as well.
HELD = (points_alone, with_outline, with_trunk)


def reference_of(view, held=points_alone):
    poses = tuple(held(pose_of(SETUP, view, i / 30)) for i in range(30))
    rules = Rules(handed=view.handed, stature_cm=175.6)
    return reference_from(StillWindow(poses=poses), rules)


@pytest.fixture(scope="module")
def fitted():
    return shipped()


#: Where chest and trunk point is told as it is; the back is told against the ball line.
AS_IT_IS = {"chest_pitch_deg", "side_tilt_deg", est.BACK}


@pytest.mark.parametrize("held", HELD)
def test_at_setup_every_turn_and_drift_is_zero(fitted, held):
    view = View()
    pose = held(pose_of(SETUP, view, 1.0))
    told = est.estimate(est.prepare(fitted, reference_of(view, held)), pose)
    assert set(told.value) == set(est.OUTPUTS if held is points_alone else est.OUTLINE_OUTPUTS)
    for name in set(told.value) - AS_IT_IS:
        assert told.value[name] == pytest.approx(0.0, abs=1e-6), name


@pytest.mark.parametrize("held", HELD)
def test_separation_is_the_shoulder_turn_less_the_hip_turn(fitted, held):
    view = View()
    pose = held(pose_of(TOP, view, 1.0))
    told = est.estimate(est.prepare(fitted, reference_of(view, held)), pose).value
    apart = told["shoulder_turn_deg"] - told["hip_turn_deg"]
    assert told["separation_deg"] == pytest.approx(apart, abs=0.05)


def told_of(fitted, pose, held_at_setup):
    return est.estimate(est.prepare(fitted, reference_of(View(), held_at_setup)), pose)


def test_what_pose_or_setup_does_not_hold_is_not_read(fitted):
    pose = pose_of(TOP, View(), 1.0)
    read = {held: told_of(fitted, held(pose), held) for held in HELD}
    assert len({told.value["shoulder_turn_deg"] for told in read.values()}) == len(HELD)
    for less, more in pairwise(HELD):
        assert told_of(fitted, less(pose), more) == read[less]
        assert told_of(fitted, more(pose), less) == read[less]


def test_a_trunk_without_an_outline_is_not_read(fitted):
    pose = replace(with_trunk(pose_of(TOP, View(), 1.0)), outline=None)
    assert told_of(fitted, pose, with_trunk) == told_of(fitted, pose, points_alone)


def test_wider_standard_errors_leave_the_values_alone(fitted):
    view = View()
    for held in HELD:
        pose = held(pose_of(TOP, view, 1.0))
        reference = reference_of(view, held)
        one = est.estimate(est.prepare(fitted, reference), pose)
        two = est.estimate(est.prepare(est.widened(fitted, 1.5), reference), pose)
        assert two.value == one.value
        for name, se in one.se.items():
            assert two.se[name] == pytest.approx(1.5 * se)
    assert est.widened(fitted, 1.0) is fitted


@pytest.mark.parametrize("held", HELD)
@pytest.mark.parametrize("body", [TOP, Body(arc_deg=60, turn_deg=30, head_cm=4, hips_cm=-2)])
def test_a_left_hander_reads_as_the_mirrored_right_hander(fitted, body, held):
    said = []
    for view in (View(), View(handed=Handed.LEFT)):
        pose = held(pose_of(body, view, 1.0))
        said.append(est.estimate(est.prepare(fitted, reference_of(view, held)), pose))
    one, two = said
    for name in one.value:
        assert one.value[name] == pytest.approx(two.value[name], abs=1e-6), name
        assert one.se[name] == pytest.approx(two.se[name], rel=1e-6), name


def test_a_step_nearer_to_the_camera_changes_nothing_but_perspective(fitted):
    # Exact only for a camera far away, so far cameras are compared.
    near, far = View(distance_m=30.0), View(distance_m=60.0)
    one = est.estimate(est.prepare(fitted, reference_of(near)), pose_of(TOP, near, 1.0))
    two = est.estimate(est.prepare(fitted, reference_of(far)), pose_of(TOP, far, 1.0))
    assert one.value["shoulder_turn_deg"] == pytest.approx(two.value["shoulder_turn_deg"], abs=1.0)


def test_points_far_from_all_that_was_fitted_give_sane_numbers(fitted):
    view = View()
    reference = reference_of(view)
    pose = pose_of(TOP, view, 1.0)
    wild = replace(pose, image_px=pose.image_px * 50.0, world_m=pose.world_m * 50.0)
    told = est.estimate(est.prepare(fitted, reference), wild)
    assert abs(told.value["shoulder_turn_deg"]) < 180
    assert all(np.isfinite(v) for v in [*told.value.values(), *told.se.values()])


def test_the_reading_moves_continuously_with_the_pose(fitted):
    view = View()
    ready = est.prepare(fitted, reference_of(view))
    turns = [
        est.estimate(ready, pose_of(Body(arc_deg=150 * x, turn_deg=90 * x), view, 1.0)).value[
            "shoulder_turn_deg"
        ]
        for x in np.linspace(0, 1, 101)
    ]
    assert np.abs(np.diff(turns)).max() < 5.0


def test_a_trunk_that_was_not_looked_at_for_this_hand_is_no_trunk(fitted):
    view = View()
    ready = est.prepare(fitted, reference_of(view, with_trunk))
    pose = with_trunk(pose_of(TOP, view, 1.0))
    without = est.estimate(ready, replace(pose, trunk_deg=None))
    other = est.estimate(ready, replace(pose, trunk_deg=np.array([[np.nan] * 3, [1.0] * 3])))
    assert other.value == without.value


@pytest.mark.parametrize("held", HELD)
def test_one_reading_and_many_at_once_say_the_same(fitted, held):
    view = View()
    reference, pose = reference_of(view, held), held(pose_of(TOP, view, 1.0))
    one = est.estimate(est.prepare(fitted, reference), pose)
    row = est.features(pose, reference)
    told = [
        est.predict(machine, np.tile(row[: len(machine.relevance)], (12, 1)))
        for machine in fitted.readers(len(row))
    ]
    assert len(told) == (2 if held is with_trunk else 1)
    value = np.mean([value[5] for value, _ in told], axis=0)
    se = np.exp(np.mean([np.log(se[5]) for _, se in told], axis=0))
    # Single poses are read with narrow numbers (float32): far finer than what is shown.
    assert list(one.value.values()) == pytest.approx(value, abs=0.01)
    assert list(one.se.values()) == pytest.approx(se, rel=1e-3)


def test_the_kernel_agrees_with_distances_worked_out_by_scipy():
    rng = np.random.default_rng(3)
    rows, centres = rng.normal(size=(20, 7)), rng.normal(size=(11, 7))
    # scipy.spatial.distance.cdist, an outside library.
    expected = np.exp(-0.4 / 7 * cdist(rows, centres, "sqeuclidean"))
    assert est.kernel(rows, centres, 0.4) == pytest.approx(expected, abs=1e-12)
    assert est.kernel(rows[:2], centres, 0.4) == pytest.approx(expected[:2], abs=1e-12)
