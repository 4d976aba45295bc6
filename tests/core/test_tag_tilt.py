"""A camera that looks down: tags in level axes, and what not knowing the tilt does."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from tag_golfers import Golfer
from tag_pictures import turned

from trainer.core import tag_axes as ax
from trainer.core.records import Handed
from trainer.core.tag_body import TagBody
from trainer.core.tag_pose import Hint, TagPose
from trainer.core.tag_tilt import (
    as_seen,
    level_from_camera,
    levelled,
    opened_deg,
    opened_tilt_se_deg,
    with_tilt,
)


def seen_by(sheet, tilt_deg):
    """Return a sheet's pose as a camera that looks down by ``tilt_deg`` has it."""
    # scipy's own rotation: looking down, what lies straight ahead comes up in the picture (-y).
    tilt = Rotation.from_euler("x", tilt_deg, degrees=True).as_matrix()
    return TagPose(
        number=sheet.number,
        rotation=tilt @ sheet.rotation,
        place_m=tilt @ np.array(sheet.place_m),
        spread=np.diag([np.radians(0.2) ** 2] * 3 + [0.001**2] * 3),
        ambiguous=False,
    )


def chest(tilt_deg, told_deg, turn=60.0):
    """Return the chest's reading at a turn by a camera of one tilt that is told another."""
    golfer, body = Golfer(), TagBody(handed=Handed.RIGHT)
    level = level_from_camera(told_deg)
    for k, at in enumerate([0.0] * 12 + [turn]):
        sheets = [s for s in golfer.sheets(at) if s.number == 0]
        reading = body.see((k + 1) / 30, [levelled(seen_by(s, tilt_deg), level) for s in sheets])
        if k == 11:
            body.zero(0.0, 0.4)
    return golfer, reading.thorax


def test_level_straight_ahead_of_a_camera_that_looks_down_is_above_the_middle():
    ahead = level_from_camera(10.0).T @ np.array([0.0, 0.0, 1.0])
    assert ahead == pytest.approx([0.0, -np.sin(np.radians(10)), np.cos(np.radians(10))])


@pytest.mark.parametrize("tilt_deg", [-4.0, 0.0, 7.0])
def test_told_its_tilt_a_camera_reads_what_a_level_one_does(tilt_deg):
    golfer, thorax = chest(tilt_deg, tilt_deg)
    true = ax.turn(golfer.rotation(60.0), np.eye(3), ax.axes_of(Handed.RIGHT)).deg
    assert thorax.turn.deg == pytest.approx(true, abs=0.05)
    _, level = chest(0.0, 0.0)
    assert opened_deg(thorax.rotation, -25.0) == pytest.approx(
        opened_deg(level.rotation, -25.0), abs=0.05
    )


def test_an_untold_tilt_puts_the_opening_off_by_about_what_is_said():
    _, level = chest(0.0, 0.0)
    _, tilted = chest(3.0, 0.0)
    off = abs(opened_deg(tilted.rotation, -25.0) - opened_deg(level.rotation, -25.0))
    said = opened_tilt_se_deg(level.rotation, -25.0, 3.0)
    assert off > 1.0
    assert off == pytest.approx(said, rel=0.15)


def test_an_untold_tilt_widens_the_turns_error_and_leaves_the_turn():
    _, level = chest(0.0, 0.0)
    _, tilted = chest(3.0, 0.0)
    wide = with_tilt(level, 3.0)
    assert wide.turn.deg == level.turn.deg
    added = np.sqrt(wide.turn.se_deg**2 - level.turn.se_deg**2)
    assert added == pytest.approx(abs(tilted.turn.deg - level.turn.deg), rel=0.3, abs=0.1)
    assert with_tilt(None, 3.0) is None


def test_a_hint_comes_back_to_where_the_camera_sees_it():
    level = level_from_camera(8.0)
    hint = Hint(rotation=turned(20, -10, 5), se_deg=6.0)
    pose = TagPose(
        number=0,
        rotation=as_seen(hint, level).rotation,
        place_m=np.array([0.0, 0.0, 3.0]),
        spread=np.diag([1e-4] * 6),
        ambiguous=False,
    )
    assert levelled(pose, level).rotation == pytest.approx(hint.rotation)
