"""Worn tags in the live mirror and in files: wiring, words, results, and what is refused."""

import csv
import datetime
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from fakes import FRONT, FakeEstimator, FakeSource, frames_and_poses, good_reps, mirror, outcome
from golfer import View
from tag_swing import Dressed, as_read, in_sight, true_turn

from trainer import lenses
from trainer.cli import main
from trainer.core.lens import from_field_of_view
from trainer.core.practice_rules import TurnOf
from trainer.core.records import CueKind, Measures, Source
from trainer.core.rules import CueRules, Rules
from trainer.core.summary import words_for
from trainer.core.tag_pose import TagsRead
from trainer.errors import LensError, SettingsError, SheetError
from trainer.measure import clip_result, csv_text, run_frames
from trainer.measure_many import measure_clips
from trainer.settings import TagSettings
from trainer.tag_result import tags_result
from trainer.tag_setup import GUESS_DEG, lens_finder, tag_size_mm
from trainer.tag_size import keep_tag_size

DAY = datetime.date(2026, 6, 1)
MISREAD = Dressed()


class FakeSight:
    """Sees every tag of a scripted golfer that faces the camera; keeps what it was asked."""

    def __init__(self, script, *, dressed=MISREAD, words=()):
        self._script, self._dressed, self._words = script, dressed, words
        self._rng = np.random.default_rng(8)
        self.asked, self.closed = [], False

    def begin(self, frame, hints):
        self.asked.append(("begin", frame.index, dict(hints)))

    def take(self, frame, pose):
        self.asked.append(("take", frame.index, {}))
        if pose is None:
            return None
        sheets = self._dressed.sheets(self._script.at(frame.t_s), FRONT, frame.t_s)
        read = tuple(as_read(s, self._rng, 0.5) for s in sheets if in_sight(s))
        return replace(pose, tags=TagsRead(focal_px=914.0, poses=read))

    def notices(self):
        return tuple(self._words)

    def close(self):
        self.closed = True


def misread(script, view=FRONT):
    """Return frames and poses of a golfer whose every turn is misread."""
    frames, known = frames_and_poses(script, view)
    return frames, {
        i: None if p is None else MISREAD.pose(script.at(p.t_s), FRONT, p.t_s)
        for i, p in known.items()
    }


@pytest.fixture(scope="module")
def lived():
    """Two reps in the live mirror with tags: (result, steps, sight, screen)."""
    script = good_reps(2)
    frames, known = misread(script, View(hz=15.0))
    sight, steps = FakeSight(script, words=("The lens is a guess.",)), []
    estimator = FakeEstimator(known, before=lambda frame: sight.asked.append(("pose", 0, {})))
    live, _, screen = mirror(
        FakeSource(frames),
        estimator,
        tags=sight,
        on_step=lambda step, rules: steps.append(step),
    )
    return outcome(live), steps, sight, screen


def test_live_a_rep_is_told_by_tags(lived):
    result, _, sight, _ = lived
    for rep in result.reps:
        assert rep.at_top.sources["hip_turn_deg"] is Source.TAG
    top = result.reps[-1].at_top
    assert top.sources["thorax_turn_deg"] is Source.TAG
    assert top.thorax_turn_deg == pytest.approx(true_turn(90.0), abs=2.5)
    assert sight.closed


def test_live_the_looking_begins_before_the_pose_and_is_asked_after_it(lived):
    _, _, sight, _ = lived
    order = [what for what, _, _ in sight.asked]
    assert order[:6] == ["begin", "pose", "take"] * 2
    hinted = [set(hints) for what, _, hints in sight.asked if what == "begin"]
    assert any({0, 10} <= numbers for numbers in hinted)


def test_live_a_word_about_the_tags_is_on_the_screen(lived):
    assert "The lens is a guess." in lived[3].notices


def test_the_words_of_a_rep_name_both_turns_and_what_they_rest_on(lived):
    rep = lived[0].reps[-1]
    (chest, opened) = [w for w in words_for(rep, Rules()).details if w.startswith("chest ")]
    assert chest.startswith("chest ")
    assert chest.endswith("by tags")
    assert "opened +" in opened
    by_chest = Rules(cues=CueRules(turn_of=TurnOf.CHEST, target_deg=77.0))
    lines = words_for(rep, by_chest).lines
    assert any(line.startswith("shoulder line ") for line in lines)
    assert any(line.startswith("turn about 9") for line in lines)


@pytest.mark.parametrize(("turn_of", "sounds"), [(TurnOf.CHEST, True), (TurnOf.SHOULDERS, False)])
def test_the_tone_is_about_the_turn_that_was_chosen(turn_of, sounds):
    """The chest turns 90; read without tags the shoulder line would say 79."""
    script = good_reps(1)
    frames, known = misread(script)
    cues = CueRules(turn_of=turn_of, target_deg=86.0)
    kinds = []
    for tags in (FakeSight(script), None):
        steps, _ = run_frames(frames, FakeEstimator(known), Rules(cues=replace(cues)), tags=tags)
        kinds.append(CueKind.TURN_REACHED in {cue.kind for s in steps for cue in s.cues})
    assert kinds == ([True, False] if sounds else [kinds[0], False])


def measured(script, sight):
    frames, known = misread(script)
    steps, reps = run_frames(frames, FakeEstimator(known), Rules(), tags=sight)
    values = clip_result(steps, reps, clip="a.mp4", fps=30.0, size_wh=(1280, 720), rules=Rules())
    return values, steps


def test_a_file_s_results_hold_tags_and_body_points_side_by_side():
    script = good_reps(2)
    values, steps = measured(script, FakeSight(script))
    json.dumps(values, allow_nan=False)
    top = [f for f in values["frames"] if f["phase"] == "top"][-1]
    assert top["sources"]["thorax_turn_deg"] == "tag"
    assert top["tags"]["thorax"]["numbers"] == [1]
    assert top["tags"]["head"] is None
    assert top["tags"]["pelvis"]["away_cm"] == pytest.approx(top["hip_drift_cm"], abs=0.5)
    assert top["markerless"]["shoulder_turn_deg"] < top["thorax_turn_deg"] - 5.0
    at_top = values["reps"][-1]["at_top"]
    assert at_top["sources"]["hip_turn_deg"] == "tag"
    assert at_top["chest_extension_deg"] > 20.0
    rows = list(csv.DictReader(io.StringIO(csv_text(values["frames"]))))
    row = [r for r in rows if r["phase"] == "top"][-1]
    assert float(row["tag_thorax_turn_deg"]) == top["tags"]["thorax"]["turn_deg"]
    assert float(row["markerless_hip_drift_cm"]) == top["markerless"]["hip_drift_cm"]
    assert row["thorax_turn_deg_source"] == "tag"
    assert row["tag_head_turn_deg"] == ""
    told = tags_result(TagSettings(worn=True, size_mm=118.4), steps, ["a word", "a word"])
    assert told["size_mm"] == 118.4
    assert told["notices"][0] == "a word"
    assert any("lead side tag is learned" in words for words in told["notices"])
    assert set(told["holds_still_deg"]) == {"0", "1", "10"}
    assert 0.0 < told["holds_still_deg"]["1"] < 2.0


def test_without_tags_a_file_s_results_hold_nothing_of_them():
    script = good_reps(1)
    values, steps = measured(script, None)
    assert not {"tags", "markerless", "sources"} & set(values["frames"][0])
    assert "thorax" not in csv_text(values["frames"])
    assert all(step.measures == replace(step.measures, sources=None) for step in steps)
    assert isinstance(steps[0].measures, Measures)


# --- size and lens ---


def test_the_size_is_the_one_told_else_the_one_kept_else_asked_for():
    with pytest.raises(SheetError, match="--tag-size-mm"):
        tag_size_mm(TagSettings(worn=True))
    keep_tag_size(asked_mm=120.0, ruler_mm=96.0, today=DAY)
    assert tag_size_mm(TagSettings(worn=True)) == pytest.approx(115.2)
    assert tag_size_mm(TagSettings(worn=True, size_mm=118.4)) == 118.4


def kept_lens(camera="camera 0", size_wh=(1280, 720)):
    lens = from_field_of_view(64.0, size_wh)
    lenses.save(
        lenses.LensRecord(
            camera=camera, date=DAY, lens=lens, error_px=0.2, focal_se_px=1.0, views=15
        )
    )
    return lens


def test_a_calibrated_lens_is_used_and_nothing_said():
    lens = kept_lens()
    found, words = lens_finder(TagSettings(), "camera 0")((1280, 720))
    assert words == ""
    assert found.focal_px == pytest.approx(lens.focal_px)
    half, words = lens_finder(TagSettings(lens="camera 0"), "swing.mp4")((640, 360))
    assert words == ""
    assert half.focal_px[0] == pytest.approx(lens.focal_px[0] / 2)


def test_a_lens_kept_for_another_shape_of_picture_is_not_used_and_that_is_said():
    kept_lens()
    found, words = lens_finder(TagSettings(), "camera 0")((640, 480))
    assert "1280 by 720" in words
    assert "640 by 480" in words
    assert found.focal_px[0] == pytest.approx(320 / np.tan(np.radians(GUESS_DEG / 2)))


def test_a_camera_never_calibrated_is_said_unless_its_angle_of_view_is_told():
    _, words = lens_finder(TagSettings(), "camera 7")((1280, 720))
    assert "not calibrated" in words
    found, words = lens_finder(TagSettings(field_of_view_deg=78.0), "camera 7")((1280, 720))
    assert words == ""
    assert found.focal_px[0] == pytest.approx(640 / np.tan(np.radians(39.0)))


def test_the_name_of_no_calibrated_camera_is_refused_with_those_there_are():
    kept_lens("the bay")
    with pytest.raises(LensError, match="the bay"):
        lens_finder(TagSettings(lens="the range"), "camera 0")


# --- options ---


def test_the_options_reach_the_measuring_of_clips(monkeypatch, tmp_path):
    asked = {}

    def measure(clips, out, rules, **more):
        asked.update(more, rules=rules)
        return []

    monkeypatch.setattr("trainer.measure_many.measure_clips", measure)
    words = ["measure", "a.mp4", "--out", str(tmp_path), "--tags", "--tag-size-mm", "118.4"]
    words += ["--field-of-view-deg", "78", "--lens", "the bay", "--turn-of", "chest"]
    words += ["--camera-tilt-deg", "6.5"]
    assert main(words) == 0
    assert asked["tags"] == TagSettings(
        worn=True, size_mm=118.4, lens="the bay", field_of_view_deg=78.0, tilt_deg=6.5
    )
    assert asked["rules"].cues.turn_of is TurnOf.CHEST


@pytest.mark.parametrize(
    ("option", "value", "hint"),
    [
        ("--tag-size-mm", "12", "millimetres"),
        ("--field-of-view-deg", "5", "20 to 150"),
        ("--camera-tilt-deg", "60", "-45 to 45"),
    ],
)
def test_a_size_or_angle_that_cannot_be_is_refused(option, value, hint, tmp_path, capsys):
    code = main(["measure", "a.mp4", "--out", str(tmp_path), "--tags", option, value])
    assert code == 1
    assert hint in capsys.readouterr().err


def test_the_chest_s_turn_without_tags_is_refused(tmp_path):
    rules = Rules(cues=CueRules(turn_of=TurnOf.CHEST))
    with pytest.raises(SettingsError, match="--tags"):
        measure_clips([], tmp_path, rules, model=None, jobs=1, say=print)


def test_clips_are_not_begun_while_the_tags_size_is_not_known(tmp_path):
    with pytest.raises(SheetError, match="size"):
        measure_clips(
            [],
            tmp_path / "out",
            Rules(),
            model=None,
            jobs=1,
            say=print,
            tags=TagSettings(worn=True),
        )
    assert not (tmp_path / "out").exists()
