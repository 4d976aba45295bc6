"""Tag against camera on made-up sessions whose bias and spread are known, and what is kept."""

import csv
import datetime
import io
import json
from dataclasses import replace

import numpy as np
import pytest

from trainer.cli import main
from trainer.compare import run_compare
from trainer.compare_page import COLUMNS
from trainer.compare_read import pairs_of, read
from trainer.core.asked_turn import LINE_PER_CHEST, LINE_PER_CHEST_SE
from trainer.core.rules import OwnErrors, Rules
from trainer.core.tag_compare import PRIOR_REPS, Pairs, factor, score
from trainer.errors import CompareError
from trainer.estimator_file import shipped_print
from trainer.keeping import open_keeper
from trainer.player_compared import in_force, with_compared
from trainer.players import load
from trainer.settings import Settings, rules_from_values, rules_to_values

DAY = datetime.date(2026, 6, 1)
SE = {"shoulder_turn": 7.0, "hip_turn": 5.0, "chest_pitch": 5.0, "hip_drift": 2.0}
TAG_SE = 0.5


def made_up(path, *, reps=8, bias=-6.0, rep_sd=1.0, sd=1.5, tagged=None, sign=1, seed=4, **more):
    """Write results of a session as ``trainer measure --tags`` would; return the line's errors.

    The errors of the shoulder line come as a list, one array a rep. ``tagged``: how many reps
    have tags (default all).
    """
    rng = np.random.default_rng(seed)
    frames, made, errors = [], [], []
    for number in range(reps):
        away_s = 10.0 * number + 2.0
        worn = number < (reps if tagged is None else tagged)
        off = bias + rng.normal(0, rep_sd)
        turns = np.linspace(12.0, 104.0, 24 + number)
        wrong = off + rng.normal(0, sd, len(turns))
        errors.append(np.round(wrong, 2))
        for index in range(15):
            frames.append(frame(away_s - 0.5 + index / 30.0, "setup", 0.0, 0.0, worn))
        for index, (turn, error) in enumerate(zip(turns, errors[-1], strict=True)):
            t_s = away_s + 0.05 + index / 30.0
            frames.append(frame(t_s, "backswing", float(turn), float(error), worn))
        made.append({"complete": True, "takeaway_t_s": away_s, "top_end_t_s": away_s + 2.0})
    values = {
        "schema": 1,
        "estimator": shipped_print(),
        "pose_model_fitted": True,
        "size_wh": [1280, 720],
        "frames": frames,
        "reps": made,
        **more,
    }
    path.write_text(json.dumps(values), encoding="utf-8")
    return errors


def frame(t_s, phase, line_deg, error, worn):
    """A picture in which the shoulder line is misread by ``error``, the hips by half of it."""
    points = {f"{n}_{'cm' if n.endswith('drift') else 'deg'}": 0.0 for n in SE}
    for name, se in SE.items():
        points[f"{name}_se_{'cm' if name.endswith('drift') else 'deg'}"] = se
    points |= {"shoulder_turn_deg": line_deg + error, "hip_turn_deg": line_deg / 2 + error / 2}
    for way in ("lateral", "vertical"):
        points |= {f"head_drift_{way}_cm": 0.3, f"head_drift_{way}_se_cm": 1.0}
    points |= {"chest_pitch_deg": -30.0 + line_deg / 4 + error, "hip_drift_cm": 1.0}

    def part(turn, **more):
        rest = dict.fromkeys(("away_cm", "up_cm", "pitch_change_deg"), 0.0)
        sure = {"turn_se_deg": TAG_SE, "away_se_cm": 0.1, "up_se_cm": 0.1}
        return {"numbers": [0], "turn_deg": turn, **sure, **rest, **more}

    chest = {"extension_deg": line_deg / 4, "extension_se_deg": TAG_SE}
    told = ("shoulder_turn_deg", "hip_turn_deg", "chest_extension_deg", "hip_drift_cm")
    return {
        "t_s": round(t_s, 6),
        "phase": phase,
        "markerless": points,
        "sources": dict.fromkeys(told, "tag" if worn else "pose"),
        "tags": {
            "thorax": part(line_deg / LINE_PER_CHEST, **chest) if worn else None,
            "pelvis": part(line_deg / 2) if worn else None,
            "head": None,
        },
    }


def compared(paths, out, **given):
    said = []
    rest = {"camera": None, "export": None, "keeper": None, "today": DAY, **given}
    return run_compare(paths, out, say=said.append, **rest), said


def in_band(errors, low, high):
    """The errors of the line in a band of its true turn, as the session was made up."""
    return [
        error[(turns >= low) & (turns < high)]
        for error in errors
        for turns in [np.linspace(12.0, 104.0, len(error))]
    ]


@pytest.mark.parametrize("band", [(15, 117), (15, 60), (60, 80), (80, 100), (100, 117)])
def test_bias_spread_and_shares_are_those_the_session_was_made_up_with(tmp_path, band):
    errors = made_up(tmp_path / "a.json")
    done, _ = compared([tmp_path / "a.json"], tmp_path)
    (got,) = [one for one in done.scores["shoulder_turn"] if (one.low_deg, one.high_deg) == band]
    parts = [part for part in in_band(errors, *band) if len(part)]
    # By weights, each rep one in all, and moments: another way to the same sums.
    every = np.concatenate(parts)
    weight = np.concatenate([np.full(len(p), 1.0 / (len(parts) * len(p))) for p in parts])
    bias = np.average(every, weights=weight)
    second = np.average(every**2, weights=weight)
    means = np.array([np.sum(p) / p.size for p in parts])
    scatter2 = (np.sum(means**2) - len(means) * bias**2) / (len(means) - 1)
    spread2 = second - np.mean(means**2) + scatter2
    assert (got.reps, got.poses) == (len(parts), len(every))
    assert got.bias == pytest.approx(bias, abs=0.01)
    assert got.spread == pytest.approx(np.sqrt(spread2), abs=0.01)
    assert got.mean_error == pytest.approx(np.average(abs(every), weights=weight), abs=0.01)
    assert got.inside == pytest.approx(np.average(abs(every) < 7.0, weights=weight), abs=1e-9)
    assert got.told_se == pytest.approx(7.0)
    # The bias is no surer than the shoulder line is by the chest, however many pictures there are.
    assert got.bias_se > LINE_PER_CHEST_SE / LINE_PER_CHEST * band[0]


def test_the_made_up_bias_is_found_and_a_rep_counts_once(tmp_path):
    made_up(tmp_path / "a.json", reps=30, bias=-6.0, rep_sd=0.5)
    done, _ = compared([tmp_path / "a.json"], tmp_path)
    assert done.scores["shoulder_turn"][0].bias == pytest.approx(-6.0, abs=0.3)
    assert done.scores["hip_turn"][0].bias == pytest.approx(-3.0, abs=0.2)
    assert done.scores["chest_pitch"][0].bias == pytest.approx(-6.0, abs=0.3)
    assert done.scores["hip_lateral"][0].bias == pytest.approx(1.0, abs=0.01)


def test_reached_is_counted_where_the_turn_is_more_than_five_degrees_away(tmp_path):
    errors = made_up(tmp_path / "a.json", bias=-9.0)
    done, _ = compared([tmp_path / "a.json"], tmp_path)
    for one in done.decisions:
        right = wrong = 0
        for error in errors:
            for turn, off in zip(np.linspace(12.0, 104.0, len(error)), error, strict=True):
                if turn < 15.0 or abs(turn - one.target_deg) <= 5.0:
                    continue
                is_right = bool((turn + off < one.target_deg) == (turn < one.target_deg))
                right, wrong = right + is_right, wrong + (not is_right)
        assert wrong > 0
        assert (one.poses, one.right) == (right + wrong, pytest.approx(right / (right + wrong)))
    assert [one.target_deg for one in done.decisions] == [70.0, 80.0, 90.0]


def one_a_rep(errors, se=1.0, tag_se=0.0):
    count = len(errors)
    zero = np.zeros(count)
    return Pairs(
        rep=np.arange(count),
        angle_deg=zero + 50.0,
        points=np.array(errors),
        se=zero + se,
        tag=zero,
        tag_se=zero + tag_se,
    )


@pytest.mark.parametrize("errors", [[0.3, -0.2, 0.5, 0.1, -0.4], [2.0, -1.5, 2.5, 3.0, 1.0, 2.2]])
def test_the_factor_is_the_posterior_of_a_variance_worked_out_on_a_grid(errors):
    """Scaled inverse chi-squared prior times normal likelihood, on a grid; its mode is known.

    Gelman and others 2013, Bayesian Data Analysis, 3rd edition, appendix A (from memory): the
    mode of a scaled inverse chi-squared is v s^2 / (v + 2).
    """
    variance = np.linspace(0.02, 12.0, 2_000_000)
    log_prior = -(PRIOR_REPS / 2 + 1) * np.log(variance) - PRIOR_REPS / (2 * variance)
    log_likely = sum(-0.5 * np.log(variance) - e**2 / (2 * variance) for e in errors)
    mode = variance[np.argmax(log_prior + log_likely)]
    freedom = PRIOR_REPS + len(errors)
    assert factor(one_a_rep(errors)) ** 2 == pytest.approx(mode * (freedom + 2) / freedom, rel=1e-4)


def test_few_reps_change_little_and_many_much():
    small, large = (factor(one_a_rep([0.5] * count)) for count in (5, 60))
    assert small == pytest.approx(np.sqrt((8 + 5 / 4) / 13))
    assert large == pytest.approx(np.sqrt((8 + 60 / 4) / 68))
    assert 1.0 > small > 0.84 > 0.6 > large
    assert factor(one_a_rep([2.0] * 60)) > 1.8


def test_errors_do_not_grow_by_what_the_tags_own_errors_explain():
    assert factor(one_a_rep([1.5] * 20, tag_se=2.0)) == 1.0
    assert factor(one_a_rep([3.0] * 20, tag_se=2.0)) == pytest.approx(np.sqrt((8 + 20 * 5) / 28))
    # Nor do they shrink faster for them.
    assert factor(one_a_rep([0.5] * 20, tag_se=2.0)) == factor(one_a_rep([0.5] * 20))


def test_one_rep_shows_no_scatter_and_gives_no_score():
    assert score(one_a_rep([1.0]), 0.0, 90.0, line=False) is None


# --- CSV and page ---


def test_the_csv_is_read_back_to_the_very_figures(tmp_path):
    made_up(tmp_path / "a.json")
    done, _ = compared([tmp_path / "a.json"], tmp_path / "out")
    raw = (tmp_path / "out" / "compare.csv").read_bytes().decode("utf-8")
    # RFC 4180, section 2: records end with CR LF, each with as many fields as the header.
    assert raw.endswith("\r\n")
    assert raw.count("\n") == raw.count("\r\n")
    rows = list(csv.reader(io.StringIO(raw, newline=""), strict=True))
    assert rows[0] == list(COLUMNS)
    assert {len(row) for row in rows} == {len(COLUMNS)}
    table = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    told = [row for row in table if row["what"] == "error"]
    flat = [(stem, one) for stem, scores in done.scores.items() for one in scores]
    assert len(told) == len(flat)
    for row, (stem, one) in zip(told, flat, strict=True):
        assert row["measure"] == stem
        assert float(row["bias"]) == round(one.bias, 3)
        assert float(row["spread"]) == round(one.spread, 3)
        assert int(row["poses"]) == one.poses
        assert row["right_share"] == row["target_deg"] == ""
    decided = [row for row in table if row["what"] == "decision"]
    assert [float(row["right_share"]) for row in decided] == [
        round(one.right, 4) for one in done.decisions
    ]


def test_the_page_says_what_was_not_judged_and_a_name_cannot_break_it(tmp_path):
    made_up(tmp_path / "a.json")
    compared([tmp_path / "a.json"], tmp_path, camera="a | <b> *camera*\n# x")
    page = (tmp_path / "compare.md").read_text(encoding="utf-8")
    assert "head drift, sideways: not judged. 0 reps" in page
    assert "5 or more are wanted" in page
    assert "a \\| \\<b\\> \\*camera\\* \\# x" in page
    assert "| shoulder turn | 8 |" in page


# --- too little, damaged, of two kinds ---


def test_tags_in_too_few_reps_are_refused_and_the_number_wanted_is_told(tmp_path):
    made_up(tmp_path / "a.json", tagged=4)
    with pytest.raises(CompareError, match=r"8 complete reps, 4 of them.*5 or more were wanted"):
        compared([tmp_path / "a.json"], tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_reps_without_tags_do_not_count_beside_those_with(tmp_path):
    made_up(tmp_path / "a.json", tagged=5)
    done, _ = compared([tmp_path / "a.json"], tmp_path)
    assert done.reps == 8
    assert done.enough["shoulder_turn"] == 5


def test_results_without_any_tags_are_refused(tmp_path):
    made_up(tmp_path / "a.json")
    values = json.loads((tmp_path / "a.json").read_text())
    for one in values["frames"]:
        for name in ("markerless", "tags", "sources"):
            del one[name]
    (tmp_path / "a.json").write_text(json.dumps(values))
    with pytest.raises(CompareError, match="0 of them"):
        compared([tmp_path / "a.json"], tmp_path)


def test_several_files_count_together(tmp_path):
    made_up(tmp_path / "a.json", reps=3)
    made_up(tmp_path / "b.json", reps=3, seed=5)
    done, _ = compared([tmp_path / "a.json", tmp_path / "b.json"], tmp_path)
    assert done.enough["hip_turn"] == 6


def damaged(values, where, new):
    *way, last = where
    for step in way:
        values = values[step]
    values[last] = new


@pytest.mark.parametrize(
    ("where", "new"),
    [
        (("estimator",), "0" * 16),
        (("schema",), 9),
        (("frames",), 5),
        (("frames", 0), [1]),
        (("frames", 0, "t_s"), float("nan")),
        (("frames", 0, "markerless"), None),
        (("frames", 3, "markerless", "hip_turn_deg"), "90"),
        (("frames", 3, "markerless", "shoulder_turn_deg"), float("inf")),
        (("frames", 3, "markerless", "shoulder_turn_deg"), 1e200),
        (("frames", 3, "markerless", "shoulder_turn_deg"), 10**400),
        (("frames", 3, "tags", "thorax", "turn_deg"), None),
        (("frames", 3, "tags", "thorax"), [1]),
        (("frames", 3, "tags"), {}),
        (("frames", 3, "sources"), 7),
        (("frames", 3, "sources"), {"hip_turn_deg": []}),
        (("frames", 3, "phase"), None),
        (("reps",), None),
        (("reps", 0, "complete"), "yes"),
        (("reps", 0, "takeaway_t_s"), None),
        (("size_wh",), [0, 720]),
        (("size_wh",), [1280]),
        (("pose_model_fitted",), None),
    ],
)
def test_damaged_results_get_a_word_in_three_parts(tmp_path, where, new):
    path = tmp_path / "a.json"
    made_up(path, reps=2)
    values = json.loads(path.read_text())
    damaged(values, where, new)
    path.write_text(json.dumps(values))
    with pytest.raises(CompareError, match=r"cannot be compared: .*was wanted\. Check the name"):
        read(path)


@pytest.mark.parametrize("text", ["", "{", "[" * 100_000, "[1]", "\x00\xff", '{"schema": 1}'])
def test_what_is_no_session_at_all_gets_the_same_word(tmp_path, text):
    path = tmp_path / "a.json"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(CompareError, match="cannot be compared"):
        read(path)
    with pytest.raises(CompareError, match="could not be read"):
        read(tmp_path / "none.json")


# --- kept ---


def kept(tmp_path, **given):
    made_up(tmp_path / "a.json", **given)
    _, keeper = open_keeper("Ann", Settings(), folder=tmp_path / "players")
    done, said = compared([tmp_path / "a.json"], tmp_path, camera="camera 0", keeper=keeper)
    return done, said, load("Ann", tmp_path / "players")[0]


def test_the_result_is_kept_with_the_player_and_read_back(tmp_path):
    done, said, record = kept(tmp_path)
    (one,) = record.compared
    assert (one.date, one.camera, one.estimator, one.reps) == (DAY, "camera 0", shipped_print(), 8)
    assert one.own.shoulder_turn_factor == round(done.factors["shoulder_turn"], 2)
    assert one.own.hip_turn_floor == pytest.approx(TAG_SE)
    assert one.biases["shoulder_turn"] == pytest.approx(-6.0, abs=1.0)
    assert "head_lateral" not in one.biases
    assert any("Kept for Ann" in line for line in said)


def test_a_second_comparison_stands_beside_the_first_and_the_newest_counts(tmp_path):
    kept(tmp_path)
    *_, record = kept(tmp_path, bias=-14.0)
    assert len(record.compared) == 2
    own, words = in_force(record.compared, "camera 0")
    assert own == record.compared[-1].own
    assert own.shoulder_turn_factor > 1.0
    assert "8 reps with tags on 2026-06-01" in words
    assert "No bias is taken off" in words


def test_what_was_compared_holds_for_its_camera_fit_and_pose_model_only(tmp_path):
    *_, record = kept(tmp_path)
    said = []
    rules = with_compared(Rules(), record.compared, "camera 0", said.append)
    assert rules.own_errors == record.compared[0].own
    assert len(said) == 1
    assert with_compared(Rules(), record.compared, "camera 1", said.append).own_errors is None
    assert len(said) == 1
    older = (replace(record.compared[0], estimator="f" * 16),)
    assert with_compared(Rules(), older, "camera 0", said.append).own_errors is None
    assert "another version" in said[-1]
    other = Rules(se_factor=1.5)
    assert with_compared(other, record.compared, "camera 0", said.append).own_errors is None
    assert "not with this pose model" in said[-1]


@pytest.mark.parametrize(
    ("more", "camera", "why"),
    [
        ({}, None, "Name it with --camera"),
        ({"pose_model_fitted": False}, "camera 0", "another pose model"),
        ({"bias": -150.0}, "camera 0", "tags sit tight"),
    ],
)
def test_what_cannot_be_kept_is_shown_all_the_same_and_why_is_said(tmp_path, more, camera, why):
    made_up(tmp_path / "a.json", **more)
    _, keeper = open_keeper("Ann", Settings(), folder=tmp_path / "players")
    done, said = compared([tmp_path / "a.json"], tmp_path, camera=camera, keeper=keeper)
    assert done.kept is None
    assert why in " ".join(said)
    assert load("Ann", tmp_path / "players")[0].compared == ()
    assert "not kept" in (tmp_path / "compare.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("camera = ''", "camera is ''"),
        ("reps = 2.5", "reps is 2.5"),
        ("hip_turn_factor = -1", "hip_turn_factor is -1"),
        ("hip_turn_bias = 'x'", "hip_turn_bias is 'x'"),
        ("shoe = 1", "unknown key 'shoe'"),
        ("date = 'today'", "date is 'today'"),
        ("width_px = nan", "width_px is nan"),
    ],
)
def test_a_damaged_comparison_in_a_record_is_told(tmp_path, line, word):
    name = line.split()[0]
    good = {"date": "2026-06-01", "camera": "'c'", "estimator": "'e'", "reps": "6"}
    good |= {"width_px": "1280", "height_px": "720"}
    lines = [f"{key} = {value}" for key, value in good.items() if key != name]
    path = tmp_path / "player-ann.toml"
    path.write_text("schema = 2\n[[compared]]\n" + "\n".join([*lines, line]), encoding="utf-8")
    _, words = load("Ann", tmp_path)
    assert word in words
    assert path.with_name("player-ann.toml.damaged").exists()


def test_rules_with_own_errors_come_back_from_a_trace_s_header():
    own = OwnErrors(width_px=1280.0, height_px=720.0, hip_turn_factor=0.8, hip_turn_floor=1.0)
    rules = Rules(own_errors=own)
    assert rules_from_values(json.loads(json.dumps(rules_to_values(rules))), "x") == rules


def test_the_command_compares_and_ends_with_one_on_a_bad_file(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "kept"))
    path = tmp_path / "a.json"
    made_up(path)
    words = ["compare", str(path), "--out", str(tmp_path), "--camera", "camera 0"]
    assert main([*words, "--player", "Ann"]) == 0
    assert "Kept for Ann" in capsys.readouterr().out
    assert not list(tmp_path.glob("*.npz"))  # nobody agreed to an export
    path.write_text("{")
    assert main(words) == 1
    assert "CompareError" in capsys.readouterr().err


def test_results_alone_cannot_be_exported_and_nothing_is_written(tmp_path):
    made_up(tmp_path / "a.json")
    with pytest.raises(CompareError, match="hold no body points"):
        compared([tmp_path / "a.json"], tmp_path / "out", export=tmp_path / "x.npz")
    assert not (tmp_path / "x.npz").exists()
    assert not (tmp_path / "out").exists()


def test_a_tag_that_was_contradicted_is_no_truth(tmp_path):
    made_up(tmp_path / "a.json")
    values = json.loads((tmp_path / "a.json").read_text())
    for one in values["frames"]:
        one["sources"]["shoulder_turn_deg"] = "bridged"
    (tmp_path / "a.json").write_text(json.dumps(values))
    pairs, some, _ = pairs_of([read(tmp_path / "a.json")])
    assert len(pairs["shoulder_turn"].rep) == 0
    assert some["shoulder_turn"] == 0
    assert len(pairs["hip_turn"].rep) > 0
