"""Ball line, rod check and reference rep in the live mirror: keys in, words and record out."""

from dataclasses import replace

import numpy as np
import pytest
from fakes import FakeEstimator, FakeSource, frames_and_poses, good_reps, mirror, outcome
from golfer import SETUP, TOP, Body, Script, View
from test_live_actions import asking

from trainer.cli import main
from trainer.core.landmarks import Landmark as L
from trainer.core.records import CueKind, Handed, Outline, Phase
from trainer.core.rules import CueRules, OwnRep, Rules
from trainer.engine import Engine
from trainer.keeping import Keeper
from trainer.players import PlayerRecord, load, save
from trainer.ports import KeyAction
from trainer.recorder import TraceRecorder
from trainer.replay import replay
from trainer.words import spread_line


def outlined(pose, edge_px):
    rows = (np.arange(120) + 0.5) * 6.0
    edge = np.full(120, float(edge_px))
    return replace(pose, outline=Outline(row_px=rows, left_px=edge - 90.0, right_px=edge))


def keeper_of(record=None, rules=None):
    record = record or PlayerRecord()
    return Keeper(record, rules or Rules())


# --- the ball line ---


def test_the_ball_line_is_moved_by_steps_shown_and_kept():
    live, _, screen, steps = asking(
        good_reps(1), 1.5, *[KeyAction.LINE_AWAY] * 5, KeyAction.LINE_TOWARD
    )
    live._shared.keeper = keeper_of()
    result = outcome(live)
    assert result.rules.ball_line_cm == 2.0
    assert load("me")[0].ball_line_cm == 2.0
    lines = [v.ball_line for v in screen.views if v.ball_line is not None]
    setup = [line for line in lines if not line.at_top]
    before, after = setup[0], setup[-1]
    assert (before.x_px - after.x_px) * after.cm_per_px == pytest.approx(2.0, abs=0.3)
    said = {v.answer for v in screen.views}
    assert "Ball line 2 cm from the lead shoulder, away from the target" in said
    assert steps[-1][1].ball_line_cm == 2.0


def test_the_backs_edge_at_the_top_is_told_and_drawn_after_the_rep():
    script = Script().hold(2.0).move(TOP, 1.0).hold(0.6).move(SETUP, 0.5).hold(1.5)
    frames, known = frames_and_poses(script)
    known = {n: outlined(pose, 690.0) for n, pose in known.items()}
    views = []
    live, _, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        on_step=lambda step, rules: views.append(live._view()),  # what the window could show
    )
    (rep,) = outcome(live).reps
    assert rep.at_top.back_gap_cm is not None
    assert any("ball line" in words for words in live._view().last_rep_words)
    shown = [v.ball_line for v in views if v.ball_line is not None and v.ball_line.at_top]
    assert shown
    assert shown[-1].back_px == pytest.approx(690.0, abs=1.0)
    assert shown[-1].gap_cm == pytest.approx(rep.at_top.back_gap_cm)


def test_moving_the_line_after_a_rep_leaves_the_mark_where_the_back_was():
    engine = Engine(Rules())
    frames, known = frames_and_poses(
        Script().hold(2.0).move(TOP, 1.0).hold(0.6).move(SETUP, 0.5).hold(0.2)
    )
    for frame in frames:
        engine.feed(frame.t_s, outlined(known[frame.index], 690.0))
    before = engine.ball_line
    assert before.at_top
    for _ in range(4):
        engine.act(KeyAction.LINE_AWAY)
    after = engine.ball_line
    assert after.back_px == pytest.approx(before.back_px)
    assert after.gap_cm == pytest.approx(before.gap_cm - 2.0)
    assert after.x_px < before.x_px


def test_a_new_setup_takes_the_old_line_away():
    engine = Engine(Rules())
    frames, known = frames_and_poses(good_reps(1))
    for frame in frames[:50]:
        engine.feed(frame.t_s, known[frame.index])
    assert engine.ball_line is not None
    engine.act(KeyAction.NEW_SETUP)
    assert engine.ball_line is None


# --- the reference rep ---


def test_this_one_makes_the_last_rep_the_reference_and_it_is_kept():
    live, _, screen, _ = asking(good_reps(2), 5.0, KeyAction.THIS_ONE)
    live._shared.keeper = keeper_of()
    result = outcome(live)
    first = result.reps[0].at_top
    assert result.rules.own.turn_deg == first.shoulder_turn_deg
    record = load("me")[0]
    assert record.own.turn_deg == pytest.approx(first.shoulder_turn_deg, abs=0.01)
    assert record.own_date is not None
    assert any("This one is your reference" in v.answer for v in screen.views)
    assert all(v.own is None for v in screen.views)  # kept, but not aimed at until wished


def test_aiming_at_the_own_top_changes_the_target_shown_and_back():
    rules = Rules(own=OwnRep(turn_deg=70.0))
    live, _, _, _ = asking(good_reps(1), 1.0, KeyAction.OWN_TOP, rules=rules)
    outcome(live)
    view = live._view()
    assert view.target_deg == 70.0
    assert view.own == rules.own
    live, _, _, _ = asking(good_reps(1), 1.0, KeyAction.OWN_TOP, KeyAction.OWN_TOP, rules=rules)
    outcome(live)
    assert live._view().target_deg == 85.0
    assert live._view().own is None


def test_without_a_whole_rep_there_is_nothing_to_mark():
    engine = Engine(Rules())
    assert engine.act(KeyAction.THIS_ONE)
    assert engine.rules.own is None
    assert engine.answer.startswith("Nothing to mark")


def engine_after(script, rules=None):
    engine = Engine(rules or Rules())
    frames, known = frames_and_poses(script)
    for frame in frames:
        engine.feed(frame.t_s, known[frame.index])
    return engine


def test_after_pain_no_key_raises_the_target():
    low = Rules(own=OwnRep(turn_deg=60.0), cues=CueRules(own_top=True))
    engine = engine_after(good_reps(1), low)  # a rep of 90 degrees
    engine.act(KeyAction.PAIN)
    engine.act(KeyAction.THIS_ONE)
    assert engine.rules.own.turn_deg > 80.0
    from trainer.core.own_rep import cue_rules

    assert cue_rules(engine.rules).target_deg == 60.0
    engine.act(KeyAction.OWN_TOP)
    assert cue_rules(engine.rules).target_deg == 60.0


def test_the_other_hand_has_no_reference():
    engine = engine_after(good_reps(1))
    engine.act(KeyAction.THIS_ONE)
    assert engine.rules.own is not None
    engine.act(KeyAction.SWITCH_HANDED)
    assert engine.rules.own is None
    engine.act(KeyAction.THIS_ONE)
    assert engine.rules.own is None


def test_the_spread_is_told_from_the_third_rep_on():
    frames, known = frames_and_poses(good_reps(3))
    live, _, screen = mirror(FakeSource(frames), FakeEstimator(known))
    outcome(live)
    said = [v.last_rep_words for v in screen.views if v.reps == 2 and v.last_rep]
    assert not any("spread" in words for lines in said for words in lines)
    assert live._view().last_rep_words[-1].startswith("3 reps: turn spread ±")


# --- the rod check ---

ROD = Script().hold(1.4).move(Body(turn_deg=90.0, hip_turn_deg=60.0), 1.5).hold(1.8)


def folded(pose):
    points = pose.image_px.copy()
    left, right = points[L.LEFT_SHOULDER].copy(), points[L.RIGHT_SHOULDER].copy()
    for side, at in (("LEFT", right), ("RIGHT", left)):
        points[L[f"{side}_WRIST"]] = at + [0.0, 25.0]
        points[L[f"{side}_ELBOW"]] = (left + right) / 2 + [0.0, 75.0]
    return replace(pose, image_px=points)


def rod_run(*later, rules=None, handed=Handed.RIGHT):
    """Return (engine, its steps) of a rod check; ``later`` are actions after it."""
    engine = Engine(rules or Rules(handed=handed))
    engine.act(KeyAction.ROD_CHECK)
    frames, known = frames_and_poses(ROD, View(handed=handed))
    steps = [engine.feed(f.t_s, folded(known[f.index]))[1] for f in frames]
    for action in later:
        engine.act(action)
    return engine, steps


@pytest.mark.parametrize("handed", list(Handed))
def test_a_rod_check_reads_the_turn_and_looks_for_no_swing(handed):
    engine, steps = rod_run(handed=handed)
    assert engine.rod.reading.read_deg == pytest.approx(90.0, abs=1.5)
    assert {step.phase for step in steps} == {Phase.NOBODY}
    assert not any(step.cues or step.rep or step.changes for step in steps)
    assert all(step.measures.shoulder_turn_deg is None for step in steps)
    assert engine.ball_line is None


def test_the_same_key_ends_it_and_practice_goes_on():
    engine, _ = rod_run(KeyAction.ROD_CHECK)
    assert engine.rod is None
    frames, known = frames_and_poses(good_reps(1), View(start_s=20.0))
    reps = [s.rep for f in frames if (s := engine.feed(f.t_s, known[f.index])[1]).rep]
    assert len(reps) == 1


def test_pain_ends_the_check_and_none_begins_after_it():
    engine, _ = rod_run(KeyAction.PAIN)
    assert engine.rod is None
    engine.act(KeyAction.ROD_CHECK)
    assert engine.rod is None
    assert engine.answer.startswith("Pain marked: no camera check")


def test_a_new_setup_begins_the_check_again():
    engine, _ = rod_run(KeyAction.NEW_SETUP)
    assert engine.rod is not None
    assert engine.rod.reading is None


def test_a_check_is_kept_once_with_the_cameras_name():
    frames, known = frames_and_poses(ROD)
    known = {n: folded(pose) for n, pose in known.items()}
    live, sounder, _ = mirror(FakeSource(frames), FakeEstimator(known), keeper=keeper_of())
    live._actions.put(KeyAction.ROD_CHECK)
    outcome(live)
    (check,) = load("me")[0].rod_checks
    assert check.camera == "pretend camera"
    assert check.read_deg == pytest.approx(90.0, abs=1.5)
    assert sounder.played == []
    assert live._view().rod.reading is not None


# --- the trace ---


def test_a_trace_with_all_these_keys_plays_to_the_same_result(tmp_path):
    path = tmp_path / "all.trace"
    rules = Rules(own=OwnRep(turn_deg=70.0, hip_lateral_cm=1.0), ball_line_cm=2.0)
    recorder = TraceRecorder(path, rules, "pretend")
    frames, known = frames_and_poses(good_reps(2))
    known = {n: outlined(pose, 690.0) for n, pose in known.items()}
    live, _, _ = mirror(FakeSource(frames), FakeEstimator(known), rules=rules, recorder=recorder)
    for action in (KeyAction.OWN_TOP, KeyAction.LINE_TOWARD, KeyAction.THIS_ONE):
        live._actions.put(action)
    result = outcome(live)
    recorder.close()
    played = replay(path, lambda step, rules: None)
    assert played.whole
    assert played.first_difference_s is None
    assert played.rules == result.rules
    assert played.rules.ball_line_cm == 1.5
    (cue, *_) = [c for rep in played.reps for c in rep.cues if c.kind is CueKind.TURN_REACHED]
    assert cue is not None


# --- the command line ---


def test_a_player_without_a_usable_name_is_refused(capsys):
    assert main(["live", "--player", "../me"]) == 1
    assert "A name of 1 to 40 letters" in capsys.readouterr().err


def test_options_over_the_record_are_kept_and_the_settings_file_is_not(monkeypatch, tmp_path):
    seen = []

    def run_live(settings, *, keeper, **more):
        seen.append(settings)
        keeper.look(settings.rules, (), "camera 0")
        keeper.flush()
        raise KeyboardInterrupt

    monkeypatch.setattr("trainer.live.run_live", run_live)
    file = tmp_path / "my.toml"
    file.write_text('[player]\nname = "Ann"\nstature_cm = 180\n', encoding="utf-8")
    words = ["live", "--screen", "none", "--sound", "off", "--settings", str(file)]
    assert main([*words, "--handed", "left"]) == 130
    assert load("Ann")[0] == PlayerRecord(name="Ann", handed=Handed.LEFT)
    assert main(words) == 130
    assert seen[-1].rules.handed is Handed.LEFT
    assert seen[-1].rules.stature_cm == 180.0
    assert main([*words, "--player", "Bob"]) == 130
    assert seen[-1].rules.handed is Handed.RIGHT


def test_measuring_uses_a_record_only_of_a_player_who_is_named(monkeypatch, tmp_path, capsys):
    seen = []
    monkeypatch.setattr(
        "trainer.measure_many.measure_clips",
        lambda clips, out, rules, **more: seen.append(rules) or [],
    )
    for name in ("me", "Ann"):
        save(PlayerRecord(name=name, handed=Handed.LEFT, ball_line_cm=4.0))
    file = tmp_path / "empty.toml"
    file.write_text("", encoding="utf-8")
    words = ["measure", "a.mp4", "--out", str(tmp_path), "--settings", str(file)]
    assert main(words) == 0
    assert (seen[-1].handed, seen[-1].ball_line_cm) == (Handed.RIGHT, 0.0)
    assert main([*words, "--player", "Ann"]) == 0
    assert (seen[-1].handed, seen[-1].ball_line_cm) == (Handed.LEFT, 4.0)
    assert "Player Ann: left-hander" in capsys.readouterr().out


def test_the_spread_is_a_line_of_its_own_without_a_screen():
    engine = Engine(Rules())
    frames, known = frames_and_poses(good_reps(3))
    reps = [s.rep for f in frames if (s := engine.feed(f.t_s, known[f.index])[1]).rep]
    (line,) = spread_line(reps)
    assert line.startswith("3 reps: turn spread ±")
    assert "player and camera together" in line
    assert list(spread_line(reps[:2])) == []
