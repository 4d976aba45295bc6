"""The trunk's picture: cut right, told in the same way in any light, and mirrored exactly."""

import cv2
import numpy as np
import pytest
from golfer import SETUP, View, pose_of
from scipy.signal import correlate

from trainer.adapters.trunk_picture import TrunkReader, cut, prepared, trunk_box
from trainer.core.records import Handed
from trainer.core.trunk_network import SIDE_PX
from trainer.errors import PoseError
from trainer.estimator_file import shipped

SIZE_WH = (1280, 720)


@pytest.fixture(scope="module")
def reader():
    return TrunkReader(shipped().network)


def scene(seed=0):
    """Return a picture of noise and blobs, a mask with the body's trunk, and body points."""
    rng = np.random.default_rng(seed)
    points = pose_of(SETUP, View(), 0.0).image_px
    small = rng.integers(0, 255, (18, 32, 3), dtype=np.uint8)
    image = cv2.resize(small, SIZE_WH, interpolation=cv2.INTER_CUBIC)
    mask = np.zeros(SIZE_WH[::-1], dtype=np.float32)
    corners = points[[11, 12, 24, 23]].astype(np.int32)
    cv2.fillConvexPoly(mask, corners, 1.0)
    return image, mask, points


def mirrored(image, mask, points):
    flipped = points.copy()
    flipped[:, 0] = SIZE_WH[0] - points[:, 0]
    swap = [trunk_swap(row) for row in range(33)]
    return image[:, ::-1].copy(), mask[:, ::-1].copy(), flipped[swap]


def trunk_swap(row):
    """Return the row of the same body point of the other side (MediaPipe's numbering)."""
    if row == 0:
        return 0
    if row < 7:
        return row + 3 if row < 4 else row - 3
    if row in (9, 10):
        return 19 - row
    return row + 1 if row % 2 else row - 1


def test_the_box_rides_on_the_hips_and_is_as_large_as_the_body():
    _, _, points = scene()
    left, top, side = trunk_box(points)
    hips = (points[23] + points[24]) / 2
    length = np.linalg.norm((points[11] + points[12] - points[27] - points[28]) / 2)
    assert side == round(0.8 * length)
    assert left + side / 2 == pytest.approx(hips[0], abs=1)
    assert top + side / 2 == pytest.approx(hips[1] - 0.27 * length, abs=1)
    nearer = hips + 2 * (points - hips)
    assert trunk_box(nearer)[2] == pytest.approx(2 * side, abs=1)


def test_a_cut_is_the_mean_of_what_it_covers_and_goes_on_past_the_edge():
    rng = np.random.default_rng(1)
    image = rng.integers(0, 255, (300, 300, 3), dtype=np.uint8)
    whole = cut(image, (20, 30, 192))
    grey = cv2.cvtColor(image[30:222, 20:212], cv2.COLOR_RGB2GRAY).astype(float)
    blocks = grey.reshape(SIDE_PX, 2, SIDE_PX, 2).mean(axis=(1, 3))
    assert np.abs(whole - blocks).max() <= 1  # whole numbers
    past = cut(image, (204, 30, 192))
    assert (past[:, 50:] == past[:, 50:51]).all()
    assert cut(image, (400, 30, 192)) is None
    assert cut(image, (20, 30, 0)) is None


def test_exposure_does_not_change_what_the_network_is_shown():
    rng = np.random.default_rng(2)
    light = rng.integers(100, 200, (SIDE_PX, SIDE_PX)).astype(np.uint8)
    mask = np.zeros((SIDE_PX, SIDE_PX), dtype=np.float32)
    mask[20:80, 30:70] = 0.9
    one, darker = prepared(light, mask), prepared(light // 2, mask)
    assert np.abs(one[0] - darker[0]).mean() < 0.15
    assert set(np.unique(one[1])) == {-1.0, 1.0}


def test_a_mirrored_picture_reads_the_same_for_the_other_hand(reader):
    one = reader.read(*scene())
    other = reader.read(*mirrored(*scene()))
    assert one.shape == (2, 3)
    assert other[1] == pytest.approx(one[0], abs=2.0)  # the box is whole pixels
    assert other[0] == pytest.approx(one[1], abs=2.0)


@pytest.mark.parametrize(("handed", "asked", "left_out"), [("right", 0, 1), ("left", 1, 0)])
def test_for_one_hand_alone_only_its_row_is_read_and_reads_the_same(
    reader, handed, asked, left_out
):
    both = reader.read(*scene())
    one = reader.read(*scene(), Handed(handed))
    np.testing.assert_array_equal(one[asked], both[asked])
    assert np.isnan(one[left_out]).all()


def test_the_same_picture_reads_the_same_again_and_another_otherwise(reader):
    image, mask, points = scene(3)
    one = reader.read(image, mask, points)
    again = reader.read(image, mask, points)
    np.testing.assert_array_equal(one, again)
    assert np.isfinite(one).all()
    assert np.abs(one - reader.read(*scene(4))).max() > 0


def test_a_trunk_outside_the_picture_is_not_read(reader):
    image, mask, points = scene()
    assert reader.read(image, mask, points + 5000.0) is None
    assert reader.read(image, mask, np.zeros((33, 2))) is None


def by_scipy(network, shown):
    """Return what a network says of one small picture (2, S, S), by another library's sums."""
    for layer in network:
        padded = np.pad(shown, ((0, 0), (layer.margin,) * 2, (layer.margin,) * 2))
        whole = [
            sum(correlate(one, part, "valid") for one, part in zip(padded, parts, strict=True))
            for parts in layer.weights.astype(float)
        ]
        shown = np.stack(whole)[:, :: layer.step, :: layer.step] + layer.bias[:, None, None]
        if layer.rectified:
            shown = np.maximum(shown, 0)
    return shown.reshape(-1)


def test_the_network_that_opencv_builds_says_what_scipy_works_out(reader):
    # The definition of a convolution layer, worked out by scipy.signal.correlate.
    rng = np.random.default_rng(6)
    shown = rng.normal(size=(2, 2, SIDE_PX, SIDE_PX)).astype(np.float32)
    reader._network.setInput(shown)
    said = reader._network.forward().reshape(2, -1)
    network = shipped().network
    expected = np.stack([by_scipy(network, one.astype(float)) for one in shown])
    assert said == pytest.approx(expected, abs=1e-3)
    assert np.ptp(expected) > 5


def test_a_network_that_opencv_cannot_build_is_told_in_words(monkeypatch):
    monkeypatch.delattr(cv2.dnn, "readNetFromDarknet")
    with pytest.raises(PoseError, match="Install the program again"):
        TrunkReader(shipped().network)
