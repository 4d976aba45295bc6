"""Tones, filters over time, rod checks and the sheet of worst tops, on made-up readings."""

import math
import re
from types import SimpleNamespace

import numpy as np
import pytest
from made_up_clips import crew, made_up

from trainer.core.rules import CONFIDENCE
from trainer.lab import exam_cues, exam_goals, exam_page, exam_pictures, exam_rod_scores, exam_time
from trainer.lab.exam_results import TURN, Unseen

NAN = float("nan")
T_S = np.arange(60) / 30


def tones(turn, se, target=80.0, word="even odds", swinging=None):
    swinging = np.ones(len(turn), dtype=bool) if swinging is None else swinging
    return exam_cues.tones(
        T_S[: len(turn)], turn, se, swinging, target_deg=target, confidence=CONFIDENCE[word]
    )


# --- tones ---


def test_a_tone_sounds_once_where_the_reading_crosses_and_later_the_surer_it_must_be():
    turn, se = 60 * T_S, np.full(60, 6.0)  # 60 degrees a second, up to 118
    found = {word: tones(turn, se, word=word) for word in CONFIDENCE}
    assert {len(given) for given in found.values()} == {1}
    even, likely, surely = (found[word][0].t_s for word in ("even odds", "likely", "surely"))
    assert even == pytest.approx(80 / 60)
    # normal quantiles: 0.674 at 75 %, 1.645 at 95 % (any table of the normal distribution)
    assert likely == pytest.approx((80 + 0.674 * 6) / 60, abs=0.001)
    assert surely == pytest.approx((80 + 1.645 * 6) / 60, abs=0.001)


def test_no_tone_outside_a_swing_or_from_nothing_read():
    turn, se = 60 * T_S, np.full(60, 6.0)
    assert tones(turn, se, swinging=np.zeros(60, dtype=bool)) == []
    assert tones(np.full(60, NAN), se) == []


def test_the_true_crossing_lies_between_two_pictures():
    true = 60 * T_S
    assert exam_cues.reached_s(T_S, true, 61.0) == pytest.approx(61 / 60)
    assert exam_cues.reached_s(T_S, true, 200.0) is None


def test_tones_are_counted_right_false_and_missed_by_how_far_the_truth_came():
    # true 90 in every clip; read 12 too much: at 70 and 80 due and given, at 90 due and given
    (over,) = {
        exam_cues.quality([made_up(0, "natural", 12.0)], "natural", "even odds").right,
    }
    assert over == (0, 0, 1, 0, 2)
    short = exam_cues.quality([made_up(0, "natural", -12.0)], "natural", "even odds")
    # read as 78: right at 70 (20 past), missed at 80 (10 past) and at 90 (just reached)
    assert short.right == (0, 0, 0, 0, 1)
    assert short.missed == (0, 0, 1, 0, 1)
    assert sum(short.false) == 0
    assert [short.count(group) for group in range(5)] == [0, 0, 1, 0, 2]


def test_a_reading_too_large_makes_the_tone_come_early_and_a_false_one_where_none_is_due():
    one = made_up(0, "natural", 12.0)
    early = exam_cues.quality([one], "natural", "even odds")
    assert all(late < 0 for late in early.late_s)
    one.true = one.true * 0.7  # truly 63
    wrong = exam_cues.quality([one], "natural", "even odds")
    # 70 is 7 away, 80 and 90 are further: all sounded, none was due
    assert wrong.false == (2, 1, 0, 0, 0)
    assert wrong.late_s == ()


def test_perfect_readings_sound_within_a_picture_of_the_truth():
    got = exam_cues.quality([made_up(0, "natural")], "natural", "even odds")
    assert len(got.late_s) == 3
    assert all(-1e-6 <= late <= 1 / 30 + 1e-6 for late in got.late_s)


# --- filters over time ---


def test_a_trailing_median_is_late_by_half_its_window_and_leaves_gaps():
    value = np.arange(60.0)
    value[30] = NAN
    got = exam_time.trailing_median(T_S, value, 0.3)
    assert got[20] == np.median(value[11:21]) == 20 - 0.15 * 30
    assert math.isnan(got[30])


def test_without_acceleration_the_filter_is_the_weighted_straight_line():
    # A state of constant rate without process noise is recursive least squares: with a wide
    # beginning it ends on the weighted straight line, here numpy's own polyfit.
    rng = np.random.default_rng(4)
    se = rng.uniform(0.5, 2.0, 60)
    value = 3.0 + 20.0 * T_S + rng.normal(0, se)
    got, spread = exam_time.kalman(T_S, value, se, acceleration=0.0)
    line = np.polyfit(T_S, value, 1, w=1 / se)
    assert got[-1] == pytest.approx(np.polyval(line, T_S[-1]), abs=0.02)
    assert spread[-1] < 0.6 * se.min()


def test_the_filter_calms_noise_starts_anew_after_a_gap_and_leaves_the_unread_unread():
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 4, 60)
    value = 50 + noise
    value[40:50] = NAN
    value[50:] = 10 + noise[50:]
    got, _ = exam_time.kalman(T_S, value, np.full(60, 4.0), acceleration=50.0)
    assert np.abs(got[10:40] - 50).mean() < 0.6 * np.abs(noise[10:40]).mean()
    assert np.isnan(got[40:50]).all()
    assert got[50] == value[50]


def test_unsteadiness_is_the_step_from_picture_to_picture_within_clips():
    error = np.array([1.0, 2.0, 1.0, 50.0, 52.0, NAN])
    assert exam_time.unsteadiness(error, np.array([0, 0, 0, 1, 1, 1])) == pytest.approx(4 / 3)


# --- rod checks and repeats ---


def checked(seed, read, said, true=(90.0, 90.0, 90.0)):
    return exam_rod_scores.Checked(
        seed=seed,
        read_deg=read,
        true_deg=90.0,
        tops_true=np.array(true),
        tops_said=np.array(said, dtype=float),
    )


def test_where_the_check_tells_all_taking_all_of_it_off_leaves_nothing():
    people = [checked(k, 90 + off, [90 + off] * 3) for k, off in enumerate((-8.0, 4.0, 10.0))]
    got = exam_rod_scores.scored(people)
    assert got.by_difference[0] == pytest.approx(22 / 3)
    assert got.by_difference[-1] == pytest.approx(0.0)
    assert got.by_ratio[-1] == pytest.approx(0.0)
    assert got.goes_with == pytest.approx(1.0)
    assert got.within_sd_deg == 0.0
    assert got.between_sd_deg == pytest.approx(np.std([-8, 4, 10], ddof=1))


def test_where_the_check_tells_nothing_correcting_makes_it_worse():
    people = [checked(k, 90 + off, [90.0] * 3) for k, off in enumerate((-8.0, 4.0, 10.0))]
    got = exam_rod_scores.scored(people)
    assert list(got.by_difference) == sorted(got.by_difference)
    assert got.by_difference[0] == 0.0


def test_repeats_are_told_from_the_spread_between_people():
    people = [
        checked(0, NAN, [95.0, 97.0, NAN]),
        checked(1, 85.0, [80.0, 82.0, 84.0], true=(90.0, 92.0, 94.0)),
    ]
    got = exam_rod_scores.scored(people)
    assert (got.people, got.ended, got.tops) == (2, 1, 5)
    assert got.within_sd_deg == pytest.approx(math.sqrt((2.0 + 0.0) / 2))
    assert got.change_mae_deg == pytest.approx((2 + 0 + 0 + 0) / 4)
    assert math.isnan(got.goes_with)


def test_nobody_is_no_evidence():
    with pytest.raises(ValueError, match="rod"):
        exam_rod_scores.scored([])


# --- the page's further parts ---


def test_the_page_tells_of_rod_checks_and_the_other_style_only_where_there_were_any():
    done = exam_goals.results(crew())
    facts = exam_page.Facts(
        command="c",
        date="2026-11-25",
        first_seed=300000,
        people=4,
        versions="made up",
        estimator={"name": "made-up", "people": 5, "poses": 9, "first_seed": 1, "last_seed": 5},
    )
    bare = exam_page.page(done, facts)
    assert "Rod check and repeats" not in bare
    assert "Pictures of another kind" not in bare
    assert "accuracy-worst.png" not in bare
    assert "seeds 1 to 5" in bare
    done.rod = exam_rod_scores.scored([checked(k, 85.0 + k, [88.0 + k] * 3) for k in range(3)])
    done.unseen = Unseen(people=4, usual=done.pools, unseen=exam_goals.pools_of(crew(3.0)))
    whole = " ".join(exam_page.page(done, facts).split())
    assert "read the 90° with a bias of −4.0°" in whole
    assert "| shoulder turn 15–117°, natural | 0.0° | 0.0 | 100 % | 3.0° | +3.0 | 100 % |" in whole
    assert not re.search(r"\bnan\b", whole.lower())


def test_the_page_names_clips_in_which_left_and_right_were_swapped():
    clips = crew()
    facts = exam_page.Facts(
        command="c", date="d", first_seed=1, people=4, versions="v", estimator={}
    )
    assert "left and right swapped" not in exam_page.page(exam_goals.results(clips), facts)
    clips[2].from_behind = True
    text = " ".join(exam_page.page(exam_goals.results(clips), facts).split())
    assert "In 1 clip the pose model took the front of the player" in text
    assert f"left and right swapped: {clips[2].name}." in text


# --- the sheet of worst tops ---


def noisy(cv2, path, count=80):
    rng = np.random.default_rng(0)
    out = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), 30, (320, 180))
    for _ in range(count):
        out.write(rng.integers(0, 255, (180, 320, 3), dtype=np.uint8))
    out.release()


def test_the_sheet_shows_the_worst_tops_and_stays_small_whatever_the_grain(tmp_path):
    cv2 = pytest.importorskip("cv2", reason="opencv is not installed")
    done = exam_goals.results([made_up(k, kind, 3.0 * k) for k in range(6) for kind in
                               ("natural", "decoupled")])  # fmt: skip
    joints = {"head": [160.0, 20.0], "left_ankle": [130.0, 170.0], "right_ankle": [190.0, 170.0]}
    frames = [{"joints_px": joints}] * 80
    for k in range(6):
        noisy(cv2, tmp_path / f"natural-{k}.mp4")
        told = f'{{"fps": 30.0, "frames": {frames}}}'.replace("'", '"')
        (tmp_path / f"natural-{k}.truth.json").write_text(told, encoding="utf-8")
    path = tmp_path / "figures" / "worst.png"
    assert exam_pictures.draw_worst(done.reps, tmp_path, path)
    assert path.stat().st_size < exam_pictures.MOST_BYTES
    image = cv2.imread(str(path))
    assert image.shape[1] == exam_pictures.ACROSS * 200


def test_without_a_picture_there_is_no_sheet(tmp_path):
    assert not exam_pictures.draw_worst([], tmp_path, tmp_path / "worst.png")
    assert not (tmp_path / "worst.png").exists()


def test_a_picture_is_cut_round_the_player():
    pytest.importorskip("cv2", reason="opencv is not installed")
    picture = np.zeros((400, 800, 3), dtype=np.uint8)
    picture[100:300, 600:640] = 255
    tile = exam_pictures.cut_round(picture, np.array([[600.0, 100.0], [640.0, 300.0]]))
    assert tile.shape == (220, 200, 3)
    assert tile[110, 100].tolist() == [255, 255, 255]
    assert tile[110, 10].tolist() == [0, 0, 0]


def test_turn_is_the_first_of_the_fields():
    # exam_cues takes column 0 for the turn
    one = SimpleNamespace(said=np.eye(9), se=np.eye(9))
    assert TURN == 0
    np.testing.assert_array_equal(exam_cues.said_turn(one)[0], one.said[:, TURN])
