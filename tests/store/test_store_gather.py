"""What is gathered of a rep while it is made: its setup, its way, its top."""

from dataclasses import replace
from datetime import datetime, timezone

import kept_reps
import numpy as np
import pytest
from golfer import SETUP, TOP, Script, View, poses, rep_script

from trainer.core.records import Measures, Phase
from trainer.core.rules import CueRules, OwnRep, Rules
from trainer.core.summary import words_for
from trainer.engine import Engine
from trainer.store.gather import BEFORE_S, Gatherer, aim_of

FRONT = View()
NOW = datetime(2026, 5, 31, 12, 0, tzinfo=timezone.utc)


@pytest.fixture(autouse=True)
def plain_reading(monkeypatch):
    """The estimator that ships knows nothing of a stick golfer."""
    monkeypatch.setattr("trainer.engine.shipped", lambda: None)


def made(script, view=FRONT):
    """Run a script; return (rep, motion) of each rep, as kept."""
    engine, gatherer, found = Engine(Rules()), Gatherer(), []

    def keep(rep):
        verdict = words_for(rep, engine.rules)
        finished = gatherer.finished(
            rep, engine.rules, verdict, session=kept_reps.session(), ended=NOW
        )
        found.append(finished.worked_out())

    for t_s, pose in poses(script, view):
        _, step = engine.feed(t_s, pose)
        gatherer.follow(step, engine.reference)
        if step.rep is not None:
            keep(step.rep)
    cut_off = engine.finish()
    if cut_off is not None:
        keep(cut_off)
    return found


def test_the_curves_lead_from_setup_to_the_end_of_the_top():
    script, (takeaway_s, top_s, _) = rep_script(hold_s=0.3)
    ((kept, motion),) = made(script, View(start_s=100.0))
    t_s, turn = motion.curves.t_s, motion.curves.columns["shoulder_turn_deg"]
    assert np.all(np.diff(t_s) > 0)
    # The window slides by one picture at a time.
    assert -BEFORE_S - 0.1 <= t_s[0] <= -BEFORE_S + 0.4
    assert kept.rep.top_end_t_s - kept.rep.takeaway_t_s <= t_s[-1] <= top_s + 1.0 - takeaway_s
    assert abs(turn[t_s < -0.1]).max() < 1.0
    at_top = (t_s >= kept.rep.backswing_s) & (t_s <= kept.rep.backswing_s + 0.2)
    assert turn[at_top].mean() == pytest.approx(kept.rep.at_top.shoulder_turn_deg, abs=1.0)
    assert turn.max() == pytest.approx(kept.rep.max_shoulder_turn_deg, abs=0.011)


def test_the_points_are_those_of_setup_and_top():
    script, (_, top_s, _) = rep_script(hold_s=0.3)
    ((_, motion),) = made(script)
    seen = dict(poses(script))
    setup = seen[min(seen, key=lambda t: abs(t - 1.9))].image_px
    top = seen[min(seen, key=lambda t: abs(t - top_s - 0.15))].image_px
    assert abs(motion.setup_pose.image_px - setup).max() < 1.0
    assert abs(motion.top_pose.image_px - top).max() < 12.0  # smoothing lags
    assert motion.top_pose.size_wh == (1280, 720)


def test_each_rep_of_a_session_has_its_own_curves_only():
    script = Script().hold(2.0)
    for _ in range(3):
        script.move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(2.5)
    found = made(script)
    assert [kept.rep.number for kept, _ in found] == [1, 2, 3]
    for _, motion in found:
        assert motion.curves.t_s[0] >= -BEFORE_S - 0.1
        assert motion.curves.t_s[-1] < 2.5


def test_a_long_wait_at_setup_is_not_kept():
    script, _ = rep_script(still_s=30.0)
    ((_, motion),) = made(script)
    assert motion.curves.t_s[0] >= -BEFORE_S - 0.1


def test_a_player_lost_in_the_backswing_leaves_what_was_seen():
    script = Script().hold(2.0).move(TOP, 1.0).lose(2.0)
    ((kept, motion),) = made(script)
    assert not kept.rep.complete
    assert motion.top_pose is None or kept.rep.at_top is not None
    assert motion.setup_pose is not None
    assert kept.cm_per_px is not None
    assert np.nanmax(motion.curves.columns["shoulder_turn_deg"]) > 60.0


def test_figures_at_setup_are_medians_before_the_takeaway():
    script, _ = rep_script()
    ((kept, _),) = made(script)
    assert kept.at_setup.side_tilt_deg == pytest.approx(0.0, abs=1.0)
    assert kept.at_setup.t_s <= kept.rep.takeaway_t_s
    assert kept.at_setup.shoulder_turn_deg is None


def test_the_standard_error_kept_of_a_maximum_is_that_of_its_reading():
    gatherer = Gatherer()
    engine = Engine(Rules())
    script, _ = rep_script(hold_s=0.3)
    for t_s, pose in poses(script):
        _, step = engine.feed(t_s, pose)
        turn = step.measures.shoulder_turn_deg
        said = None if turn is None else 2.0 + abs(turn) / 10.0
        step = replace(step, measures=replace(step.measures, shoulder_turn_se_deg=said))
        gatherer.follow(step, engine.reference)
        if step.rep is not None:
            verdict = words_for(step.rep, engine.rules)
            kept, _ = gatherer.finished(
                step.rep, engine.rules, verdict, session=kept_reps.session(), ended=NOW
            ).worked_out()
    largest = kept.rep.max_shoulder_turn_deg
    assert kept.max_shoulder_turn_se_deg == pytest.approx(2.0 + largest / 10.0)
    assert kept.max_head_lateral_se_cm is None


def test_the_target_kept_is_the_one_in_force():
    plain = aim_of(Rules(cues=CueRules(target_deg=80.0, hips_strict=True), ball_line_cm=None))
    assert (plain.target_deg, plain.hips_strict, plain.own, plain.ball_line_cm) == (
        80.0,
        True,
        None,
        None,
    )
    own = OwnRep(turn_deg=71.0)
    aimed = aim_of(Rules(cues=CueRules(target_deg=80.0, own_top=True), own=own))
    assert (aimed.target_deg, aimed.own) == (71.0, own)
    marked_but_not_aimed_at = aim_of(Rules(own=own))
    assert marked_but_not_aimed_at.own is None


def test_nothing_is_held_while_nobody_swings():
    gatherer, engine = Gatherer(), Engine(Rules())
    script, _ = rep_script()
    for t_s, pose in poses(script):
        _, step = engine.feed(t_s, pose)
        gatherer.follow(step, engine.reference)
        if step.phase in (Phase.NOBODY, Phase.WAITING):
            assert not gatherer._readings
        assert len(gatherer._readings) < 120


def test_a_measure_never_read_has_no_column():
    script, _ = rep_script()
    ((_, motion),) = made(script)
    assert "back_gap_cm" not in motion.curves.columns  # needs an outline
    assert set(motion.curves.columns) <= set(Measures.__dataclass_fields__)
