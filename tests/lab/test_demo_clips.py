"""The shipped clips and their truth, as files: nothing is rendered here."""

import hashlib
import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from trainer.lab import truth

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

DEMO = Path(__file__).resolve().parents[2] / "demo_data"
#: What each clip must show at the top: shoulder turn, hip turn, head and hip drift (each +-).
SHOWN = {
    "full-turn-right": ("right", 92, 45, 0, 0),
    "short-turn-head-off-right": ("right", 62, 34, 9, 2.5),
    "hips-off-left": ("left", 90, 42, 3, 9),
    "tags-right": ("right", 84, 40, 3, 5),
}


def _truth(name):
    return json.loads((DEMO / f"{name}.truth.json").read_text(encoding="utf-8"))


def _at(told, t_s):
    return told["frames"][min(round(t_s * told["fps"]), len(told["frames"]) - 1)]


def _setup(told):
    event = told["events"]
    return np.array([event["setup_s"] <= f["t_s"] <= event["takeaway_s"] for f in told["frames"]])


def test_the_session_lists_every_clip_with_its_truth():
    session = tomllib.loads((DEMO / "session.toml").read_text(encoding="utf-8"))
    assert {clip["file"] for clip in session["clip"]} == {f"{name}.mp4" for name in SHOWN}
    for clip in session["clip"]:
        told = _truth(clip["file"].removesuffix(".mp4"))
        assert clip["handed"] == told["handed"]
        assert clip["stature_cm"] == told["stature_cm"]
        assert clip["what"].strip()
        assert "\n" not in clip["what"]


@pytest.mark.parametrize("name", SHOWN)
def test_files_are_small(name):
    assert (DEMO / f"{name}.mp4").stat().st_size < 1_000_000
    assert (DEMO / f"{name}.truth.json").stat().st_size < 400_000


@pytest.mark.parametrize("name", SHOWN)
def test_the_clip_is_as_long_and_as_large_as_its_truth_says(name):
    cv2 = pytest.importorskip("cv2", reason="opencv is not installed")
    told, clip = _truth(name), cv2.VideoCapture(str(DEMO / f"{name}.mp4"))
    size = (int(clip.get(cv2.CAP_PROP_FRAME_WIDTH)), int(clip.get(cv2.CAP_PROP_FRAME_HEIGHT)))
    frames = 0
    while clip.grab():
        frames += 1
    assert size == (1280, 720) == tuple(told["size_wh"])
    assert frames == len(told["frames"])
    assert clip.get(cv2.CAP_PROP_FPS) == pytest.approx(told["fps"], abs=0.01)


@pytest.mark.parametrize("name", SHOWN)
def test_events_come_in_order_with_time_to_stand_still_first(name):
    told = _truth(name)
    event, last_s = told["events"], told["frames"][-1]["t_s"]
    assert event["takeaway_s"] - event["setup_s"] >= 2.0
    assert 1.0 <= event["top_s"] - event["takeaway_s"] <= 1.6
    assert event["top_s"] <= event["top_end_s"] < last_s - 1.0
    assert 5.5 <= last_s + 1 / told["fps"] <= 9.0


@pytest.mark.parametrize("name", SHOWN)
def test_the_top_is_what_the_clip_is_named_for(name):
    handed, shoulders, hips, head, drift = SHOWN[name]
    told = _truth(name)
    top = _at(told, told["events"]["top_s"])
    assert told["handed"] == handed
    assert top["shoulder_turn_deg"] == pytest.approx(shoulders, abs=1.5)
    assert top["hip_turn_deg"] == pytest.approx(hips, abs=1.5)
    assert top["head_drift_cm"][0] == pytest.approx(head, abs=1.2)
    assert top["hip_drift_cm"] == pytest.approx(drift, abs=1.0)


@pytest.mark.parametrize("name", SHOWN)
def test_the_player_is_still_but_not_frozen_at_setup(name):
    told = _truth(name)
    head = np.array([f["head_drift_cm"][0] for f in told["frames"]])[_setup(told)]
    assert 0.02 < np.ptp(head) < 1.0


def test_the_full_turn_moves_its_hips_off_early_and_brings_them_back():
    told = _truth("full-turn-right")
    event = told["events"]
    drift = [
        f["hip_drift_cm"]
        for f in told["frames"]
        if event["takeaway_s"] <= f["t_s"] <= event["top_s"]
    ]
    assert 1.5 < max(drift) < 3.0
    assert abs(drift[-1]) < 1.0


@pytest.mark.parametrize("name", SHOWN)
def test_the_measures_follow_from_the_joints(name):
    told = _truth(name)
    joints = {
        joint: np.array([f["joints_m"][joint] for f in told["frames"]])
        for joint in told["frames"][0]["joints_m"]
    }
    again = truth.measures(joints, told["handed"], _setup(told))
    for key in ("shoulder_turn_deg", "hip_turn_deg", "hip_drift_cm"):
        stated = np.array([f[key] for f in told["frames"]])
        assert np.abs(again[key] - stated).max() < 0.5, key  # joints are rounded to a millimetre


@pytest.mark.parametrize("name", SHOWN)
def test_lead_and_trail_are_on_the_right_sides_of_the_picture(name):
    told = _truth(name)
    pixels = told["frames"][0]["joints_px"]
    # the camera faces the player and the picture is not mirrored
    assert pixels["left_shoulder"][0] > pixels["right_shoulder"][0]
    top = _at(told, told["events"]["top_s"])["joints_px"]
    hands = (top["left_wrist"][0] + top["right_wrist"][0]) / 2
    assert (hands < top["head"][0]) == (told["handed"] == "right")


@pytest.mark.parametrize("name", SHOWN)
def test_the_readme_states_the_checksum(name):
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    digest = hashlib.sha256((DEMO / f"{name}.mp4").read_bytes()).hexdigest()
    assert re.search(rf"{re.escape(name)}\.mp4.*{digest}", text)
