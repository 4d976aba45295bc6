"""The setup check: what one still look reads, either hand, and what it says."""

import math
from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, View, pose_of

from trainer.core import setup_check
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed
from trainer.core.rules import Rules, SetupCheckRules
from trainer.core.setup import Reference


def setup_of(handed=Handed.RIGHT, **moved_cm):
    """Return a reference whose parts were moved so many cm, + away from the target."""
    view = View(handed=handed)
    pose = pose_of(SETUP, view, 0.0)
    points = pose.image_px.copy()
    sign = -1.0 if handed is Handed.RIGHT else 1.0  # away is picture left for a right-hander
    groups = {
        "head": [p for p in L if p <= L.MOUTH_RIGHT],
        "shoulders": [L.LEFT_SHOULDER, L.RIGHT_SHOULDER],
        "hips": [L.LEFT_HIP, L.RIGHT_HIP],
    }
    for name, cm in moved_cm.items():
        if name == "wider":
            points[L.LEFT_ANKLE, 0] += cm / 2 / 0.33
            points[L.RIGHT_ANKLE, 0] -= cm / 2 / 0.33
        else:
            points[groups[name], 0] += sign * cm / 0.33
    return Reference(
        t_s=0.0,
        handed=handed,
        image_px=points,
        depth_px=pose.depth_px,
        world_m=pose.world_m,
        cm_per_px=0.33,
        scale_from_stature=False,
    )


def read(reference, rules=None):
    rules = replace(rules or Rules(), handed=reference.handed)
    return {finding.part: finding for finding in setup_check.findings(reference, rules)}


def words(reference, rules=None):
    return [finding.word for finding in read(reference, rules).values() if finding.word]


BOTH = pytest.mark.parametrize("handed", list(Handed))


@BOTH
def test_a_common_setup_is_fine_and_nothing_is_said(handed):
    assert words(setup_of(handed)) == []


@BOTH
def test_the_stance_is_ankles_over_shoulders(handed):
    # The stick golfer's ankles are 40 cm apart, its shoulders 0.21 of 175.6 cm, at the trunk's
    # lean a little nearer to the camera: 1.08 and a few per cent less.
    assert read(setup_of(handed))["stance"].value == pytest.approx(40 / (0.21 * 175.6), rel=0.12)
    assert words(setup_of(handed, wider=-15.0)) == ["stance narrow"]
    assert words(setup_of(handed, wider=40.0)) == ["stance wide"]


@BOTH
def test_the_tilt_is_away_from_the_target_for_either_hand(handed):
    reference = setup_of(handed, shoulders=8.0, head=8.0)
    shoulders = reference.chest_px - reference.hip_px
    expected = math.degrees(math.atan2(abs(shoulders[0]), -shoulders[1]))  # by trigonometry
    assert read(reference)["tilt"].value == pytest.approx(expected)
    assert words(setup_of(handed, shoulders=-8.0))[0] == "trunk toward the target"
    assert "trunk tilted far" in words(setup_of(handed, shoulders=30.0, head=30.0))


@BOTH
def test_the_head_is_behind_the_ball_line(handed):
    assert read(setup_of(handed))["head"].value > 10.0
    assert words(setup_of(handed, head=-25.0)) == ["head over the ball"]


@BOTH
def test_the_ball_line_is_about_in_line_with_the_lead_shoulder(handed):
    assert words(setup_of(handed), Rules(ball_line_cm=-14.0)) == ["ball far forward"]
    assert "ball far back" in words(setup_of(handed), Rules(ball_line_cm=14.0))


def test_without_a_ball_line_neither_ball_nor_head_is_judged():
    assert set(read(setup_of(), Rules(ball_line_cm=None))) == {"stance", "hips", "tilt"}


@BOTH
def test_the_hips_are_over_the_feet_and_never_called_weight(handed):
    assert read(setup_of(handed))["hips"].value == pytest.approx(0.0, abs=0.01)
    said = words(setup_of(handed, hips=8.0, shoulders=8.0))
    assert said == ["hips away from the target"]
    assert "hips toward the target" in words(setup_of(handed, hips=-8.0))
    every = [word for pair in setup_check._WORDS.values() for word in pair]
    assert not any("weight" in word or "balance" in word for word in every)


def test_the_bands_can_be_moved():
    wide = setup_of(wider=40.0)
    rules = Rules(setup_check=SetupCheckRules(stance_high=3.0))
    assert words(wide, rules) == []


def test_a_part_on_the_edge_of_its_band_is_inside():
    low = read(setup_of())["stance"].value
    assert words(setup_of(), Rules(setup_check=SetupCheckRules(stance_low=low))) == []


def test_feet_or_shoulders_that_cannot_be_read_are_left_out():
    reference = setup_of()
    points = reference.image_px.copy()
    points[L.RIGHT_SHOULDER] = points[L.LEFT_SHOULDER]
    assert "stance" not in read(replace(reference, image_px=points))
    points = reference.image_px.copy()
    points[[L.LEFT_ANKLE, L.RIGHT_ANKLE]] = np.nan
    found = read(replace(reference, image_px=points))
    assert set(found) == {"tilt", "ball", "head"}
