"""Practice in the live mirror: kinds, schedules and guesses reach the glass, the ear, the trace."""

from dataclasses import replace

import pytest
from fakes import (
    FakeEstimator,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
    two_faults,
)
from golfer import SETUP, TOP, Script
from test_live_actions import asking

from trainer.cli import _parser
from trainer.core.practice_rules import CueSchedule, PracticeKind, PracticeRules
from trainer.core.records import CueKind, Phase, Signal
from trainer.core.rules import Rules
from trainer.engine import Engine
from trainer.ports import KeyAction
from trainer.recorder import TraceRecorder
from trainer.replay import replay
from trainer.settings import Settings, with_options
from trainer.words import step_lines


def live_of(script, **practice):
    frames, known = frames_and_poses(script)
    steps = []
    live, sounder, screen = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        rules=Rules(practice=PracticeRules(**practice)),
        on_step=lambda step, rules: steps.append((step, rules)),
    )
    return live, sounder, screen, steps


def test_on_your_own_no_tone_sounds_and_no_figure_is_given_to_the_screen():
    live, sounder, screen, steps = live_of(two_faults(), cues=CueSchedule.SILENT)
    (rep, *_) = outcome(live).reps
    assert rep.cues
    assert rep.verdict.told is False
    assert sounder.played == []
    assert all(view.last_rep is None and view.last_rep_words == () for view in screen.views)
    seen = set()
    said = [line for step, rules in steps for line in step_lines(step, rules, seen_notices=seen)]
    assert any("on your own, not told" in line for line in said)
    assert not any("cue:" in line for line in said)


def test_the_reps_number_is_sounded_also_when_nothing_else_is():
    live, sounder, _, _ = live_of(good_reps(2), cues=CueSchedule.SILENT)
    outcome(live)
    assert [signal for signal, _ in sounder.signals] == [Signal.COUNT_1, Signal.COUNT_2]


def test_muted_no_signal_sounds():
    live, sounder, _, _ = live_of(good_reps(1))
    live._muted = True
    outcome(live)
    assert sounder.signals == []


@pytest.mark.parametrize("kind", list(PracticeKind))
def test_each_kind_can_be_chosen_by_name_and_shown(kind):
    live, sounder, _, steps = asking(good_reps(1), 0.5, KeyAction(kind.value))
    outcome(live)
    assert steps[-1][1].practice.kind is kind
    assert live._view().practice.kind is kind  # what the window would show next
    assert Signal.NEXT_KIND in [signal for signal, _ in sounder.signals]


def test_next_and_previous_go_round_the_kinds():
    engine = Engine(Rules())
    seen = []
    for _ in range(6):
        engine.act(KeyAction.NEXT_KIND)
        seen.append(engine.rules.practice.kind)
    assert seen[:5] == [*list(PracticeKind)[1:], PracticeKind.FREE]
    engine.act(KeyAction.PREVIOUS_KIND)
    assert engine.rules.practice.kind is PracticeKind.FREE


def test_the_next_schedule_is_told_and_begins_anew():
    engine = Engine(Rules())
    engine.act(KeyAction.NEXT_CUES)
    assert engine.rules.practice.cues is CueSchedule.ALTERNATE
    assert engine.answer == "Cues: every other rep is told"


def test_in_a_pause_nothing_is_looked_for_and_nothing_counts():
    live, sounder, screen, steps = asking(good_reps(2), 4.3, KeyAction.PAUSE)
    result = outcome(live)
    assert len(result.reps) == 1
    assert steps[-1][0].phase is Phase.NOBODY
    assert screen.views[-1].practice.paused
    assert Signal.PAUSED in [signal for signal, _ in sounder.signals]


def test_after_a_pause_the_setup_arms_the_rep_by_itself():
    engine = Engine(Rules())
    frames, known = frames_and_poses(good_reps(2))
    engine.act(KeyAction.PAUSE)
    reps = []
    for frame in frames:
        if not engine.paused or frame.t_s < 3.0:
            pass
        elif engine.paused:
            engine.act(KeyAction.PAUSE)
        _, step = engine.feed(frame.t_s, known[frame.index])
        reps += [step.rep] if step.rep is not None else []
    assert [rep.number for rep in reps] == [1]  # the first was made in the pause


def test_a_guess_is_answered_on_the_glass():
    rules = Rules(practice=PracticeRules(guess_first=True))
    live, _, _, _ = asking(good_reps(1), 4.2, KeyAction.GUESS_THERE, rules=rules)
    views = []
    live._on_step = lambda step, rules: views.append(live._view())  # what the window could show
    outcome(live)
    assert any(view.answer.startswith("You said there") for view in views)


def test_an_offered_silent_check_is_begun_by_the_next_practice_and_told_at_its_end():
    rules = Rules(check_offered=True, practice=PracticeRules(check_reps=2))
    engine = Engine(rules)
    frames, known = frames_and_poses(good_reps(3))
    engine.feed(frames[0].t_s, known[0])
    assert "Silent check of 2 reps" in engine.practice.headline
    engine.act(KeyAction.NEXT_KIND)
    assert engine.rules.practice.kind is PracticeKind.FREE
    verdicts, said = [], []
    for frame in frames[1:]:
        _, step = engine.feed(frame.t_s, known[frame.index])
        verdicts += [step.rep.verdict] if step.rep is not None else []
        said += [engine.answer] if engine.answer else []
    assert [(v.kind, v.told) for v in verdicts] == [
        ("silent_check", False),
        ("silent_check", False),
        ("free", True),
    ]
    assert said[-1].startswith("Silent check: 2 of 2 good, turn about 90°")
    assert engine.check.reps == 2


def folded(pose):
    """Return the pose with its hands at the shoulders, as they hold a shaft across them."""
    from trainer.core.landmarks import Landmark as L

    points = pose.image_px.copy()
    for side, other in (("LEFT", "RIGHT"), ("RIGHT", "LEFT")):
        shoulder = points[L[f"{other}_SHOULDER"]]
        middle = (points[L.LEFT_SHOULDER] + points[L.RIGHT_SHOULDER]) / 2
        for part in ("WRIST", "PINKY", "INDEX", "THUMB"):
            points[L[f"{side}_{part}"]] = middle + 0.6 * (shoulder - middle) + [0.0, 25.0]
    return replace(pose, image_px=points)


def turn_only_engine(script, rules=None):
    rules = rules or Rules()
    practice = PracticeRules(kind=PracticeKind.TURN_ONLY)
    engine = Engine(replace(rules, practice=practice))
    frames, known = frames_and_poses(script)
    steps = []
    for frame in frames:
        pose = known[frame.index]
        fed = engine.feed(frame.t_s, None if pose is None else folded(pose))
        steps.append(fed[1])
    return engine, steps


TURNED = replace(SETUP, turn_deg=90.0, hip_turn_deg=45.0)


def test_turn_only_counts_turns_with_the_hands_on_the_chest():
    script = Script().hold(2.0)
    for _ in range(2):
        script.move(TURNED, 1.5).hold(0.4).move(SETUP, 1.5).hold(1.5)
    engine, steps = turn_only_engine(script)
    reps = [step.rep for step in steps if step.rep is not None]
    assert [rep.number for rep in reps] == [1, 2]
    assert reps[0].at_top.shoulder_turn_deg == pytest.approx(90.0, abs=3.0)
    assert [rep.verdict.good for rep in reps] == [True, True]
    assert reps[0].verdict.kind == "turn_only"
    assert steps[-1].reps == 2
    told = [cue.kind for step in steps for cue in step.told]
    assert told == [CueKind.TURN_REACHED] * 2
    engine.act(KeyAction.THIS_ONE)
    assert engine.rules.own is None  # with folded arms it is no measure for a swing


def test_after_pain_turn_only_asks_for_no_turn():
    script = Script().hold(2.0).move(TURNED, 1.5).hold(0.4).move(SETUP, 1.5).hold(1.0)
    _, steps = turn_only_engine(script, Rules(pain=True))
    assert not [cue for step in steps for cue in step.told]
    (rep,) = [step.rep for step in steps if step.rep is not None]
    assert not any("short" in line for line in rep.verdict.lines)


def test_a_small_turn_or_a_walk_is_no_rep_of_turn_only():
    small = replace(SETUP, turn_deg=12.0)
    script = Script().hold(2.0).move(small, 0.8).move(SETUP, 0.8).hold(1.0)
    script.move(replace(SETUP, walk_cm=120.0, turn_deg=30.0), 1.5).lose(2.0)
    _, steps = turn_only_engine(script)
    assert not [step.rep for step in steps if step.rep is not None]


@pytest.mark.parametrize(
    "actions",
    [
        [KeyAction.CHECKPOINTS],
        [KeyAction.LADDER, KeyAction.NEXT_CUES],
        [KeyAction.GUESS_FIRST, KeyAction.NEXT_CUES],
        [KeyAction.TURN_ONLY, KeyAction.PAUSE, KeyAction.PAUSE],
        [KeyAction.SILENT_CHECK],
    ],
    ids=lambda actions: "+".join(action.value for action in actions),
)
def test_a_recorded_practice_replays_the_same_with_its_actions(tmp_path, actions):
    script = Script().hold(2.5)
    for _ in range(2):
        script.move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(1.8)
    live, _, _, steps = asking(script, 0.4, *actions)
    path = tmp_path / "practice.trace"
    live._recorder = TraceRecorder(path, live._shared.rules, "stick golfer")
    outcome(live)
    live._recorder.close()
    played = []
    result = replay(path, lambda step, rules: played.append(step))
    assert result.whole
    assert result.first_difference_s is None
    assert [step.signals for step in played] == [step.signals for step, _ in steps]
    assert [step.told for step in played] == [step.told for step, _ in steps]
    assert result.rules == steps[-1][1]


def test_the_options_choose_the_practice():
    args = _parser().parse_args(
        ["live", "--practice", "ladder", "--cues", "fading", "--guess-first"]
    )
    settings = with_options(
        Settings(), practice=args.practice, cue_schedule=args.cues, guess_first=args.guess_first
    )
    chosen = settings.rules.practice
    assert (chosen.kind, chosen.cues) == (PracticeKind.LADDER, CueSchedule.FADING)
    assert chosen.guess_first
    assert with_options(Settings()) == Settings()


def test_what_is_off_in_a_setup_is_said_at_setup_and_not_in_a_rep_on_your_own():
    for cues, said in ((CueSchedule.EVERY, True), (CueSchedule.SILENT, False)):
        rules = Rules(ball_line_cm=-20.0, practice=PracticeRules(cues=cues))
        engine = Engine(rules)
        frames, known = frames_and_poses(Script().hold(2.0))
        for frame in frames:
            engine.feed(frame.t_s, known[frame.index])
        assert ("ball far forward" in engine.practice.headline) is said
        engine.act(KeyAction.LINE_AWAY)


def test_moving_the_ball_line_is_looked_at_at_once():
    engine = Engine(Rules(ball_line_cm=-10.0))
    frames, known = frames_and_poses(Script().hold(2.0))
    for frame in frames[:50]:
        engine.feed(frame.t_s, known[frame.index])
    assert engine.practice.headline == ""
    engine.act(KeyAction.LINE_TOWARD)
    engine.feed(frames[50].t_s, known[frames[50].index])
    assert engine.practice.headline == "ball far forward"


def test_the_last_rep_can_be_marked_as_far_as_is_comfortable():
    engine = Engine(Rules())
    engine.act(KeyAction.COMFORT)
    assert engine.rules.comfort_deg is None
    assert engine.answer.startswith("Nothing to mark")
    frames, known = frames_and_poses(
        Script().hold(2.0).move(replace(TOP, turn_deg=70.0), 1.0).hold(0.4).move(SETUP, 0.5).hold(1)
    )
    for frame in frames:
        engine.feed(frame.t_s, known[frame.index])
    engine.act(KeyAction.COMFORT)
    assert engine.rules.comfort_deg == pytest.approx(70.0, abs=4.0)  # read from points
    assert "no target above" in engine.answer


def test_after_pain_marking_a_rep_does_not_raise_the_comfortable_maximum():
    engine = Engine(Rules(comfort_deg=50.0))
    frames, known = frames_and_poses(good_reps(1))
    for frame in frames:
        engine.feed(frame.t_s, known[frame.index])
    engine.act(KeyAction.PAIN)
    engine.act(KeyAction.COMFORT)
    assert engine.rules.comfort_deg == 50.0


def test_the_silent_check_targets_and_comfort_are_kept_with_the_player():
    from trainer.keeping import Keeper
    from trainer.players import PlayerRecord, load

    rules = Rules(check_offered=True, practice=PracticeRules(check_reps=1))
    chosen = replace(rules, cues=replace(rules.cues, target_deg=80.0, head_tol_cm=6.0))
    live, _, _, _ = asking(
        good_reps(1), 0.4, KeyAction.SILENT_CHECK, rules=replace(chosen, comfort_deg=77.0)
    )
    live._shared.keeper = Keeper(PlayerRecord(), rules)
    outcome(live)
    record, _ = load("me")
    assert (record.target_deg, record.head_tol_cm, record.comfort_deg) == (80.0, 6.0, 77.0)
    assert record.practised is not None
    (check,) = record.silent_checks
    assert (check.reps, check.good) == (1, 1)


def test_a_target_lowered_by_pain_is_not_kept():
    from trainer.core.rules import CueRules, OwnRep
    from trainer.keeping import Keeper
    from trainer.players import PlayerRecord, load

    rules = Rules(own=OwnRep(turn_deg=60.0), cues=CueRules(own_top=True))
    live, _, _, _ = asking(good_reps(1), 0.4, KeyAction.PAIN, rules=rules)
    live._shared.keeper = Keeper(PlayerRecord(), rules)
    outcome(live)
    assert live._shared.rules.cues.target_deg == 60.0
    assert load("me")[0].target_deg is None


def test_pain_takes_a_question_back_that_waits_for_its_answer():
    engine = Engine(Rules(practice=PracticeRules(guess_first=True)))
    frames, known = frames_and_poses(
        Script().hold(2.0).move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(0.3)
    )
    for frame in frames:
        engine.feed(frame.t_s, known[frame.index])
    assert engine.practice.headline.startswith("How far was it")
    engine.act(KeyAction.PAIN)
    t_s = frames[-1].t_s + 0.03
    engine.feed(t_s, replace(known[frames[-1].index], t_s=t_s))
    assert engine.practice.headline == ""
    engine.act(KeyAction.GUESS_SHORT)
    assert engine.answer == ""
