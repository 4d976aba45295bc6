"""The coach's bay through the mirror: players in turn, words on a rep, the rep standing still."""

import csv
import datetime
import threading
from dataclasses import replace

import pytest
from fakes import (
    FakeEstimator,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
    wait_for,
)
from golfer import SETUP, TOP, Body, Script
from test_putting_together import Theatre

from trainer.core.records import Handed
from trainer.core.rules import OwnRep, Rules
from trainer.keeping import open_keeper
from trainer.live import run_live
from trainer.players import PlayerRecord, load, record_path, save
from trainer.ports import KeyAction
from trainer.recorder import TraceRecorder
from trainer.replay import replay
from trainer.report.chosen import gather
from trainer.settings import from_values
from trainer.store.export import export
from trainer.store.file import open_store

TODAY = datetime.date.today()
SHORT = Body(arc_deg=130.0, turn_deg=60.0, hip_turn_deg=25.0)


class Bay(Theatre):
    """A run of `trainer live` with keys pressed at given times of its one clip."""

    def __init__(self, monkeypatch, script, keys):
        super().__init__(monkeypatch, [(script, Handed.RIGHT)])
        frames, known = frames_and_poses(script)
        self.views = {}
        plan = list(frames)
        for at_s, what in sorted(keys, reverse=True, key=lambda key: key[0]):
            row = next(i for i, frame in enumerate(frames) if frame.t_s >= at_s)
            plan.insert(row, self._press(at_s, what))
        source = FakeSource(plan)
        monkeypatch.setattr("trainer.adapters.camera.open_source", lambda spec, **more: source)
        monkeypatch.setattr("trainer.live.pose_opener", lambda model: lambda: FakeEstimator(known))

    def _press(self, at_s, what):
        screen = self.screen

        def press():
            if callable(what):
                what()
                return
            done = threading.Event()
            if isinstance(what, KeyAction):
                screen.ask(what)
            else:
                screen.type(what)
            screen._on_view = lambda view: (
                None if screen._actions or screen._letters else done.set()
            )
            wait_for(done)
            self.views[at_s] = screen.views[-1]

        return press

    def live(self, player="Ann", record=None, keep=True, **values):
        values = {"camera": {"source": "0.mp4"}, "player": {"keep": keep}, **values}
        settings, keeper = open_keeper(player, from_values(values, "test"), read_only=not keep)
        return run_live(
            settings,
            stage=self.stage,
            model=None,
            record=record,
            say=self.said.append,
            keeper=keeper,
        )


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
    bay = Bay(monkeypatch, good_reps(2), [(5.0, KeyAction.NEXT_PLAYER)])
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
    bay = Bay(monkeypatch, good_reps(4), keys)
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
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.PREVIOUS_PLAYER)])
    bay.live()
    assert bay.views[1.0].announced.name == "Cleo"


def test_a_rep_cut_off_by_the_next_player_stays_the_first_ones(monkeypatch, three):
    script = Script().hold(2.0).move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(1.0)
    bay = Bay(monkeypatch, script, [(2.9, KeyAction.PREVIOUS_PLAYER)])
    bay.live()
    with open_store() as store:
        (one,) = store.all_reps()
    assert (one.session.player, one.rep.complete) == ("Ann", False)


def test_pain_stays_with_the_player_who_has_it(monkeypatch, three):
    keys = [(1.0, KeyAction.PAIN), (2.0, KeyAction.NEXT_PLAYER), (3.0, KeyAction.PREVIOUS_PLAYER)]
    bay = Bay(monkeypatch, good_reps(1), keys)
    bay.live()
    frames_of_bob = [view for view in bay.screen.views if view.handed_left]
    assert frames_of_bob
    assert not any(view.pain for view in frames_of_bob)
    assert bay.screen.views[-1].pain
    assert "no turn is asked for" in bay.views[3.0].announced.lines[0]


def test_options_for_one_player_are_not_the_next_ones(monkeypatch):
    save(PlayerRecord(name="Ann", stature_cm=160.0, comfort_deg=60.0, target_deg=50.0))
    save(PlayerRecord(name="Bob"))
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    result = bay.live(cues={"target_deg": 77.0})
    rules = result.rules
    assert (rules.stature_cm, rules.comfort_deg, rules.own) == (None, None, None)
    assert rules.cues.target_deg == 85.0


def test_alone_on_the_roster_the_key_says_so(monkeypatch):
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    assert "Nobody else has a record" in bay.views[1.0].answer


def test_a_record_that_contradicts_itself_says_which_target_counts(monkeypatch):
    save(PlayerRecord(name="Bob", target_deg=95.0, comfort_deg=70.0))
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
    bay.live()
    assert bay.views[1.0].announced.lines[-1] == (
        "Target 95° is over the comfortable maximum: 75° is asked for"
    )
    assert bay.screen.views[-1].target_deg == 75.0


def test_a_damaged_record_of_the_next_player_is_said_and_set_aside(monkeypatch):
    record_path("Bob").write_text("schema = 2\nstature_cm = 17\n", encoding="utf-8")
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.NEXT_PLAYER)])
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
    bay = Bay(monkeypatch, good_reps(1), keys)
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
    bay = Bay(monkeypatch, good_reps(2), keys)
    bay.live()
    assert len(kept_reps()["Ann"]) == 2
    record, trouble = load("Ann")
    assert (record.target_deg, record.turn_band_deg, trouble) == (80.0, 4.0, "")


# --- a word on a rep ---


def test_the_coachs_verdict_and_note_are_kept_with_the_last_rep_and_told(monkeypatch, tmp_path):
    keys = [(4.5, KeyAction.COACH_NOT_GOOD), (4.6, KeyAction.NOTE), (4.7, "slower, lead knne")]
    keys += [(4.8, "\b\b\b"), (4.9, "nee\n"), (9.0, KeyAction.COACH_GOOD)]
    bay = Bay(monkeypatch, good_reps(2), keys)
    bay.live()
    assert bay.views[4.5].answer == "Ann, rep 1, coach: not good"
    assert "coach: not good" in bay.views[4.5].last_rep_words
    assert bay.views[4.6].writing.title == "Note on Ann, rep 1"
    assert bay.views[4.8].writing.text == "slower, lead k"
    assert bay.views[4.9].writing is None
    assert bay.views[4.9].answer == "Note on Ann, rep 1"
    with open_store() as store:
        first, second = store.all_reps()
        material = gather(store, "Ann", "last")
        export(store, tmp_path)
    assert (first.coach_good, first.note) == (False, "slower, lead knee")
    assert (second.coach_good, second.note) == (True, None)
    assert [kept.note for kept in material.reps] == ["slower, lead knee", None]
    with (tmp_path / "reps.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["coach_good"], row["note"]) for row in rows] == [
        ("false", "slower, lead knee"),
        ("true", ""),
    ]


def test_the_mirror_goes_on_while_a_note_is_written(monkeypatch):
    """The note is begun after the first rep and ended after the second: it is of the first."""
    keys = [(4.5, KeyAction.NOTE), (4.6, "p q "), (9.0, "b\n")]
    bay = Bay(monkeypatch, good_reps(2), keys)
    bay.live()
    with open_store() as store:
        first, second = store.all_reps()
    assert (first.note, second.note) == ("p q b", None)
    assert second.rep.complete
    assert not bay.screen.views[-1].pain  # its letters are no keys


def test_the_same_verdict_once_more_takes_it_back_and_esc_drops_a_note(monkeypatch):
    keys = [(4.5, KeyAction.COACH_GOOD), (4.6, KeyAction.COACH_GOOD), (4.7, KeyAction.NOTE)]
    keys += [(4.8, "never mind\x1b")]
    bay = Bay(monkeypatch, good_reps(1), keys)
    bay.live()
    assert bay.views[4.6].answer.endswith("coach: taken back")
    with open_store() as store:
        (one,) = store.all_reps()
    assert (one.coach_good, one.note) == (None, None)


def test_before_any_rep_there_is_nothing_to_judge_and_without_keeping_it_is_said(monkeypatch):
    keys = [(1.0, KeyAction.COACH_GOOD), (1.1, KeyAction.NOTE), (4.5, KeyAction.COACH_GOOD)]
    bay = Bay(monkeypatch, good_reps(1), keys)
    bay.live(keep=False)
    assert bay.views[1.0].answer == "No rep yet"
    assert bay.views[1.1].writing is None
    assert bay.views[4.5].answer == "Ann, rep 1, coach: good (nothing is kept)"


def test_a_guess_is_kept_with_its_rep_by_key(monkeypatch):
    keys = [(4.3, KeyAction.GUESS_PAST), (9.0, KeyAction.GUESS_SHORT)]
    bay = Bay(monkeypatch, good_reps(3), keys)
    bay.live(practice={"guess_first": True})
    with open_store() as store:
        assert [one.guess for one in store.all_reps()] == ["past", "short", None]


# --- the rep standing still ---


def looking(monkeypatch, keys, tops=(TOP, SHORT), **values):
    script = Script().hold(2.0)
    for top in tops:
        script.move(top, 1.0).hold(0.3).move(SETUP, 0.5).hold(2.5)
    bay = Bay(monkeypatch, script, keys)
    bay.result = bay.live(**values)
    return bay


def test_the_last_rep_stands_still_and_is_stepped_through_and_the_mirror_comes_back(monkeypatch):
    keys = [(4.5, KeyAction.LOOK_BACK), (4.6, KeyAction.LOOK_EARLIER), (4.7, KeyAction.LOOK_BEFORE)]
    keys += [(4.8, KeyAction.LOOK_BEFORE), (4.9, KeyAction.LOOK_LATER), (5.0, KeyAction.LOOK_BACK)]
    bay = looking(monkeypatch, keys)
    top, earlier, takeaway, setup, later = (
        bay.views[at].looked for at in (4.5, 4.6, 4.7, 4.8, 4.9)
    )
    assert top.title == "Ann, rep 1"
    assert top.figures[0].title.startswith("top: ")
    said = dict(top.rows)
    assert said["shoulder turn"].startswith("90°")
    assert top.share > earlier.share > takeaway.share > setup.share == 0.0
    assert later.share > 0.0
    assert takeaway.figures[0].title == "takeaway"
    assert setup.figures[0].title.startswith("setup: 0.")
    assert dict(setup.rows)["shoulder turn"].startswith(("0°", "1°", "not"))
    assert len(top.figures[0].hands_px) > len(takeaway.figures[0].hands_px) > 1
    assert bay.views[5.0].looked is None
    # The mirror went on behind it: the second rep was counted.
    assert bay.screen.views[-1].reps == 2


def test_a_word_said_while_a_rep_stands_still_is_about_that_rep(monkeypatch):
    keys = [(4.5, KeyAction.LOOK_BACK), (9.0, KeyAction.COACH_GOOD), (9.1, KeyAction.LOOK_BACK)]
    bay = looking(monkeypatch, keys)
    assert bay.views[9.0].looked.title == "Ann, rep 1  ·  coach: good"
    with open_store() as store:
        assert [one.coach_good for one in store.all_reps()] == [True, None]


def test_what_is_to_be_guessed_is_not_shown(monkeypatch):
    bay = looking(monkeypatch, [(4.3, KeyAction.LOOK_BACK)], practice={"guess_first": True})
    assert bay.views[4.3].looked is None
    assert bay.views[4.3].answer == "The guess comes first"


def test_the_last_top_stands_beside_the_reference_of_this_run(monkeypatch):
    keys = [(4.5, KeyAction.THIS_ONE), (4.6, KeyAction.TOPS), (9.0, KeyAction.TOPS)]
    keys += [(9.1, KeyAction.LOOK_BACK), (9.2, KeyAction.TOPS), (9.3, KeyAction.TOPS)]
    bay = looking(monkeypatch, keys)
    assert bay.views[4.6].answer == "The last rep is the reference itself"
    tops = bay.views[9.0].looked
    assert [figure.title for figure in tops.figures] == ["rep 2", "reference, rep 1"]
    name, mine, other, apart = tops.rows[0]
    assert name == "shoulder turn"
    first, second = (rep.at_top.shoulder_turn_deg for rep in bay.result.reps)
    assert (mine, other) == (f"{second:.0f}°", f"{first:.0f}°")
    assert apart == f"−{first - second:.0f}°"
    assert len(bay.views[9.1].looked.figures) == 1
    assert len(bay.views[9.2].looked.figures) == 2
    assert bay.views[9.3].looked is None


def test_a_reference_marked_earlier_in_the_day_is_found_where_it_was_kept(monkeypatch):
    looking(monkeypatch, [(4.5, KeyAction.THIS_ONE)])
    bay = looking(monkeypatch, [(4.5, KeyAction.TOPS)], tops=(SHORT,))
    tops = bay.views[4.5].looked
    assert [figure.title for figure in tops.figures] == ["rep 1", "reference, rep 1"]
    mine, reference = tops.figures
    assert mine.tall_px == pytest.approx(reference.tall_px, rel=0.02)
    assert tops.rows[0][1].startswith(f"{bay.result.reps[0].at_top.shoulder_turn_deg:.0f}°")
    assert tops.rows[0][2].startswith("90°")


def test_without_a_reference_or_its_rep_there_is_nothing_to_set_beside(monkeypatch):
    bay = looking(monkeypatch, [(4.5, KeyAction.TOPS)], tops=(SHORT,))
    assert bay.views[4.5].answer == "No reference today: T marks the last rep as one"
    ann, _ = load("Ann")
    save(replace(ann, own=OwnRep(turn_deg=12.0), own_date=TODAY))
    bay = looking(monkeypatch, [(4.5, KeyAction.TOPS)], tops=(SHORT,))
    assert bay.views[4.5].answer == "The reference's rep was not kept, so it cannot be drawn"


# --- target and tolerances ---


def test_the_target_moves_by_keys_is_shown_at_once_and_kept_with_the_player(monkeypatch, three):
    keys = [(1.0 + 0.1 * n, KeyAction.MORE) for n in range(3)]
    keys += [(1.5, KeyAction.ADJUST), (1.6, KeyAction.ADJUST), (1.7, KeyAction.LESS)]
    keys += [(2.0, KeyAction.NEXT_PLAYER)]
    bay = Bay(monkeypatch, good_reps(1), keys)
    bay.live()
    targets = [view.target_deg for view in bay.screen.views]
    assert {80.0, 81.0, 82.0, 83.0} <= set(targets)
    said = {view.answer for view in bay.screen.views}
    assert {"Target of the turn 83°", "Head tolerance ±4.5 cm"} <= said
    assert "Up and down now change: head tolerance ±5 cm" in said
    ann, bob = load("Ann")[0], load("Bob")[0]
    assert (ann.target_deg, ann.head_tol_cm) == (83.0, 4.5)
    assert (bob.target_deg, bob.head_tol_cm) == (70.0, None)


def test_no_key_lifts_the_target_over_the_comfortable_maximum(monkeypatch):
    save(PlayerRecord(name="Ann", target_deg=84.0, comfort_deg=80.0))
    keys = [(1.0, KeyAction.MORE), (1.1, KeyAction.MORE), (1.2, KeyAction.MORE)]
    bay = Bay(monkeypatch, good_reps(1), keys)
    result = bay.live()
    assert result.rules.cues.target_deg == 85.0
    assert any("no target above 85°" in view.answer for view in bay.screen.views)


# --- a trace, nobody, far ---


def test_a_trace_is_of_the_first_player_and_plays_the_same(monkeypatch, three, tmp_path):
    path = tmp_path / "ann.trace"
    keys = [(1.0, KeyAction.MORE), (1.1, KeyAction.ADJUST), (1.2, KeyAction.MORE)]
    keys += [(5.0, KeyAction.NEXT_PLAYER)]
    bay = Bay(monkeypatch, good_reps(2), keys)
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
    bay = Bay(monkeypatch, good_reps(1), [(1.0, KeyAction.FAR)])
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
