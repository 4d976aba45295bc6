"""A player's own errors in the place of everybody's, while the set-up is the same."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, View, pose_of

from trainer.core.own_errors import LINE_SHARE, STEMS, with_own_errors
from trainer.core.records import Measures
from trainer.core.rules import OwnErrors

POSE = pose_of(SETUP, View(), 0.0)


class Setup:
    cm_per_px = 0.3


NOW = Measures(
    t_s=0.0,
    shoulder_turn_deg=90.0,
    shoulder_turn_se_deg=8.0,
    hip_turn_deg=40.0,
    hip_turn_se_deg=5.0,
    hip_lateral_cm=2.0,
    head_vertical_cm=1.0,
    head_vertical_se_cm=1.0,
)
OWN = OwnErrors(width_px=1280.0, height_px=720.0, cm_per_px=0.3)


def told(own, **scale):
    setup = Setup()
    setup.cm_per_px = scale.get("cm_per_px", 0.3)
    return with_own_errors(NOW, POSE, setup, own)


def test_every_error_is_multiplied_and_no_value_changes():
    now = told(replace(OWN, hip_turn_factor=1.5, head_vertical_factor=0.5))
    assert now == replace(NOW, hip_turn_se_deg=7.5, head_vertical_se_cm=0.5)


def test_an_error_never_falls_under_the_tags_own_nor_rises_to_it():
    now = told(replace(OWN, hip_turn_factor=0.2, hip_turn_floor=2.0))
    assert now.hip_turn_se_deg == 2.0
    now = told(replace(OWN, hip_turn_factor=0.9, hip_turn_floor=30.0))
    assert now.hip_turn_se_deg == 5.0


def test_the_shoulder_line_stays_as_unsure_as_it_is_by_the_chest():
    now = told(replace(OWN, shoulder_turn_factor=0.1, shoulder_turn_floor=1.0))
    assert now.shoulder_turn_se_deg == pytest.approx(np.sqrt(1.0 + (90.0 * LINE_SHARE) ** 2))
    assert now.shoulder_turn_se_deg > 4.4


def test_an_error_not_known_stays_unknown():
    now = told(replace(OWN, hip_lateral_factor=2.0, chest_pitch_factor=2.0))
    assert now == NOW


@pytest.mark.parametrize(
    "own",
    [
        None,
        replace(OWN, width_px=1920.0, hip_turn_factor=2.0),
        replace(OWN, height_px=960.0, hip_turn_factor=2.0),
        replace(OWN, cm_per_px=0.36, hip_turn_factor=2.0),
        replace(OWN, cm_per_px=0.25, hip_turn_factor=2.0),
    ],
)
def test_in_another_set_up_the_very_same_record_comes_back(own):
    assert told(own) is NOW


def test_a_step_nearer_is_the_same_set_up_and_any_distance_where_none_is_known():
    own = replace(OWN, hip_turn_factor=2.0)
    assert told(own, cm_per_px=0.33).hip_turn_se_deg == 10.0
    assert told(replace(own, cm_per_px=None), cm_per_px=0.9).hip_turn_se_deg == 10.0


def test_before_a_setup_nothing_is_changed():
    own = replace(OWN, hip_turn_factor=2.0)
    assert with_own_errors(NOW, POSE, None, own) is NOW
    assert with_own_errors(NOW, None, Setup(), own) is NOW


def test_there_are_a_factor_and_a_floor_for_each_measure_told():
    for stem, unit in STEMS.items():
        assert f"{stem}_se_{unit}" in Measures.__dataclass_fields__
        assert {f"{stem}_factor", f"{stem}_floor"} <= set(OwnErrors.__dataclass_fields__)
