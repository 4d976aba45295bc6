"""A folder of clips in one go: resumed, summed up, and kept as a player's reps."""

import json
import os

import cv2
import numpy as np
import pytest
from test_measure_many import clip, pretend_model  # noqa: F401 -- fixtures

from trainer.cli import main
from trainer.measure_table import row_before
from trainer.store.file import open_store, store_path
from trainer.store.records import Kind


@pytest.fixture(autouse=True)
def no_settings_of_this_machine(monkeypatch, tmp_path):
    monkeypatch.setattr("trainer.settings.default_path", lambda: tmp_path / "settings.toml")


def kept(player=None):
    with open_store() as store:
        return store.all_reps(player)


def test_the_clips_of_a_folder_are_measured_by_name(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    for name in ("b.mp4", "a.mp4"):
        clip(f"filmed/{name}")
    (tmp_path / "filmed" / "notes.txt").write_text("no clip", encoding="utf-8")
    out = tmp_path / "out"
    assert main(["measure", str(tmp_path / "filmed"), "--out", str(out)]) == 0
    assert sorted(os.listdir(out)) == ["a.csv", "a.json", "b.csv", "b.json"]
    assert len(pretend_model) == 2
    table = capsys.readouterr().out.splitlines()[2:]
    assert [line.split() for line in table] == [
        ["clip", "reps", "good", "turn", "°", "spread", "°"],
        ["a.mp4", "1", "1", table[1].split()[3]],
        ["b.mp4", "1", "1", table[2].split()[3]],
        ["Measured:", "2.", "Passed", "over:", "0."],
    ]
    assert 80 < int(table[1].split()[3]) < 100


def test_a_folder_without_clips_is_said_so(tmp_path, capsys):
    assert main(["measure", str(tmp_path), "--out", str(tmp_path / "out")]) == 1
    assert "holds no clip" in capsys.readouterr().err


def test_a_bad_clip_is_named_passed_over_and_in_the_table(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    clip("filmed/good.mp4")
    (tmp_path / "filmed" / "bad.mp4").write_bytes(b"\0" * 3000)
    assert main(["measure", str(tmp_path / "filmed"), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr()
    assert "bad.mp4                                   passed over\n" in said.out
    assert said.out.endswith("Measured: 1. Passed over: 1.\n")
    assert "bad.mp4" in said.err


def test_what_was_measured_before_is_left_out_when_resumed(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    for name in ("a.mp4", "b.mp4", "c.mp4"):
        clip(f"filmed/{name}")
    words = ["measure", str(tmp_path / "filmed"), "--out", str(tmp_path / "out")]
    main(words)
    (tmp_path / "out" / "b.csv").unlink()  # stopped between its two files
    capsys.readouterr()
    pretend_model.clear()
    assert main([*words, "--resume"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Measured before: 2 of 3 clips.\n")
    assert "b.mp4: 1 rep ->" in said
    assert len(pretend_model) == 1
    # The table is of all of them: those measured before read the same as the one measured now.
    table = said.splitlines()[2:6]
    assert [line.split()[0] for line in table] == ["clip", "a.mp4", "b.mp4", "c.mp4"]
    assert len({tuple(line.split()[1:]) for line in table[1:]}) == 1
    assert said.endswith("Measured: 1. Measured before: 2. Passed over: 0.\n")
    pretend_model.clear()
    assert main([*words, "--resume"]) == 0
    assert main(words) == 0  # without it all are measured anew
    assert len(pretend_model) == 3


def test_the_reps_of_clips_are_kept_as_the_players(clip, tmp_path, pretend_model):  # noqa: F811
    path = clip("a.mp4")
    os.utime(path, (1_780_000_000, 1_780_000_000))
    words = ["measure", str(path), "--out", str(tmp_path / "out"), "--player", "Ann"]
    assert main(words) == 0
    assert not store_path().exists()  # not unless it is asked for
    assert main([*words, "--keep"]) == 0
    (rep,) = kept("ann")
    assert (rep.session.kind, rep.session.source) == (Kind.CLIP, "a.mp4")
    assert rep.session.began.timestamp() == 1_780_000_000  # when the file was written
    assert rep.session.model == "standard"
    assert rep.cues_heard is None
    assert rep.good is True
    with open_store() as store:
        motion = store.motion(rep)
    assert motion.curves.columns["shoulder_turn_deg"].max() > 80.0
    assert motion.top_pose is not None


def test_a_clip_measured_again_takes_the_place_of_itself(clip, tmp_path, pretend_model):  # noqa: F811
    path = clip("a.mp4")
    words = ["--out", str(tmp_path / "out"), "--player", "Ann", "--keep"]
    main(["measure", str(path), *words])
    first = kept()[0].session.uid
    path.rename(tmp_path / "renamed.mp4")
    main(["measure", str(tmp_path / "renamed.mp4"), *words, "--target-deg", "60"])
    (rep,) = kept()
    assert rep.session.uid != first
    assert (rep.session.source, rep.aim.target_deg) == ("renamed.mp4", 60.0)
    main(["measure", str(tmp_path / "renamed.mp4"), *words[:2], "--player", "Bo", "--keep"])
    assert len(kept()) == 2  # another player's is another's


def test_resuming_measures_again_what_was_not_kept(clip, tmp_path, pretend_model):  # noqa: F811
    path = clip("a.mp4")
    words = ["measure", str(path), "--out", str(tmp_path / "out"), "--player", "Ann"]
    main(words)
    main([*words, "--keep", "--resume"])
    assert len(kept()) == 1
    pretend_model.clear()
    main([*words, "--keep", "--resume"])
    assert pretend_model == []


def test_results_that_cannot_be_read_are_said_so_in_the_table(tmp_path):
    result = tmp_path / "a.json"
    for text in ("", "[]", '{"reps": [1]}', '{"reps": [], "spread": 3}'):
        result.write_text(text, encoding="utf-8")
        assert row_before("a.mp4", result).endswith(
            "measured before, and its results cannot be read"
        )


def test_results_of_an_earlier_version_have_no_verdict_in_the_table(tmp_path):
    result = tmp_path / "a.json"
    top = {"shoulder_turn_deg": 84.3}
    rep = {"complete": True, "at_top": top}
    spread = {"reps": 3, "shoulder_turn_sd_deg": 2.14}
    result.write_text(json.dumps({"reps": [rep] * 3, "spread": spread}), encoding="utf-8")
    assert row_before("a.mp4", result).split() == ["a.mp4", "3", "84", "2.1"]


def cut(path):
    """Leave the first half of an MJPG clip, as a copy that was broken off does."""
    whole = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 30.0, (64, 48))
    for _ in range(165):
        whole.write(np.zeros((48, 64, 3), np.uint8))
    whole.release()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def test_a_clip_that_was_cut_short_is_named_and_measured_again_when_resumed(
    tmp_path,
    pretend_model,  # noqa: F811
    capsys,
):
    (tmp_path / "filmed").mkdir()
    cut(tmp_path / "filmed" / "cut.avi")
    words = ["measure", str(tmp_path / "filmed"), "--out", str(tmp_path / "out"), "--resume"]
    for _ in range(2):
        assert main(words) == 0
        said = capsys.readouterr().out
        assert "cut.avi ends after" in said
        assert "What is there was measured." in said
    assert len(pretend_model) == 2
    result = json.loads((tmp_path / "out" / "cut.json").read_text(encoding="utf-8"))
    assert result["cut_short"] is True


def test_clips_without_a_rep_are_named_with_what_to_try(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    for number in range(12):
        clip(f"filmed/{number:02}.mp4", frames=20)
    clip("filmed/whole.mp4")
    main(["measure", str(tmp_path / "filmed"), "--out", str(tmp_path / "out")])
    last = capsys.readouterr().out.splitlines()[-1]
    assert "No whole rep was seen in 00.mp4, 01.mp4," in last
    assert "09.mp4 and 2 more. One right-handed player" in last
    assert "--handed" in last


def test_keeping_without_a_player_is_refused(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    assert main(["measure", str(clip("a.mp4")), "--out", str(tmp_path / "out"), "--keep"]) == 1
    assert "Give --player NAME" in capsys.readouterr().err
    assert pretend_model == []


def test_reps_that_cannot_be_kept_are_said_for_their_clip(clip, tmp_path, pretend_model, capsys):  # noqa: F811
    store_path().write_bytes(b"no database. " * 500)
    words = ["measure", str(clip("a.mp4")), "--out", str(tmp_path / "out"), "--player", "Ann"]
    assert main([*words, "--keep"]) == 1
    assert "DamagedStoreError: " in capsys.readouterr().err
    assert (tmp_path / "out" / "a.json").exists()
