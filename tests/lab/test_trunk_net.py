"""The trunk network: shown in training what the program shows it, and able to learn."""

import cv2
import numpy as np
import pytest

from trainer.adapters.trunk_picture import TrunkReader, prepared
from trainer.core.trunk_network import SIDE_PX
from trainer.estimator_file import read_network
from trainer.lab import table, trunk_net
from trainer.lab.__main__ import main
from trainer.lab.films import CHIP_PX

pytestmark = pytest.mark.lab


def chip(turn_deg):
    """Return a trunk that narrows as it turns, light on dark, with its silhouette."""
    grey = np.full((CHIP_PX, CHIP_PX), 60, dtype=np.uint8)
    half = 8 + 22 * np.cos(np.radians(turn_deg))
    middle, mask = CHIP_PX // 2, np.zeros((CHIP_PX, CHIP_PX), dtype=np.uint8)
    corners = (round(middle - half), 20), (round(middle + half), 90)
    cv2.rectangle(mask, *corners, 255, -1)
    grey[mask > 0] = 180
    return np.stack([grey, mask], axis=-1)


def write_film(path, seed, count=24, handed="right"):
    """Write as much of a film as the training reads."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 80, count)
    found = np.ones(count, dtype=bool)
    found[3] = False
    chips, masks = [], []
    for index in range(count):
        one = chip(turn[index])
        one = one[:, ::-1] if handed == "left" else one
        _, packed = cv2.imencode(".jpg", np.ascontiguousarray(one[..., 0]))
        chips.append(packed.tobytes() if found[index] else b"")
        masks.append(np.packbits(one[..., 1] > 0, axis=-1))
    yaw_deg = 10.0
    sign = -1 if handed == "left" else 1
    np.savez(
        path,
        seed=seed,
        handed=handed,
        found=found,
        chips=np.frombuffer(b"".join(chips), dtype=np.uint8),
        chip_ends=np.cumsum([len(one) for one in chips]),
        mask=np.array(masks),
        camera=np.array([60.0, 3.0, 1.0, yaw_deg, 0.0, 0.0]),
        shoulder_turn_deg=turn - sign * yaw_deg,
        hip_turn_deg=turn / 2 - sign * yaw_deg,
        chest_pitch_deg=np.zeros(count),
    )
    return path


def test_what_is_learnt_from_looks_as_what_the_program_shows_but_for_the_shaking():
    chips = np.array([chip(turn) for turn in (0, 40, 80)])
    margin = (CHIP_PX - SIDE_PX) // 2
    plain = chips[:, margin:-margin, margin:-margin]
    shown = trunk_net.normalised(*trunk_net.layers(plain)).numpy()
    for one, cut in zip(shown, plain, strict=True):
        expected = prepared(cut[..., 0], cut[..., 1].astype(np.float32) / 255)
        assert one == pytest.approx(expected, abs=1e-4)


def test_pictures_of_left_handers_are_mirrored_and_nobody_is_left_out(tmp_path):
    right = trunk_net.load([write_film(tmp_path / "film-000001.npz", 1)])
    left = trunk_net.load([write_film(tmp_path / "film-000002.npz", 1, handed="left")])
    assert len(right.row) == 23
    assert 3 not in right.row
    assert np.abs(left.chips.astype(int) - right.chips).max() < 30  # two JPEGs
    assert left.told == pytest.approx(right.told)


def people(tmp_path, count, pictures=24):
    return [
        write_film(tmp_path / f"film-{seed:06d}.npz", seed, pictures)
        for seed in range(10, 10 + count)
    ]


def test_the_network_learns_from_some_people_what_holds_for_others_and_opencv_runs_it(tmp_path):
    plan = trunk_net.Plan(passes=25, folds=2, width=0.25)
    pictures = trunk_net.load(people(tmp_path, 14))
    out, said = trunk_net.out_of_fold(pictures, plan, 1)
    assert 0 < out.sum() < len(out)
    assert np.corrcoef(pictures.told[out, 0], said[:, 0])[0, 1] > 0.9
    network = trunk_net.train(pictures, plan, seed=5)
    shown = trunk_net.normalised(*trunk_net.layers(pictures.chips[:2, 8:-8, 8:-8].copy()))
    run = TrunkReader(trunk_net.export(network))._network
    run.setInput(shown.numpy())
    # OpenCV's own arithmetic against torch's.
    assert run.forward().reshape(2, 3) == pytest.approx(
        trunk_net.read(network, pictures.chips[:2]), abs=0.05
    )


def test_every_film_gets_the_word_of_a_network_that_has_not_seen_it(tmp_path):
    films = people(tmp_path, 10, pictures=16)
    assert main(["trunk", "--films", str(tmp_path), "--passes", "1", "--folds", "2"]) == 0
    for film in films:
        with np.load(table.trunk_path(film)) as said:
            read = said["trunk_deg"]
        assert read.shape == (16, 3)
        assert np.isnan(read[3]).all()  # nobody was found there
        assert np.isfinite(np.delete(read, 3, axis=0)).all()
    with np.load(tmp_path / "network.npz") as arrays:
        assert len(read_network(arrays)) == 8  # of all, which ships
