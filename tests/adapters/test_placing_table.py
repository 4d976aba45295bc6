"""The numbers in docs/how-to/place-the-camera.md, found again by projecting points in space.

The page states closed formulas' results; here a pinhole camera is turned, tilted and moved, and
points are projected through it (the pinhole model: Hartley and Zisserman, Multiple View Geometry,
2nd ed., section 6.1). x runs along the target line, y up, z from the player to the camera.
"""

import re
from pathlib import Path

import numpy as np
import pytest

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "place-the-camera.md"
SMALL_M = 1e-5
HAND_SPEED_CM_S = 400.0


def rows(label):
    """Every table row whose first cell matches: the numbers of all its cells."""
    text = PAGE.read_text(encoding="utf-8")
    found = []
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if len(cells) > 1 and re.fullmatch(label, cells[0]):
            found.append(
                [float(number) for cell in cells for number in re.findall(r"[\d.]+", cell)]
            )
    return found


def turned(yaw_deg, pitch_deg, roll_deg):
    """Rotation of the camera about the middle of the stance, then about its own axis."""
    yaw, pitch, roll = np.radians([yaw_deg, pitch_deg, roll_deg])
    about_y = [[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]]
    about_x = [[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]]
    about_z = [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    return np.array(about_y) @ np.array(about_x) @ np.array(about_z)


def seen_cm(point_m, *, yaw_deg=0.0, pitch_deg=0.0, roll_deg=0.0, distance_m=3.0):
    """Where a point is read, in cm at the player's distance: (along the target line, up)."""
    in_camera = turned(yaw_deg, pitch_deg, roll_deg).T @ np.asarray(point_m, float)
    depth_m = distance_m - in_camera[2]
    return 100 * in_camera[:2] * distance_m / depth_m


def rate(axis, **camera):
    """Read cm per 10 real cm of a small move along an axis from the middle of the stance."""
    move = np.zeros(3)
    move["xyz".index(axis)] = SMALL_M
    return seen_cm(move, **camera) / (100 * SMALL_M) * 10


@pytest.mark.parametrize(
    ("label", "name", "axis", "part"),
    [(r"turned \d+°", "yaw_deg", "x", 0), (r"tilted \d+°", "pitch_deg", "y", 1)],
)
def test_what_a_turned_or_tilted_camera_costs(label, name, axis, part):
    table = rows(label)
    assert [row[0] for row in table] == [5, 10, 20]
    for angle_deg, short_percent, depth_cm in table:
        camera = {name: angle_deg}
        assert short_percent == pytest.approx(100 - 10 * rate(axis, **camera)[part], abs=0.051)
        assert depth_cm == pytest.approx(abs(rate("z", **camera)[part]), abs=0.051)


def test_what_a_leaning_camera_costs():
    table = rows(r"leaning \d+°")
    assert [row[0] for row in table] == [2, 5]
    for angle_deg, up_cm in table:
        assert up_cm == pytest.approx(abs(rate("x", roll_deg=angle_deg)[1]), abs=0.051)


def test_what_a_near_camera_costs():
    table = [row for row in rows(r"[\d.]+ m") if len(row) == 3]
    assert [row[0] for row in table] == [1.5, 2.5, 3.0, 3.5]
    for distance_m, rise_cm, larger_percent in table:
        before = seen_cm((0, 0.7, 0), distance_m=distance_m)[1]
        after = seen_cm((0, 0.7, 0.1), distance_m=distance_m)[1]
        assert rise_cm == pytest.approx(after - before, abs=0.051)
        assert larger_percent == pytest.approx(100 * (after / before - 1), abs=0.051)


def test_from_how_far_the_hands_at_the_top_are_seen():
    table = rows(r"\d+°")
    assert [row[0] for row in table] == [35, 43, 50, 60]
    for angle_deg, distance_m in table:
        # The hands' sight line must lie inside half the angle of view of a level lens.
        sight_deg = np.degrees(np.arctan2(2.0 - 0.9, distance_m))
        assert sight_deg == pytest.approx(angle_deg / 2, abs=0.6)
    # 16:9 with 78 degrees from corner to corner has 43 degrees from top to bottom.
    corner = np.array([16.0, 9.0]) / np.hypot(16, 9) * np.tan(np.radians(39))
    assert 2 * np.degrees(np.arctan(corner[1])) == pytest.approx(43, abs=0.5)


def test_how_far_to_the_side_makes_five_degrees():
    text = " ".join(PAGE.read_text(encoding="utf-8").split())
    metres, side_cm, angle_deg = map(
        float, re.search(r"At (\d) m a lens that stands (\d+) cm .*? off by (\d)°", text).groups()
    )
    assert np.degrees(np.arctan2(side_cm / 100, metres)) == pytest.approx(angle_deg, abs=0.1)


def test_how_far_a_hand_smears_while_the_shutter_is_open():
    assert "4 m/s" in PAGE.read_text(encoding="utf-8")
    table = rows(r"1/\d+ s")
    assert [row[1] for row in table] == [30, 60, 125, 250, 500]
    for one, part, smear_cm in table:
        assert smear_cm == pytest.approx(HAND_SPEED_CM_S * one / part, abs=0.051)
