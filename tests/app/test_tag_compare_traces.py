"""Traces of worn tags compared, and what of them may be given away."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, TOP, Script
from tag_traces import worn_trace
from test_tag_compare import DAY, compared

from trainer.compare_export import LAYOUT, TOLD
from trainer.compare_read import read
from trainer.core.records import Handed, Phase
from trainer.core.rules import OwnErrors, Rules
from trainer.errors import CompareError, TraceError
from trainer.keeping import open_keeper
from trainer.players import load
from trainer.replay import replay
from trainer.settings import Settings

STATURE = Rules(stature_cm=175.6)


@pytest.fixture(scope="module", autouse=True)
def plain_reading():
    """Keep the estimator, for it tells the errors; what it makes of a stick figure is no matter."""


def quick_reps(count):
    script = Script().hold(1.3)
    for _ in range(count):
        script.move(TOP, 0.9).hold(0.3).move(SETUP, 0.4).hold(1.5)
    return script


@pytest.fixture(scope="module")
def traces(tmp_path_factory):
    """The same seven reps right- and left-handed."""
    folder = tmp_path_factory.mktemp("traces")
    return {
        handed: worn_trace(folder / f"{handed.value}.trace", quick_reps(7), handed=handed)
        for handed in Handed
    }


def test_a_trace_is_scored_and_names_its_camera_and_scale(traces, tmp_path):
    done, said = compared([traces[Handed.RIGHT]], tmp_path)
    assert done.camera == "pretend camera"
    assert done.reps == 7
    # Against the script, which no tag told: by picture, not by rep, so not to the last digit.
    script, off = quick_reps(7), []
    for step in read(traces[Handed.RIGHT]).steps:
        body = script.at(step.t_s)
        if step.phase in (Phase.BACKSWING, Phase.TOP) and body.turn_deg > 13.0:
            off.append(step.markerless.hip_turn_deg - body.hip_turn_deg)
    assert done.scores["hip_turn"][0].bias == pytest.approx(np.mean(off), abs=1.0)
    assert done.kept.own.cm_per_px == pytest.approx(0.315, abs=0.02)
    assert done.kept.own.width_px == 1280.0
    assert not any("Kept" in line for line in said)  # no record was given


def test_a_left_hander_is_scored_as_the_mirrored_right_hander(traces, tmp_path):
    right, left = (compared([traces[handed]], tmp_path)[0] for handed in Handed)
    assert set(right.scores) == set(left.scores)
    for stem, scores in right.scores.items():
        # The tags' noise is another, so the same to within it.
        assert left.scores[stem][0].bias == pytest.approx(scores[0].bias, abs=0.6)
        assert left.factors[stem] == pytest.approx(right.factors[stem], abs=0.05)


def test_what_was_compared_before_does_not_count_twice(traces, tmp_path):
    """A trace recorded with the player's own errors is compared by those of people in general."""
    before, _ = compared([traces[Handed.RIGHT]], tmp_path)
    own = replace(before.kept.own, hip_turn_factor=3.0)
    again = worn_trace(tmp_path / "b.trace", quick_reps(7), rules=replace(STATURE, own_errors=own))
    assert compared([again], tmp_path)[0].factors == before.factors
    alone = []
    result = replay(again, lambda step, rules: alone.append(step.markerless))
    assert result.first_difference_s is None  # the trace itself plays to the same bits
    for own_now, step in zip(alone, read(again).steps, strict=True):
        usual = step.markerless.hip_turn_se_deg
        assert own_now.hip_turn_se_deg == (None if usual is None else pytest.approx(3.0 * usual))


def test_a_trace_without_tags_is_refused(tmp_path):
    path = worn_trace(tmp_path / "a.trace", quick_reps(1), tags=False)
    with pytest.raises(CompareError, match=r"1 complete rep, 0 of them"):
        compared([path], tmp_path)


def test_tags_that_come_off_in_mid_trace_count_until_then(traces, tmp_path):
    path = worn_trace(tmp_path / "a.trace", quick_reps(3), until_s=4.4 + 0.2)
    with pytest.raises(CompareError, match=r"3 complete reps, 1 of them"):
        compared([path], tmp_path)
    done, _ = compared([traces[Handed.RIGHT], path], tmp_path)
    assert (done.reps, done.enough["hip_turn"]) == (10, 8)


def test_two_cameras_are_refused(traces, tmp_path):
    with pytest.raises(CompareError, match="2 cameras: camera 9, pretend camera"):
        compared([traces[Handed.RIGHT]], tmp_path, camera="camera 9")


def test_a_trace_that_was_cut_off_is_used_as_far_as_it_goes_and_that_is_said(traces, tmp_path):
    text = traces[Handed.RIGHT].read_text()
    path = tmp_path / "cut.trace"
    path.write_text(text[: int(len(text) * 0.95)])
    done, said = compared([path], tmp_path)
    assert 5 <= done.reps < 8
    assert "cut.trace is not whole" in said[0]
    path.write_text('{"pose_trace":')
    with pytest.raises(TraceError, match="cannot be played"):
        compared([path], tmp_path)


def test_without_consent_nothing_leaves_and_with_it_only_what_is_told(traces, tmp_path):
    _, keeper = open_keeper("Annabel", Settings(), folder=tmp_path / "kept")
    trace = [traces[Handed.LEFT]]
    _, said = compared(trace, tmp_path / "a", keeper=keeper)
    assert {path.name for path in (tmp_path / "a").iterdir()} == {"compare.md", "compare.csv"}
    assert not any("body points" in line for line in said)
    assert load("Annabel", tmp_path / "kept")[0].compared[0].date == DAY

    _, said = compared(trace, tmp_path / "b", export=tmp_path / "x.npz", keeper=keeper)
    assert "Not in it: pictures, names, days, cameras." in said[0]
    with np.load(tmp_path / "x.npz", allow_pickle=False) as data:
        held = {name: data[name] for name in data.files}
    assert set(held) == {
        *("layout", "handed", "stature_cm", "size_wh", "rep", "still", "image_px", "depth_px"),
        *("world_m", "row_px", "ends_px", "trunk_deg", *TOLD, *(f"{name}_se" for name in TOLD)),
    }
    words = [value for value in held.values() if value.dtype.kind in "US"]
    assert [str(value) for value in words] == ["left"]
    assert (int(held["layout"]), int(held["stature_cm"])) == (LAYOUT, 176)
    assert held["image_px"].shape[1:] == (33, 2)
    assert len(np.unique(held["rep"])) == 7
    swing = ~held["still"]
    assert np.nanmax(held["thorax_deg"][swing]) > 80.0
    assert np.isnan(held["head_up_cm"]).all()  # no cap was worn
    assert np.isfinite(held["ends_px"]).any()
    assert np.isnan(held["trunk_deg"]).all()  # nobody looked at a picture


def test_an_export_is_never_written_over_and_needs_a_stature(traces, tmp_path):
    there = tmp_path / "x.npz"
    there.write_bytes(b"mine")
    with pytest.raises(CompareError, match="is there already"):
        compared([traces[Handed.RIGHT]], tmp_path, export=there)
    assert there.read_bytes() == b"mine"
    with pytest.raises(CompareError, match="cannot be written"):
        compared([traces[Handed.RIGHT]], tmp_path, export=tmp_path / "none" / "x.npz")
    with pytest.raises(CompareError, match="differ in the player's hand"):
        compared(list(traces.values()), tmp_path, export=tmp_path / "y.npz")


def test_own_errors_are_told_by_the_mirror_while_the_set_up_is_the_same(tmp_path):
    def told(own):
        path = tmp_path / f"{own is None}-{own and own.width_px}.trace"
        worn_trace(path, quick_reps(1), tags=False, rules=replace(STATURE, own_errors=own))
        found = []
        replay(path, lambda step, rules: found.append(step.measures.head_lateral_se_cm))
        return [se for se in found if se is not None]

    own = OwnErrors(width_px=1280.0, height_px=720.0, head_lateral_factor=2.0)
    assert told(own) == pytest.approx([2.0 * se for se in told(None)])
    assert told(replace(own, width_px=640.0)) == told(None)


@pytest.mark.parametrize(("factor", "is_own"), [(0.8, True), (1.0, False)])
def test_the_mirror_says_that_the_turns_error_is_the_players_own(tmp_path, factor, is_own):
    own = OwnErrors(width_px=1280.0, height_px=720.0, shoulder_turn_factor=factor)
    path = tmp_path / "own.trace"
    worn_trace(path, quick_reps(1), tags=False, rules=replace(STATURE, own_errors=own))
    said = set()
    replay(
        path,
        lambda step, rules: said.add(
            (step.measures.shoulder_turn_se_deg is not None, step.own_turn_error)
        ),
    )
    assert said == {(False, False), (True, is_own)}
