"""What players with tags gave away becomes rows to fit on, and the fit learns from it."""

import io
from functools import lru_cache

import numpy as np
import pytest
from golfer import SETUP, TOP, View, blend, pose_of, with_outline

from trainer.compare_export import LAYOUT, TOLD
from trainer.core import estimate as est
from trainer.core.asked_turn import LINE_PER_CHEST
from trainer.core.records import Handed
from trainer.errors import CompareError
from trainer.estimator_file import shipped
from trainer.lab import fit, pooled

TURN, HIPS = (est.OUTPUTS.index(f"{name}_turn_deg") for name in ("shoulder", "hip"))
HEAD = est.OUTPUTS.index("head_lateral_cm")


@lru_cache
def swing(side):
    view = View(handed=Handed(side))
    bodies = [SETUP] * 12 + [blend(SETUP, TOP, x) for x in np.linspace(0.1, 1, 20)]
    return bodies, [with_outline(pose_of(body, view, i / 30)) for i, body in enumerate(bodies)]


def export(path, *, side="right", reps=2, less=1.0, outline=True, **changed):
    """Write what a stick golfer gave away; the tags tell ``less`` of each chest turn."""
    bodies, once = swing(side)
    poses = once * reps
    count = len(poses)
    turn = np.array([body.turn_deg for body in bodies] * reps)
    told = {name: np.full(count, np.nan, np.float32) for name in TOLD}
    told |= {f"{name}_se": np.full(count, np.nan, np.float32) for name in TOLD}
    told |= {"thorax_deg": less * turn / LINE_PER_CHEST, "thorax_deg_se": np.full(count, 0.5)}
    told |= {"hip_deg": turn / 2, "hip_deg_se": np.full(count, 0.5)}
    ends = np.array([np.column_stack([p.outline.left_px, p.outline.right_px]) for p in poses])
    rows = poses[0].outline.row_px
    data = {
        "layout": LAYOUT,
        "handed": side,
        "stature_cm": 176,
        "size_wh": [1280, 720],
        "rep": np.repeat(np.arange(reps), len(bodies)),
        "still": np.array(([True] * 12 + [False] * 20) * reps),
        "image_px": np.array([p.image_px for p in poses], np.float32),
        "depth_px": np.array([p.depth_px for p in poses], np.float32),
        "world_m": np.array([p.world_m for p in poses], np.float32),
        "row_px": rows if outline else np.empty(0),
        "ends_px": ends.astype(np.float32) if outline else np.empty((count, 0, 2)),
        "trunk_deg": np.full((count, 3), np.nan),
        **told,
        **changed,
    }
    np.savez(path, **{name: np.asarray(v) for name, v in data.items() if v is not None})
    return path


def test_without_exports_nothing_is_pooled(tmp_path):
    assert pooled.load([]) is None
    table = pooled.load([export(tmp_path / "a.npz")])
    assert pooled.joined(table, None) is table


@pytest.mark.parametrize("outline", [True, False])
def test_an_export_becomes_rows_with_what_the_tags_told(tmp_path, outline):
    table = pooled.load([export(tmp_path / "a.npz", outline=outline)])
    assert table.features.shape == (64, est.WITH_TRUNK)
    # What the tags told of the chest, as a shoulder line.
    assert table.targets[31, [TURN, HIPS]] == pytest.approx([90.0, 45.0], abs=1e-3)
    assert set(table.person) == {-1}
    has = ~np.isnan(table.features[31])
    assert has[: est.WITH_POINTS].all()
    assert has[est.WITH_POINTS : est.WITH_OUTLINE].all() == outline
    assert not has[est.WITH_OUTLINE :].any()


def test_what_no_tag_told_is_as_the_estimator_in_force_has_it_or_left_out(tmp_path):
    table = pooled.load([export(tmp_path / "a.npz")])
    said, _ = fit.read(shipped(), table, est.WITH_TRUNK)
    assert table.targets[:, HEAD] == pytest.approx(said[:, HEAD])
    for name in est.AS_IT_IS:
        assert np.isnan(table.targets[:, est.OUTLINE_OUTPUTS.index(name)]).all()


def test_a_reading_less_sure_than_wanted_teaches_nothing(tmp_path):
    unsure = np.full(64, 0.5)
    unsure[31] = 9.0
    table = pooled.load([export(tmp_path / "a.npz", thorax_deg_se=unsure)])
    said, _ = fit.read(shipped(), table, est.WITH_TRUNK)
    assert table.targets[31, TURN] == pytest.approx(said[31, TURN])
    assert table.targets[30, TURN] != pytest.approx(said[30, TURN])


def test_a_left_hander_s_export_gives_the_rows_of_the_mirrored_right_hander(tmp_path):
    right = pooled.load([export(tmp_path / "a.npz")])
    left = pooled.load([export(tmp_path / "b.npz", side="left")])
    assert left.features == pytest.approx(right.features, abs=2e-3, nan_ok=True)


def test_a_fit_with_exports_is_drawn_to_what_their_tags_told(tmp_path):
    """People read right, and exports whose tags say a tenth less: the fit lies between."""
    people = pooled.load([export(tmp_path / f"p{i}.npz") for i in range(6)])
    known = [est.OUTLINE_OUTPUTS.index(name) for name in est.AS_IT_IS]
    people.targets[:, known] = np.random.default_rng(1).normal(size=(len(people.person), 3))
    more = pooled.load([export(tmp_path / f"m{i}.npz", less=0.8) for i in range(6)])
    choice = fit.Choice(ridge=0.01, centres=200, folds=2, steps=0)

    def at_top(table):
        fitted = fit.fit(table, choice, name="x", pose_model="y")
        return fit.read(fitted, people, est.WITH_OUTLINE)[0][31, TURN]

    alone, both = at_top(people), at_top(pooled.joined(people, more))
    assert alone == pytest.approx(90.0, abs=2.0)
    assert both == pytest.approx(81.0, abs=2.0)


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"layout": 9}, "layout 9"),
        ({"handed": "both"}, "neither left nor right"),
        ({"stature_cm": 17}, "no stature"),
        ({"rep": None}, "rep"),
        ({"rep": np.zeros(0, int)}, "0 pictures"),
        ({"still": np.zeros(64)}, "another kind"),
        ({"image_px": np.zeros((64, 33, 3))}, "image_px is of shape"),
        ({"world_m": np.full((64, 33, 3), np.inf)}, "world_m holds"),
        ({"depth_px": np.full((64, 33), np.nan)}, "depth_px holds"),
        ({"thorax_deg": np.full(64, 1e9)}, "thorax_deg holds"),
        ({"hip_deg": np.array(["x"] * 64)}, "hip_deg is of shape"),
        ({"trunk_deg": np.zeros((64, 2))}, "trunk_deg is of shape"),
        ({"size_wh": np.array([1, 2, 3])}, "size_wh is of shape"),
        ({"still": np.zeros(64, bool)}, "an address that can be read"),
        ({"thorax_deg_se": np.full(64, 50.0), "hip_deg_se": np.full(64, 50.0)}, "tell no turn"),
    ],
)
def test_a_damaged_export_gets_a_word_in_three_parts(tmp_path, changed, word):
    path = export(tmp_path / "a.npz", **changed)
    with pytest.raises(CompareError, match=word) as told:
        pooled.load([path])
    assert "was wanted. Leave it out" in str(told.value)


def test_what_is_no_export_at_all_gets_the_same_word(tmp_path):
    path = tmp_path / "a.npz"
    whole = export(tmp_path / "whole.npz").read_bytes()
    pickled = io.BytesIO()
    np.savez(pickled, layout=np.array([{"a": 1}], dtype=object))
    for held in (b"", b"PK\x03\x04", whole[: len(whole) // 2], pickled.getvalue()):
        path.write_bytes(held)
        with pytest.raises(CompareError, match="no whole export"):
            pooled.load([path])
    with pytest.raises(CompareError, match="could not be read"):
        pooled.load([tmp_path / "none.npz"])


def test_an_export_that_would_fill_the_memory_is_refused_unread(tmp_path, monkeypatch):
    path = export(tmp_path / "a.npz")
    monkeypatch.setattr("trainer.lab.pooled._MOST_BYTES", 1000)
    with pytest.raises(CompareError, match="far too large"):
        pooled.load([path])
