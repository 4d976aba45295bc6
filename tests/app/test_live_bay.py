"""The coach's bay through the mirror: players in turn, each with a sitting of their own."""

import datetime
from dataclasses import replace

import pytest
from bay_run import BayRun
from fakes import FakeEstimator, FakeSource, frames_and_poses, good_reps, mirror, outcome
from golfer import SETUP, TOP, Script
from test_putting_together import Theatre

from trainer.core.records import Handed
from trainer.core.rules import OwnRep, Rules
from trainer.players import PlayerRecord, load, record_path, save
from trainer.ports import KeyAction
from trainer.recorder import TraceRecorder
from trainer.replay import replay
from trainer.store.file import open_store

TODAY = datetime.date.today()


def kept_reps():
    with open_store() as store:
        return {
            line.session.player: [
                (one.rep.number, one.handed.value, one.aim.target_deg)
                for one in store.reps_of(line.session)
            ]
            for line in store.sessions()
        }


@pytest.fixture
def three():
    save(PlayerRecord(name="Ann", handed=Handed.RIGHT, target_deg=80.0))
    save(PlayerRecord(name="Bob", handed=Handed.LEFT, target_deg=70.0, ball_line_cm=3.0))
    save(PlayerRecord(name="Cleo", handed=Handed.RIGHT, own=OwnRep(turn_deg=88.0), own_date=TODAY))


def test_the_next_player_comes_by_one_key_with_name_side_target_and_ball_line(monkeypatch, three):
    bay = BayRun(monkeypatch, good_reps(2), [(5.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    view = bay.views[5.0]
    assert view.announced.name == "Bob"
    assert view.announced.lines == (
        "left-hander  ·  target 70°  ·  head ±5, hips ±4 cm",
        "Ball line 3 cm from the lead shoulder, away from the target",
    )
    last = bay.screen.views[-1]
    assert (last.handed_left, last.target_deg) == (True, 70.0)
    assert last.reps == 0  # the right-hander's reps are not Bob's


def test_each_players_reps_go_on_their_own_record_and_the_round_goes_on_where_it_was(
    monkeypatch, three
):
    keys = [(5.0, KeyAction.NEXT_PLAYER), (9.3, KeyAction.NEXT_PLAYER)]
    keys += [(13.6, KeyAction.NEXT_PLAYER)]
    # Bob swings left-handed, so what a right-hander does in his turn is no rep of his.
    bay = BayRun(monkeypatch, good_reps(4), keys)
    result = bay.live()
    assert kept_reps() == {
        "Ann": [(1, "right", 80.0), (2, "right", 80.0)],
        "Cleo": [(1, "right", 85.0)],
    }
    by_player = {one.player: len(one.reps) for one in result.sittings}
    assert by_player == {"Ann": 2, "Bob": 0, "Cleo": 1}
    assert bay.screen.views[-1].reps == 2  # Ann again: her sitting went on
    assert [name for name in ("Bob", "Cleo") if any(name in said for said in bay.said)]


def test_shift_goes_the_other_way_round(monkeypatch, three):
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.PREVIOUS_PLAYER)])
    bay.live()
    assert bay.views[1.0].announced.name == "Cleo"


def test_a_rep_cut_off_by_the_next_player_stays_the_first_ones(monkeypatch, three):
    script = Script().hold(2.0).move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(1.0)
    bay = BayRun(monkeypatch, script, [(2.9, KeyAction.PREVIOUS_PLAYER)])
    bay.live()
    with open_store() as store:
        (one,) = store.all_reps()
    assert (one.session.player, one.rep.complete) == ("Ann", False)


def test_a_rep_cut_off_by_the_next_player_gives_its_number_to_no_other(monkeypatch, three):
    keys = [(2.9, KeyAction.PREVIOUS_PLAYER), (4.6, KeyAction.NEXT_PLAYER)]
    bay = BayRun(monkeypatch, good_reps(3), keys)
    bay.live()
    with open_store() as store:
        ann = [(one.rep.number, one.rep.complete) for one in store.all_reps("Ann")]
    assert ann == [(1, False), (2, True), (3, True)]


def test_pain_stays_with_the_player_who_has_it(monkeypatch, three):
    keys = [(1.0, KeyAction.PAIN), (2.0, KeyAction.NEXT_PLAYER), (3.0, KeyAction.PREVIOUS_PLAYER)]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    bay.live()
    frames_of_bob = [view for view in bay.screen.views if view.handed_left]
    assert frames_of_bob
    assert not any(view.pain for view in frames_of_bob)
    assert bay.screen.views[-1].pain
    assert "no turn is asked for" in bay.views[3.0].announced.lines[0]


def test_options_for_one_player_are_not_the_next_ones(monkeypatch):
    save(PlayerRecord(name="Ann", stature_cm=160.0, comfort_deg=60.0, target_deg=50.0))
    save(PlayerRecord(name="Bob"))
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    result = bay.live(cues={"target_deg": 77.0})
    rules = result.rules
    assert (rules.stature_cm, rules.comfort_deg, rules.own) == (None, None, None)
    assert rules.cues.target_deg == 85.0


def test_alone_on_the_roster_the_key_says_so(monkeypatch):
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    assert "Nobody else has a record" in bay.views[1.0].answer


def test_a_record_that_contradicts_itself_says_which_target_counts(monkeypatch):
    save(PlayerRecord(name="Bob", target_deg=95.0, comfort_deg=70.0))
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    assert bay.views[1.0].announced.lines[-1] == (
        "Target 95° is over the comfortable maximum: 75° is asked for"
    )
    assert bay.screen.views[-1].target_deg == 75.0


def test_a_damaged_record_of_the_next_player_is_said_and_set_aside(monkeypatch):
    record_path("Bob").write_text("schema = 2\nstature_cm = 17\n", encoding="utf-8")
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    assert "bob was damaged" in bay.views[1.0].announced.lines[-1]
    assert record_path("Bob").with_name("player-bob.toml.damaged").exists()


def test_what_another_program_changed_on_the_roster_counts_at_the_next_turn(monkeypatch, three):
    def elsewhere():
        ann, _ = load("Ann")
        save(replace(ann, head_tol_cm=7.0))  # the target is left as it was
        save(PlayerRecord(name="Bea", handed=Handed.LEFT))
        record_path("Bob").unlink()

    keys = [(1.0, KeyAction.NEXT_PLAYER), (2.0, elsewhere), (3.0, KeyAction.PREVIOUS_PLAYER)]
    keys += [(4.0, KeyAction.PREVIOUS_PLAYER)]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    result = bay.live()
    # The new one lies between them; who was here stays in the round without a record.
    assert [bay.views[at].announced.name for at in (1.0, 3.0, 4.0)] == ["Bob", "Bea", "Ann"]
    assert result.rules.cues.head_tol_cm == 7.0
    assert result.rules.cues.target_deg == 80.0
    assert load("Ann")[0].head_tol_cm == 7.0


def test_a_record_removed_meanwhile_keeps_its_reps_and_comes_back_with_the_next_change(
    monkeypatch, three
):
    keys = [(1.0, lambda: record_path("Ann").unlink()), (2.0, KeyAction.ADJUST)]
    keys += [(2.5, KeyAction.LESS)]
    bay = BayRun(monkeypatch, good_reps(2), keys)
    bay.live()
    assert len(kept_reps()["Ann"]) == 2
    record, trouble = load("Ann")
    assert (record.target_deg, record.turn_band_deg, trouble) == (80.0, 4.0, "")


def test_a_file_whose_name_is_no_players_is_left_out_of_the_round(monkeypatch, three):
    record_path("Ann").with_name("player-a.copy of ann.toml").write_text("schema = 2\n")
    keys = [(1.0 + n, KeyAction.NEXT_PLAYER) for n in range(3)]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    bay.live()
    assert [bay.views[at].announced.name for at, _ in keys] == ["Bob", "Cleo", "Ann"]


def test_a_folder_that_cannot_be_looked_into_leaves_who_was_here(monkeypatch, three):
    def refuse(folder=None):
        raise PermissionError

    keys = [
        (1.0, KeyAction.NEXT_PLAYER),
        (2.0, lambda: monkeypatch.setattr("trainer.roster.roster", refuse)),
        (3.0, KeyAction.NEXT_PLAYER),
    ]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    bay.live()
    assert bay.views[3.0].announced.name == "Ann"


# --- a trace, nobody, far ---


def test_a_trace_is_of_the_first_player_and_plays_the_same(monkeypatch, three, tmp_path):
    path = tmp_path / "ann.trace"
    keys = [(1.0, KeyAction.MORE), (1.1, KeyAction.ADJUST), (1.2, KeyAction.MORE)]
    keys += [(5.0, KeyAction.NEXT_PLAYER)]
    bay = BayRun(monkeypatch, good_reps(2), keys)
    bay.live(record=path)
    played = replay(path, lambda step, rules: None)
    assert played.whole
    assert played.first_difference_s is None
    assert len(played.reps) == 1
    assert (played.rules.cues.target_deg, played.rules.cues.turn_band_deg) == (81.0, 6.0)


def alone_for(seconds):
    """A rep, nobody for so long (a reading every 5 s), and a rep again."""
    frames, known = frames_and_poses(good_reps(1))
    last = frames[-1]
    gone = [
        replace(last, t_s=last.t_s + 5.0 * n, index=1000 + n)
        for n in range(1, int(seconds / 5.0) + 1)
    ]
    back_s = gone[-1].t_s + 0.1 - frames[0].t_s
    back = [replace(one, t_s=one.t_s + back_s, index=one.index + 10_000) for one in frames]
    poses = {**known, **dict.fromkeys((one.index for one in gone), None)}
    poses |= {one.index + 10_000: known[one.index] for one in frames}
    return [*frames, *gone, *back], poses


@pytest.mark.parametrize(("seconds", "sittings"), [(590, [2]), (620, [1, 1])])
def test_nobody_for_ten_minutes_closes_the_sitting_and_loses_nothing(seconds, sittings, tmp_path):
    from trainer.store.keeper import Made, RepKeeper
    from trainer.store.records import Kind
    from trainer.store.writer import RepWriter

    frames, poses = alone_for(seconds)
    path = tmp_path / "day.trace"
    recorder = TraceRecorder(path, Rules(), "stick golfer")
    writer = RepWriter()
    live, _, _ = mirror(
        FakeSource(frames),
        FakeEstimator(poses),
        rep_keeper=RepKeeper("Ann", Made(kind=Kind.LIVE, source="pretend"), writer),
        recorder=recorder,
    )
    views = []
    live._on_step = lambda step, rules: views.append(live._view())
    result = outcome(live)
    writer.close()
    recorder.close()
    with open_store() as store:
        lines = store.sessions("Ann")
        kept = [len(store.reps_of(line.session)) for line in reversed(lines)]
    assert kept == sittings
    assert [len(one.reps) for one in result.sittings] == sittings
    assert live._view().reps == sittings[-1]
    told = any("Nobody for 10 minutes: the sitting of 1 rep is closed" in words
               for view in views for words in view.notices)  # fmt: skip
    assert told == (len(sittings) == 2)
    assert not any("Nobody for" in words for words in live._view().notices)  # somebody came back
    assert any(view.practice.paused for view in views if view.practice)
    played = replay(path, lambda step, rules: None)
    assert played.first_difference_s is None
    assert [rep.number for rep in played.reps] == [rep.number for rep in result.reps]


def test_a_key_pressed_counts_as_somebody():
    frames, poses = alone_for(620)
    middle = len(frames) // 2
    live, _, _ = mirror(FakeSource([]), FakeEstimator(poses))

    def press():
        live._touched = True  # what the window's loop does at every key

    live._source = FakeSource([*frames[:middle], press, *frames[middle:]])
    assert [len(one.reps) for one in outcome(live).sittings] == [2]


def test_the_large_figures_come_by_setting_and_go_by_key(monkeypatch):
    bay = BayRun(monkeypatch, good_reps(1), [(1.0, KeyAction.FAR)])
    bay.live(screen={"far": True})
    assert bay.screen.views[0].far
    assert not bay.screen.views[-1].far


def test_nobody_else_is_followed_while_the_player_swings():
    frames, known = frames_and_poses(good_reps(1))
    estimator, steps = FakeEstimator(known), []
    live, _, _ = mirror(
        FakeSource(frames), estimator, on_step=lambda step, rules: steps.append(step)
    )
    outcome(live)
    assert estimator.held == [
        step.phase.value in ("takeaway", "backswing", "top") for step in steps
    ]
    assert 20 < sum(estimator.held) < len(steps)


def test_in_the_demo_the_large_figures_stay_from_clip_to_clip(monkeypatch):
    asked = {0: [KeyAction.FAR]}
    theatre = Theatre(
        monkeypatch, [(good_reps(1), Handed.RIGHT), (good_reps(1), Handed.LEFT)], asked
    )
    theatre.demo()
    seen = [view.far for view in theatre.screen.views]
    assert not seen[0]
    assert all(view.far for view in theatre.screen.views if view.handed_left)
