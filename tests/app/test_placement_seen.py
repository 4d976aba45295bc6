"""The placement guide on rendered players as the real pose model sees them, and spoilt pictures."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from trainer.adapters.clips import read_clip
from trainer.adapters.pose import MediapipePose
from trainer.core.placement import Asked, Check, Look, PlacementState, Stage, step
from trainer.live import demo_clips

pytestmark = pytest.mark.real_pose

EVERY, LOOKS = 3, 18  # a look each tenth of a second, at 30 pictures a second


def as_it_is(image):
    return image


def turned(deg):
    """The picture of a camera that leans clockwise, seen from behind, by so much."""

    def turn(image):
        h, w = image.shape[:2]
        # What a camera that leans clockwise sees leans the other way.
        matrix = cv2.getRotationMatrix2D((w / 2, h / 2), deg, 1.0)
        return cv2.warpAffine(image, matrix, (w, h), borderMode=cv2.BORDER_REPLICATE)

    return turn


def further(image):
    """The picture of a camera that stands two thirds further away."""
    h, w = image.shape[:2]
    small = cv2.resize(image, (round(0.6 * w), round(0.6 * h)), interpolation=cv2.INTER_AREA)
    y, x = (h - small.shape[0]) // 2, (w - small.shape[1]) // 2
    below, right = h - y - small.shape[0], w - x - small.shape[1]
    return cv2.copyMakeBorder(small, y, below, x, right, cv2.BORDER_REPLICATE)


def lower_edge_cut(image):
    down = round(0.23 * image.shape[0])
    cut = np.zeros_like(image)
    cut[down:] = image[:-down]
    return cut


def dark(image):
    return (image * 0.22).astype(np.uint8)


@pytest.fixture(scope="module")
def seen(pose_model):
    """Return what the guide shows after some looks at a demo clip's address, each spoilt."""

    def look_at(clip, spoil):
        estimator, state = MediapipePose(pose_model), PlacementState()
        asked = Asked(handed=clip.handed, stature_cm=clip.stature_cm)
        try:
            for number, frame in enumerate(read_clip(clip.path)):
                if number >= EVERY * LOOKS:
                    break
                if number % EVERY:
                    continue
                image = np.ascontiguousarray(spoil(frame.image_rgb))
                pose = estimator.estimate(replace(frame, image_rgb=image))
                look = Look(t_s=frame.t_s, pose=pose, image_rgb=image, fps=30.0)
                state = step(state, look, asked)
        finally:
            estimator.close()
        return state

    return look_at


CLIPS = [clip for clip in demo_clips() if clip.tags is None]
each_clip = pytest.mark.parametrize("clip", CLIPS, ids=lambda clip: clip.path.stem)


@each_clip
def test_the_demo_s_camera_stands_right(seen, clip):
    assert seen(clip, as_it_is).stage is Stage.READY


@each_clip
@pytest.mark.parametrize("deg", [6.0, -6.0])
def test_a_camera_that_leans_is_found_and_to_which_side(seen, clip, deg):
    state = seen(clip, turned(deg))
    assert state.finding.check is Check.ROLL
    assert state.finding.value == pytest.approx(deg, abs=2.0)


@pytest.mark.parametrize(
    ("spoil", "check"),
    [(further, Check.FAR), (lower_edge_cut, Check.FEET), (dark, Check.DARK)],
)
def test_a_spoilt_picture_is_found(seen, spoil, check):
    state = seen(CLIPS[0], spoil)
    assert state.stage is Stage.OFF
    assert state.finding.check is check
