"""The scores, tables, goals and page of the accuracy report, on arrays with known answers.

Nothing is rendered: the clips are made up.
"""

import json
import math
import re

import numpy as np
import pytest
from made_up_clips import crew, made_up
from scipy import stats as scipy_stats

from trainer.core.records import Rep
from trainer.lab import (
    accuracy,
    exam_goals,
    exam_groups,
    exam_marks,
    exam_page,
    exam_results,
    exam_tables,
)
from trainer.lab.exam_results import TURN
from trainer.lab.exam_scores import (
    Goal,
    between_within,
    decisions,
    inside_share,
    interval,
    lag_s,
    match,
    stats,
    timing,
)
from trainer.lab.motion import minimum_jerk

NAN = float("nan")


# --- scores ---


def test_errors_are_summed_up_as_the_textbook_does():
    error = np.array([3.0, -1.0, 2.0, -6.0, NAN])
    got = stats(error)
    assert (got.count, got.mae, got.bias) == (4, 3.0, -0.5)
    # scipy's own sample standard deviation, n - 1
    assert got.sd == pytest.approx(scipy_stats.tstd(error[:4]))


def test_the_mean_size_of_a_bell_curve_is_what_theory_says():
    error = np.random.default_rng(1).normal(0, 5, 200_000)
    got = stats(error)
    # mean |x| of a normal distribution: scipy's folded normal
    assert got.mae == pytest.approx(scipy_stats.foldnorm.mean(0, scale=5), rel=0.01)
    assert got.p95 == pytest.approx(scipy_stats.norm.ppf(0.975, scale=5), rel=0.01)
    share = scipy_stats.norm.cdf(1) - scipy_stats.norm.cdf(-1)
    assert inside_share(error, np.full_like(error, 5.0)) == pytest.approx(share, abs=0.005)


def test_nothing_read_has_no_statistics():
    got = stats(np.array([NAN, NAN]))
    assert got.count == 0
    assert math.isnan(got.mae)
    assert math.isnan(inside_share(np.array([NAN]), np.array([1.0])))


def test_a_standard_error_that_is_not_known_is_left_out():
    assert inside_share(np.array([1.0, 1.0, 9.0]), np.array([2.0, NAN, 2.0])) == 0.5


def test_decisions_near_the_target_are_not_judged_and_a_missing_reading_is_not_reached():
    true = np.array([60.0, 79.0, 86.0, 90.0, 95.0])
    said = np.array([81.0, 70.0, 84.0, 79.0, NAN])
    # 60 said 81 wrong; 79 too near; 86 said 84 right; 90 said 79 wrong; 95 unread wrong
    assert decisions(said, true, 80, 5) == (1, 4)
    assert decisions(said, true, 80, 10) == (0, 2)


def test_instants_are_counted_in_pictures():
    got = timing([0.0, 1 / 30, -2 / 30, 4 / 30], 30)
    assert got.median == pytest.approx(1.5)
    assert got.worst == pytest.approx(4.0)
    assert got.bias == pytest.approx(0.75)
    assert got.within_one == 0.5
    assert timing([], 30).count == 0


def test_each_found_instant_is_used_once_and_the_nearest_pair_first():
    assert match([1.0, 3.1], [1.2, 3.0], 0.5) == [0, 1]
    assert match([1.1], [1.0, 1.4], 0.5) == [0, None]
    assert match([5.0], [1.0], 0.5) == [None]
    assert match([], [1.0], 0.5) == [None]


def test_the_error_is_split_between_clips_and_within_them():
    person = np.repeat([0, 1, 2], 1000)
    wobble = np.tile([-2.0, 2.0], 1500)
    between, within = between_within(wobble + np.repeat([-3.0, 0.0, 3.0], 1000), person)
    assert between == pytest.approx(3.0)
    assert within == pytest.approx(2.0)


def test_readings_that_come_late_are_found_to_be_as_late_as_they_are():
    t_s = np.arange(0, 2, 1 / 30)
    true = 90 * minimum_jerk(t_s / 1.5)
    late = 90 * minimum_jerk((t_s - 0.04) / 1.5)
    clip = np.zeros(len(t_s), dtype=int)
    assert lag_s(late + 3.0, true, t_s, clip) == pytest.approx(0.04, abs=0.004)
    assert lag_s(true + 3.0, true, t_s, clip) == pytest.approx(0.0, abs=1e-9)


def test_the_interval_over_people_agrees_with_scipys_bootstrap():
    rng = np.random.default_rng(3)
    sizes = np.abs(rng.normal(5, 2, 25))
    person = np.repeat(np.arange(25), 4)
    low, high = interval(np.repeat(sizes, 4), person)
    wanted = scipy_stats.bootstrap((sizes,), np.mean, method="percentile")
    assert low == pytest.approx(wanted.confidence_interval.low, abs=0.15)
    assert high == pytest.approx(wanted.confidence_interval.high, abs=0.15)


@pytest.mark.parametrize(
    ("limit", "value", "at_least", "reached"),
    [
        (5, 5.0, False, True),
        (5, 5.01, False, False),
        (2, -2.5, False, False),
        (2, -1.5, False, True),
        (95, 95.0, True, True),
        (95, 94.9, True, False),
        (95, NAN, True, False),
        (5, NAN, False, False),
    ],
)
def test_a_goal_is_reached_on_its_own_side_only(limit, value, at_least, reached):
    goal = Goal(name="g", unit="", kind="natural", limit=limit, value=value, at_least=at_least)
    assert goal.reached is reached


def test_a_goal_that_was_not_measured_is_null_in_the_file():
    goal = Goal(name="g", unit="", kind="natural", limit=5, value=NAN)
    text = json.dumps(accuracy._plain(goal), allow_nan=False)
    assert json.loads(text)["value"] is None
    assert json.loads(text)["reached"] is False


# --- tables ---


def test_numbers_have_a_real_minus_a_sign_when_asked_and_no_minus_zero():
    assert exam_marks.number(-1.25, 1) == "−1.2"
    assert exam_marks.number(1.26, 1, sign=True) == "+1.3"
    assert exam_marks.number(-0.01, 1, sign=True) == "0.0"
    assert exam_marks.number(NAN) == "–"
    assert exam_marks.sized(NAN, "°") == "–"
    assert exam_marks.sized(-1.26, "°") == "−1.3°"
    assert exam_marks.share(0.678) == "68 %"
    assert exam_marks.of_all(19, 20) == "95.0 % of 20"
    assert exam_marks.of_all(0, 0) == "–"


def test_a_goals_table_says_reached_or_missed_and_leaves_a_dash_for_none():
    goals = [
        Goal(name="a", unit="°", kind="natural", limit=5, value=4.0),
        Goal(name="a", unit="°", kind="decoupled", limit=9, value=9.5),
        Goal(name="b", unit=" %", kind="natural", limit=95, value=96.0, at_least=True),
    ]
    lines = exam_tables.goals_table(goals).splitlines()
    assert lines[2] == "| a | ≤ 5° | 4.0° | reached | ≤ 9° | 9.5° | **missed** |"
    assert lines[3] == "| b | ≥ 95 % | 96.0 % | reached | – | – |  |"


# --- results of made-up clips ---


def test_perfect_readings_reach_every_goal():
    done = exam_goals.results(crew())
    assert [goal.name for goal in done.goals if not goal.reached] == []
    assert done.still["arms alone"].said_deg == pytest.approx(0.0)
    assert done.extra == 0
    assert done.no_setup == []


def test_readings_eleven_degrees_short_miss_turn_goals_and_no_other():
    done = exam_goals.results(crew(-11.0))
    missed = {goal.name for goal in done.goals if not goal.reached}
    assert "shoulder turn, 15–117°, mean error" in missed
    assert "shoulder turn, bias in 80–100°" in missed
    assert "“reached?” right, over 5° away, of reps" in missed
    assert not any("head" in name or "hip" in name or "top" in name for name in missed)
    # every rep truly reached 90 and is told 79: wrong at 80 (10 away), right at 70; 90 is near
    assert exam_results.rep_decisions(done.reps, 5) == (4, 8)


def test_a_top_far_off_is_one_missed_and_one_that_was_none():
    clips = crew(kinds=("natural",))
    early = clips[0].reps[0]
    clips[0].reps = [
        Rep(
            number=1, setup_t_s=0.0, takeaway_t_s=1.0, top_t_s=1.4, top_end_t_s=1.4,
            complete=True, at_top=early.at_top,
        )
    ]  # fmt: skip
    clips[1].reps = []
    reps, extra = exam_results.matched_reps(clips)
    assert [one.rep is None for one in reps] == [True, True, False, False]
    assert extra == 1
    assert len(exam_results.instants(reps)["top"]) == 2


def test_hands_seen_elsewhere_are_told_from_hands_seen():
    clips = crew(kinds=("natural",))
    clips[0].hands_off_cm = np.where(clips[0].t_s > 1.7, 20.0, 1.0)
    clips[1].hands_off_cm = np.full(120, NAN)
    clips[2].hands_off_cm = np.where(clips[2].t_s < 1.0, 20.0, 1.0)  # before the takeaway
    reps, _ = exam_results.matched_reps(clips)
    assert [one.hands_lost for one in reps] == [True, True, False, False]


def test_the_truth_of_the_top_is_the_mean_over_the_true_top():
    ((one, *_), _) = exam_results.matched_reps(crew(kinds=("natural",)))
    assert one.true_top[TURN] == pytest.approx(90.0)
    assert one.true_most_deg == pytest.approx(90.0)
    assert exam_results.told_at_top(one)[TURN] == pytest.approx(90.0)


def test_a_tone_while_the_shoulders_keep_still_is_counted():
    clips = crew()
    for one in clips:
        if one.kind == "decoupled":
            one.said = one.said.copy()
            one.said[(one.t_s > 0.4) & (one.t_s <= 1.0), TURN] = 75.0
            one.said[one.t_s < 0.4, TURN] = 62.0
    done = exam_goals.results(clips)
    arms = done.still["arms alone"]  # two of four people
    assert (arms.clips, arms.cues_at_70, arms.cues_at_80, arms.width_cues) == (2, 2, 0, 0)
    assert arms.said_deg == pytest.approx(75.0)
    limits = {goal.name: goal for goal in done.goals}
    assert not limits["arms alone: tones at a target of 70°"].reached
    assert limits["arms, hips or tilt alone: tones at a target of 80°"].reached
    assert not limits["arms alone, true turn under 6°: mean reading"].reached


def test_without_a_clip_of_each_kind_there_is_no_word_on_silence():
    done = exam_goals.results([made_up(0, kind) for kind in exam_results.KINDS])
    (silence,) = [goal for goal in done.goals if "or tilt alone" in goal.name]
    assert math.isnan(silence.value)
    assert not silence.reached


def test_the_two_clips_of_a_person_that_err_alike_correlate():
    clips = [
        made_up(s, k, off) for s, off in enumerate((-4.0, 1.0, 6.0)) for k in exam_results.KINDS
    ]
    done = exam_goals.results(clips)
    assert exam_results.person_correlation(done) == pytest.approx(1.0)


def test_the_groups_under_a_heading_are_everybody_and_nobody_is_in_two():
    natural = exam_results.pool(crew(kinds=("natural",)))
    by_heading = {}
    for group in exam_groups.groups(natural.clips):
        rows = exam_groups.in_group(natural, group)
        by_heading[group.heading] = by_heading.get(group.heading, 0) + rows.astype(int)
    assert len(by_heading) >= 14
    for heading, held in by_heading.items():
        assert (held == 1).all(), heading


def test_older_scenes_are_sorted_by_what_they_tell():
    clips = crew(kinds=("natural",))
    for one in clips:
        for name in ("weight", "height_m", "size_wh", "place", "jacket", "skirt"):
            del one.scene[name]
    headings = {group.heading for group in exam_groups.groups(clips)}
    assert {"distance", "light", "stature", "backswing"} <= headings
    assert not {"weight", "picture", "place", "jacket"} & headings


def test_without_clips_there_is_nothing_to_score():
    with pytest.raises(ValueError, match="no clips"):
        exam_goals.results([])


# --- the page ---

FACTS = exam_page.Facts(
    command="python -m trainer.lab accuracy --out DIR --people 4 --seed 100000",
    date="2026-11-25",
    first_seed=100000,
    people=4,
    versions="made up",
    estimator={"name": "made-up", "people": 123, "poses": 4567},
)


def test_the_page_tells_how_it_was_tested_and_every_goal():
    done = exam_goals.results(crew(-11.0))
    text = exam_page.page(done, FACTS)
    flat = " ".join(text.split())
    assert "**rendered people**" in flat
    assert "seeds 100000 to 100003" in flat
    assert "`made-up` was fitted on 123 other rendered people (4567 poses" in flat
    assert FACTS.command in flat
    # at 90 degrees and 3 m a picture of 16 : 9 shows 6 m across and 3.375 m up
    assert f"fill {100 * 1.70 / 3.375:.0f} % to {100 * 1.73 / 3.375:.0f} %" in flat
    for goal in done.goals:
        assert f"| {goal.name} |" in text
    assert "−11.0" in text
    assert "nan" not in re.sub(r"[a-z]nan|nan[a-z]", "", text.lower())


def test_every_table_of_the_page_has_as_many_cells_in_each_row():
    text = exam_page.page(exam_goals.results(crew()), FACTS)
    tables = re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE)
    assert len(tables) > 10
    for rows in tables:
        assert len({line.count("|") for line in rows.strip().splitlines()}) == 1


def test_wrapping_leaves_tables_and_code_alone_and_indents_lists():
    text = (
        "# A\n\n- "
        + "word " * 40
        + "\n- two\n\n| "
        + "x" * 200
        + " |\n\n```\n"
        + "y " * 90
        + "\n```"
    )
    got = exam_page.filled(text, 50)
    assert "| " + "x" * 200 + " |" in got
    assert "y " * 90 in got
    assert got.split("\n\n")[1].splitlines()[1].startswith("  word")
    assert got.split("\n\n")[1].splitlines()[-1] == "- two"
