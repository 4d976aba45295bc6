"""The coefficients' file, and what another pose model does to the standard errors."""

import json
from dataclasses import replace

import numpy as np
import pytest

from trainer import model_match
from trainer.adapters.model_bundle import FULL_MODEL
from trainer.core import estimate as est
from trainer.core.rules import Rules
from trainer.errors import TrainerError
from trainer.estimator_file import SHIPPED, load, save, shipped
from trainer.settings import rules_from_values, rules_to_values


def same(one, two):
    assert one.outputs == two.outputs
    assert one.width == two.width
    for name in ("mean", "scale", "centres", "weights", "offset"):
        assert getattr(one, name) == pytest.approx(getattr(two, name), rel=1e-3, abs=1e-6)


def test_what_is_saved_is_what_is_loaded(tmp_path):
    fitted = replace(shipped(), name="again", pose_model="ab12")
    save(fitted, tmp_path / "e.npz", {"people": 7})
    back, about = load(tmp_path / "e.npz")
    assert (back.name, back.pose_model, about["people"]) == ("again", "ab12", 7)
    same(back.points, fitted.points)
    same(back.outline, fitted.outline)
    same(back.trunk, fitted.trunk)
    for one, two in zip(back.network, fitted.network, strict=True):
        np.testing.assert_array_equal(one.weights, two.weights)
        np.testing.assert_array_equal(one.bias, two.bias)
        assert (one.step, one.margin, one.rectified) == (two.step, two.margin, two.rectified)


def test_the_shipped_coefficients_were_fitted_with_the_standard_pose_model():
    assert shipped().pose_model == FULL_MODEL.weights_sha256
    assert shipped().points.outputs == est.OUTPUTS
    assert shipped().outline.outputs == est.OUTLINE_OUTPUTS
    assert shipped().trunk.outputs == est.OUTLINE_OUTPUTS


def turned_round(layer):
    return replace(layer, weights=layer.weights.transpose(1, 0, 2, 3))


@pytest.mark.parametrize(
    ("damaged", "word"),
    [
        (lambda network: (turned_round(network[0]), *network[1:]), "does not fit"),
        (lambda network: network[:-1], "64 numbers"),
        (
            lambda network: (replace(network[0], bias=network[0].bias * np.nan), *network[1:]),
            "no nu",
        ),
        (lambda network: (), "2 numbers in 96 places"),
    ],
)
def test_a_network_that_does_not_fit_together_is_told_in_words(tmp_path, damaged, word):
    fitted = replace(shipped(), network=damaged(shipped().network))
    save(fitted, tmp_path / "e.npz", {})
    with pytest.raises(TrainerError, match=word):
        load(tmp_path / "e.npz")


def test_the_shipped_file_says_how_it_was_made():
    about = load(SHIPPED)[1]
    assert about["people"] >= 500
    assert about["api"].startswith("mediapipe 1.")
    assert set(about["scores_on_held_out"]) == {"points", "outline", "trunk"}


@pytest.mark.parametrize("damage", ["cut", "text", "layout", "missing"])
def test_a_damaged_file_is_told_in_words(tmp_path, damage):
    path = tmp_path / "e.npz"
    save(shipped(), path, {})
    if damage == "cut":
        path.write_bytes(path.read_bytes()[:5000])
    elif damage == "text":
        path.write_text("not an array", encoding="utf-8")
    elif damage == "layout":
        with np.load(path) as data:
            kept = {name: data[name] for name in data.files}
        about = json.loads(str(kept["about"]))
        kept["about"] = np.array(json.dumps(about | {"layout": 1}))
        np.savez(path, **kept)
    else:
        path.unlink()
    with pytest.raises(TrainerError, match=r"Install the program again"):
        load(path)


@pytest.mark.parametrize("part", ["outline", "trunk", "network"])
def test_coefficients_that_lack_a_part_are_not_written(tmp_path, part):
    with pytest.raises(ValueError, match=part):
        save(replace(shipped(), **{part: None}), tmp_path / "e.npz", {})


def test_the_standard_pose_model_leaves_the_rules_alone():
    rules = Rules()
    assert model_match.rules_for(rules, None) is rules


def test_another_pose_model_widens_every_standard_error(monkeypatch, tmp_path):
    monkeypatch.setattr("trainer.adapters.model_file.ensure_model", lambda path: path)
    prints = {"same.task": shipped().pose_model, "other.task": "f00"}
    monkeypatch.setattr(
        "trainer.adapters.model_print.networks_print", lambda path: prints[path.name]
    )
    assert model_match.rules_for(Rules(), tmp_path / "same.task").se_factor == 1.0
    rules = model_match.rules_for(Rules(), tmp_path / "other.task")
    assert rules.se_factor == model_match.OTHER_MODEL_SE_FACTOR
    # And a trace keeps it, so that a replay says the same.
    assert rules_from_values(rules_to_values(rules), "a trace") == rules
