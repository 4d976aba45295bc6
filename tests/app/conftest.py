"""The real pose model, and the demo clips measured once for all tests that ask."""

import json
import os
import sys
from pathlib import Path

import cv2
import pytest

from trainer.cli import main
from trainer.errors import PoseError
from trainer.live import demo_clips

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module", autouse=True)
def plain_reading(request):
    """Read the stick golfer straight from its points, except where the pose model is real.

    The estimator that ships is fitted to what the pose model makes of people; of a stick golfer
    it knows nothing. What is tested with one is how the parts join, not how true the numbers are.
    """
    with pytest.MonkeyPatch.context() as patch:
        if request.node.get_closest_marker("real_pose") is None:
            patch.setattr("trainer.engine.shipped", lambda: None)
        yield


@pytest.fixture(scope="session")
def pose_model():
    """The model file's path; fetched once if it is not on this machine."""
    from trainer.adapters.model_file import ensure_model

    try:
        return ensure_model()
    except PoseError as error:
        pytest.skip(f"no pose model on this machine and none to be fetched: {error}")


@pytest.fixture(scope="session")
def command(tmp_path_factory):
    """How to start the program in a process of its own: (first words, environment)."""
    environment = os.environ | {
        "PYTHONPATH": str(ROOT),
        "PYTHONUNBUFFERED": "1",
        "PYTHONIOENCODING": "utf-8",
        "SDL_VIDEODRIVER": "dummy",
        "SDL_AUDIODRIVER": "dummy",
        # Where Linux keeps settings files: those of whoever runs the tests must not change them.
        "XDG_CONFIG_HOME": str(tmp_path_factory.mktemp("config")),
        "TRAINER_DATA_DIR": str(tmp_path_factory.mktemp("players")),
    }
    return [sys.executable, "-m", "trainer"], environment


@pytest.fixture(scope="session")
def short_clips(tmp_path_factory):
    """The first 40 pictures of two demo clips, each in a file of its own."""
    folder = tmp_path_factory.mktemp("short")
    paths = []
    for clip in demo_clips()[:2]:
        pictures = cv2.VideoCapture(str(clip.path))
        path = folder / f"{clip.path.stem}-begin.avi"
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 30.0, (1280, 720))
        for _ in range(40):
            writer.write(pictures.read()[1])
        writer.release()
        paths.append(path)
    return paths


@pytest.fixture(scope="session")
def demo_measured(pose_model, tmp_path_factory):
    """Folder with every demo clip measured, and for each stem (JSON's values, truth's values)."""
    out = tmp_path_factory.mktemp("demo")
    results = {}
    empty = tmp_path_factory.mktemp("settings") / "empty.toml"
    empty.write_text("", encoding="utf-8")
    for clip in demo_clips():
        words = ["--handed", clip.handed.value, "--stature-cm", str(clip.stature_cm)]
        words += ["--settings", str(empty)]
        assert main(["measure", str(clip.path), "--out", str(out), *words]) == 0
        stem = clip.path.stem
        truth = clip.path.with_name(f"{stem}.truth.json").read_text(encoding="utf-8")
        result = (out / f"{stem}.json").read_text(encoding="utf-8")
        results[stem] = (json.loads(result), json.loads(truth))
    return out, results
