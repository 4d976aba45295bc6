import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from trainer.lab.camera import Camera
from trainer.lab.motion import Motion

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("torch", "anny", "vtk", "av")


def test_importing_the_lab_does_not_load_its_heavy_packages():
    code = (
        "import sys, trainer.lab.__main__, trainer.lab.render; "
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("size", ["1280", "axb", "63x720", "1281x720"])
def test_a_size_that_is_no_size_is_refused(size, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "trainer.lab", "render", "--out", str(tmp_path), "--size", size],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "--size" in done.stderr


def test_without_the_lab_extra_the_command_says_what_to_install(tmp_path, capsys, monkeypatch):
    from trainer.lab.__main__ import EXIT_NO_LAB, main

    monkeypatch.setitem(sys.modules, "anny", None)  # importing it now fails
    assert main(["render", "--out", str(tmp_path)]) == EXIT_NO_LAB
    told = capsys.readouterr().err
    assert "anny" in told
    assert "[lab]" in told


@pytest.fixture(scope="module")
def lab():
    for name in HEAVY:
        pytest.importorskip(name, reason=f"the lab extra is not installed: no {name}")
    return pytest.importorskip("cv2", reason="opencv is not installed")


@pytest.fixture(scope="module")
def short_clip():
    from trainer.lab.scenarios import SCENARIOS

    clip = SCENARIOS["full-turn-right"](1, 30.0, {})
    motion = clip.motion
    few = np.array([0, 10, 60, 111])
    cut = Motion(
        motion.t_s[few], {k: v[few] for k, v in motion.dofs.items()}, motion.reps, motion.address
    )
    return replace(clip, motion=cut, camera=Camera(size_wh=(320, 180)), name="short")


@pytest.mark.lab
def test_a_rendered_clip_can_be_read_back_with_its_truth(lab, short_clip, tmp_path):
    from trainer.lab.render import render

    path = render(short_clip, tmp_path, seed=1)
    clip, frames = lab.VideoCapture(str(path)), []
    while True:
        read, frame = clip.read()
        if not read:
            break
        frames.append(frame)
    told = json.loads((tmp_path / "short.truth.json").read_text(encoding="utf-8"))
    assert len(frames) == len(told["frames"]) == 4
    assert frames[0].shape == (180, 320, 3)
    # at address the trunk ends about where the shoulder joint is, an inch or a hand beyond it
    assert -12 < told["frames"][0]["back_gap_cm"] < 8


@pytest.mark.lab
def test_the_player_is_drawn_where_the_truth_says(lab, short_clip):
    from trainer.lab import truth
    from trainer.lab.render import posed_clip
    from trainer.lab.scene import Stage

    for handed in ("right", "left"):
        clip = replace(short_clip, handed=handed)
        body, posed = posed_clip(clip)
        joints = truth.joints(body, posed)
        stage = Stage(
            body,
            replace(clip.outfit, shirt=(255, 0, 0)),
            clip.room,
            clip.camera,
            mirror=posed.mirrored,
        )
        image = stage.draw(posed, 0).astype(int)
        red = (image[..., 0] > 90) & (image[..., 1] < 60) & (image[..., 2] < 60)
        middle = np.argwhere(red).mean(axis=0)[::-1]
        shoulders = (joints["left_shoulder"][0] + joints["right_shoulder"][0]) / 2
        hips = (joints["left_hip"][0] + joints["right_hip"][0]) / 2
        wanted = clip.camera.project((shoulders + hips) / 2)
        assert np.linalg.norm(middle - wanted) < 12, handed  # the shirt's middle, roughly


@pytest.mark.lab
def test_a_baked_body_is_as_tall_as_asked(lab):
    from trainer.lab.body import BodyShape, load_body

    body = load_body(BodyShape(stature_cm=181, weight=0.46, muscle=0.6))
    height = np.ptp(body.vertices[:, 1])
    assert height == pytest.approx(1.81, abs=1e-6)
    assert np.allclose(body.weights.sum(axis=1), 1.0)
