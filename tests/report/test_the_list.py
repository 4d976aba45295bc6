"""The list of sessions over the mirror, and the desk that makes its reports."""

import datetime as dt
import sqlite3
import sys

import pytest

from tests.report.practice import practice, rep, save, session
from trainer.errors import StoreError
from trainer.ports import KeyAction as K
from trainer.report.desk import ReportDesk
from trainer.report.library import ANSWER_S, KEYS, Library
from trainer.store.file import open_store


class Desk:
    def __init__(self):
        self.asked, self.next_news = [], ""

    def ask(self, player, session, *, name, against=None):
        self.asked.append((player, session, against))
        return "Making the report …"

    def news(self):
        news, self.next_news = self.next_news, ""
        return news


@pytest.fixture
def record(tmp_path):
    path = tmp_path / "kept.sqlite"
    with open_store(path, create=True) as store:
        for number, day in enumerate((1, 4, 9), start=1):
            save(store, *practice(session(number, day=dt.date(2026, 5, day)), 6, seed=number))
        save(store, rep(1, session(7, player="Bo", day=dt.date(2026, 5, 6))))
    return path


@pytest.fixture
def library(record):
    return Library("Ann", desk=Desk(), opened=lambda: open_store(record))


def press(library, *actions):
    for action in actions:
        assert library.take(action, 0.0)


def column(library, number):
    return [row[number] for row in library.listed.rows]


def test_the_list_has_the_newest_session_first_and_its_whole_reps(library):
    press(library, K.SESSIONS)
    assert column(library, 1) == [f"2026-05-0{day} 18:30" for day in (9, 6, 4, 1)]
    assert column(library, 2) == ["Ann", "Bo", "Ann", "Ann"]
    assert column(library, 4) == ["6", "1", "6", "6"]
    assert library.listed.chosen == 0
    press(library, K.SESSIONS)
    assert library.listed is None


def test_choosing_stops_at_both_ends(library):
    press(library, K.SESSIONS, K.LIST_UP)
    assert library.listed.chosen == 0
    press(library, *[K.LIST_DOWN] * 9)
    assert library.listed.chosen == 3


def test_left_and_right_go_through_the_players_and_all(library):
    press(library, K.SESSIONS, K.LIST_DOWN)
    seen = []
    for _ in range(3):
        press(library, K.LIST_NEXT)
        seen.append((library.listed.title, column(library, 2), library.listed.chosen))
    assert seen == [
        ("Sessions of Ann", ["Ann"] * 3, 0),
        ("Sessions of Bo", ["Bo"], 0),
        ("Sessions of all players", ["Ann", "Bo", "Ann", "Ann"], 0),
    ]
    press(library, K.LIST_PREVIOUS)
    assert library.listed.title == "Sessions of Bo"


def test_enter_makes_the_report_of_the_chosen_session(library):
    press(library, K.SESSIONS, K.LIST_DOWN, K.LIST_OPEN)
    assert library._desk.asked == [("Bo", f"{7:032x}", None)]
    assert library.listed.foot == "Making the report …"
    press(library, K.LIST_DOWN)
    assert library.listed.foot == KEYS


def test_two_marked_sessions_are_compared_the_older_one_first(library):
    press(library, K.SESSIONS, K.LIST_MARK, K.LIST_DOWN, K.LIST_DOWN, K.LIST_MARK)
    assert library.listed.head == ("average", "2026-05-04 18:30", "2026-05-09 18:30", "difference")
    assert len(library.listed.rows) == 5
    press(library, K.LIST_OPEN)
    assert library._desk.asked == [("Ann", f"{3:032x}", f"{2:032x}")]
    press(library, K.LIST_MARK)
    assert library.listed.title == "Sessions of all players"
    assert "marked" not in column(library, 0)


def test_the_compared_averages_are_those_of_the_record(library, record):
    press(library, K.SESSIONS, K.LIST_MARK, K.LIST_DOWN, K.LIST_DOWN, K.LIST_MARK)
    with sqlite3.connect(record) as db:
        (mean, count), = db.execute(
            "SELECT avg(top_shoulder_turn_deg), count(top_shoulder_turn_deg) FROM reps "
            "JOIN sessions ON sessions.id = session_id WHERE uid = ?", (f"{2:032x}",),
        ).fetchall()  # fmt: skip
    assert library.listed.rows[0][1] == f"{mean:.0f}° ({count} reps)"


def test_a_mark_is_taken_away_by_a_second_press(library):
    press(library, K.SESSIONS, K.LIST_MARK)
    assert column(library, 0)[0] == "marked"
    press(library, K.LIST_MARK)
    assert column(library, 0)[0] == ""


def test_sessions_of_two_players_are_not_compared(library):
    press(library, K.SESSIONS, K.LIST_MARK, K.LIST_DOWN, K.LIST_MARK)
    assert library.listed.foot == "Two sessions of one player can be compared"
    assert column(library, 0) == ["marked", "", "", ""]


def test_the_report_key_makes_the_players_last_report_without_the_list(library):
    press(library, K.REPORT)
    assert library._desk.asked == [("Ann", "last", None)]
    assert library.listed is None
    assert library.answer(0.0) == "Making the report …"
    assert library.answer(ANSWER_S) == ""


def test_how_the_report_ended_is_said_when_it_ended(library):
    press(library, K.REPORT)
    library._desk.next_news = "Report: somewhere.html"
    assert library.answer(100.0) == "Report: somewhere.html"
    assert library.answer(100.0 + ANSWER_S) == ""


def test_keys_of_the_list_do_nothing_while_it_is_not_shown(library):
    press(library, K.LIST_DOWN, K.LIST_MARK, K.LIST_OPEN, K.LIST_NEXT)
    assert library.listed is None
    assert library._desk.asked == []


@pytest.mark.parametrize("action", [K.PAIN, K.QUIT, K.MUTE, K.FULL_SCREEN, K.NEW_SETUP])
def test_other_keys_are_left_to_the_mirror_also_while_the_list_is_shown(library, action):
    press(library, K.SESSIONS)
    assert not library.take(action, 0.0)


def test_without_a_record_the_reason_is_said_and_nothing_is_shown(tmp_path):
    library = Library("Ann", desk=Desk(), opened=lambda: open_store(tmp_path / "none.sqlite"))
    press(library, K.SESSIONS)
    assert library.listed is None
    assert library.answer(0.0).startswith("there is no record of reps yet")


def test_a_record_that_fails_under_the_list_is_said_in_it(library):
    press(library, K.SESSIONS)

    def fails():
        raise StoreError("the record is in use. It was wanted. Close the other program.")

    library._opened = fails
    press(library, K.LIST_NEXT)
    assert library.listed.foot.startswith("the record is in use")


def test_a_record_without_sessions_is_an_empty_list(tmp_path):
    path = tmp_path / "empty.sqlite"
    open_store(path, create=True).close()
    library = Library("Ann", desk=Desk(), opened=lambda: open_store(path))
    press(library, K.SESSIONS, K.LIST_DOWN, K.LIST_MARK, K.LIST_OPEN, K.LIST_NEXT)
    assert library.listed.rows == ()
    assert library.listed.chosen is None


# The desk.


def test_the_desk_makes_a_real_page_in_a_process_of_its_own(tmp_path, monkeypatch):
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path))
    monkeypatch.setenv("BROWSER", f"{sys.executable} -c pass %s")
    with open_store(create=True) as store:
        save(store, *practice(session(), 4))
    desk = ReportDesk()
    assert desk.ask("Ann", "last", name="report-Ann") == "Making the report …"
    assert desk.ask("Ann", "last", name="report-Ann") == "A report is being made already"
    desk._process.wait(timeout=300)
    path = tmp_path / "reports" / "report-Ann.html"
    assert desk.news() == f"Report: {path}"
    assert "Ann made 4 whole reps" in path.read_text(encoding="utf-8")
    assert desk.news() == ""


class Ended:
    """A process that has ended."""

    def __init__(self, returncode):
        self.returncode = returncode

    def poll(self):
        return self.returncode


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (
            b"noise\nReportError: nothing to tell. Reps were wanted.\n",
            "nothing to tell. Reps were wanted.",
        ),
        (b"", "it broke off"),
    ],
)
def test_a_report_that_fails_says_why(told, said):
    def start(command, file):
        file.write(told)
        return Ended(1)

    desk = ReportDesk(start)
    desk.ask("Ann", "last", name="x")
    assert desk.news() == f"No report: {said}"


def test_a_process_that_cannot_be_started_is_said():
    def start(command, told):
        raise OSError(12, "Cannot allocate memory")

    desk = ReportDesk(start)
    assert "Cannot allocate memory" in desk.ask("Ann", "last", name="x")
    assert desk.news() == ""
