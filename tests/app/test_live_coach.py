"""A coach's keys through the mirror: words on a rep, the rep standing still, targets by steps."""

import csv
import datetime
from dataclasses import replace

import pytest
from bay_run import BayRun
from fakes import good_reps
from golfer import SETUP, TOP, Body, Script

from trainer.core.records import Handed
from trainer.core.rules import OwnRep
from trainer.players import PlayerRecord, load, save
from trainer.ports import KeyAction
from trainer.report.chosen import gather
from trainer.store.export import export
from trainer.store.file import open_store

TODAY = datetime.date.today()
SHORT = Body(arc_deg=130.0, turn_deg=60.0, hip_turn_deg=25.0)


# --- a word on a rep ---


def test_the_coachs_verdict_and_note_are_kept_with_the_last_rep_and_told(monkeypatch, tmp_path):
    keys = [(4.5, KeyAction.COACH_NOT_GOOD), (4.6, KeyAction.NOTE), (4.7, "slower, lead knne")]
    keys += [(4.8, "\b\b\b"), (4.9, "nee\n"), (9.0, KeyAction.COACH_GOOD)]
    bay = BayRun(monkeypatch, good_reps(2), keys)
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
    bay = BayRun(monkeypatch, good_reps(2), keys)
    bay.live()
    with open_store() as store:
        first, second = store.all_reps()
    assert (first.note, second.note) == ("p q b", None)
    assert second.rep.complete
    assert not bay.screen.views[-1].pain  # its letters are no keys


def test_the_same_verdict_once_more_takes_it_back_and_esc_drops_a_note(monkeypatch):
    keys = [(4.5, KeyAction.COACH_GOOD), (4.6, KeyAction.COACH_GOOD), (4.7, KeyAction.NOTE)]
    keys += [(4.8, "never mind\x1b")]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    bay.live()
    assert bay.views[4.6].answer.endswith("coach: taken back")
    with open_store() as store:
        (one,) = store.all_reps()
    assert (one.coach_good, one.note) == (None, None)


def test_before_any_rep_there_is_nothing_to_judge_and_without_keeping_it_is_said(monkeypatch):
    keys = [(1.0, KeyAction.COACH_GOOD), (1.1, KeyAction.NOTE), (4.5, KeyAction.COACH_GOOD)]
    bay = BayRun(monkeypatch, good_reps(1), keys)
    bay.live(keep=False)
    assert bay.views[1.0].answer == "No rep yet"
    assert bay.views[1.1].writing is None
    assert bay.views[4.5].answer == "Ann, rep 1, coach: good (nothing is kept)"


def test_a_guess_is_kept_with_its_rep_by_key(monkeypatch):
    keys = [(4.3, KeyAction.GUESS_PAST), (9.0, KeyAction.GUESS_SHORT)]
    bay = BayRun(monkeypatch, good_reps(3), keys)
    bay.live(practice={"guess_first": True})
    with open_store() as store:
        assert [one.guess for one in store.all_reps()] == ["past", "short", None]


# --- the rep standing still ---


def looking(monkeypatch, keys, tops=(TOP, SHORT), **values):
    script = Script().hold(2.0)
    for top in tops:
        script.move(top, 1.0).hold(0.3).move(SETUP, 0.5).hold(2.5)
    bay = BayRun(monkeypatch, script, keys)
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


def test_the_target_moves_by_keys_is_shown_at_once_and_kept_with_the_player(monkeypatch):
    save(PlayerRecord(name="Ann", handed=Handed.RIGHT, target_deg=80.0))
    save(PlayerRecord(name="Bob", handed=Handed.LEFT, target_deg=70.0))
    keys = [(1.0 + 0.1 * n, KeyAction.MORE) for n in range(3)]
    keys += [(1.5, KeyAction.ADJUST), (1.6, KeyAction.ADJUST), (1.7, KeyAction.LESS)]
    keys += [(2.0, KeyAction.NEXT_PLAYER)]
    bay = BayRun(monkeypatch, good_reps(1), keys)
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
    bay = BayRun(monkeypatch, good_reps(1), keys)
    result = bay.live()
    assert result.rules.cues.target_deg == 85.0
    assert any("no target above 85°" in view.answer for view in bay.screen.views)
