"""The real pose model and pictures of people, fetched or read once for all tests that need them."""

from pathlib import Path

import numpy as np
import pytest

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="session")
def real_model():
    """Return the pose model in the shared cache, fetching it the first time."""
    from trainer.adapters.model_file import ensure_model

    return ensure_model(progress=False)


@pytest.fixture(scope="session")
def golfer_clip():
    """Return (n, 720, 1280, 3) uint8 RGB frames of a rendered golfer's swing, 30 a second."""
    import cv2

    path = DEMO / "full-turn-right.mp4"
    if not path.exists():
        pytest.skip(f"{path.name} is not in demo_data")
    capture = cv2.VideoCapture(str(path))
    frames = []
    while len(frames) < 150:  # past the top; more would fill half a gigabyte
        ok, frame = capture.read()
        if not ok:
            break
        frames.append(frame[:, :, ::-1])
    capture.release()
    return np.ascontiguousarray(np.stack(frames))
