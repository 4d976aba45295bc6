"""The page: its numbers worked out again from the record by another way, its words, its safety."""

import datetime as dt
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from tests.report.practice import AIM, practice, rep, save, session, unfinished
from tests.report.reading import MADE, column, page, rows_of, said, strictly, words
from trainer.caution import CAUTION_LINES, PAIN_LINES
from trainer.core.rules import OwnRep
from trainer.report.chosen import Material, SessionReps, gather
from trainer.report.html import el, text_of
from trainer.report.measured import ASKED, GAP, HEAD, TURN
from trainer.report.page import page_of
from trainer.report.wording import count_of


def test_averages_spreads_and_counts_are_those_of_the_record(store):
    save(store, *practice(session(), 30, seed=4), unfinished(31, session()))
    rows = rows_of(page(store), "Averages over the whole reps")
    for title, name, places, unit in (
        ("Shoulder turn at the top", "top_shoulder_turn_deg", 0, "°"),
        ("Head, largest drift sideways", "max_head_lateral_cm", 1, " cm"),
        ("Head, largest drift up or down", "max_head_vertical_cm", 1, " cm"),
        ("Hips, drift sideways", "top_hip_lateral_cm", 1, " cm"),
        ("Upper back to the ball line at the top", "top_back_gap_cm", 1, " cm"),
        ("Separation at the top", "top_separation_deg", 0, "°"),
    ):
        kept = column(store, f"SELECT {name} FROM reps WHERE complete")
        read = np.array([value for value in kept if value is not None])
        mean = f"{read.mean():.{places}f}".replace("-", "−")
        assert rows[title][0] == f"{mean}{unit} ({read.size} reps)"
        assert rows[title][1] == f"{read.std(ddof=1):.{places}f}{unit}"
        missing = len(kept) - read.size
        assert (f"{missing} reps not measured" in rows[title][3].replace("1 rep ", "1 reps ")) == (
            missing > 0
        )


def test_the_sentence_counts_the_verdicts_of_the_record(store):
    save(store, *practice(session(), 30, seed=4), unfinished(31, session()))
    good = column(store, "SELECT count(*) FROM reps WHERE complete AND good = 1")[0]
    bad = column(store, "SELECT count(*) FROM reps WHERE complete AND good = 0")[0]
    whole = column(store, "SELECT count(*) FROM reps WHERE complete")[0]
    assert (
        f"Ann made {whole} whole reps: {good} good, {bad} not, {whole - good - bad} that could"
        in words(page(store))
    )


def test_a_turn_is_inside_near_or_beyond_as_the_mirror_would_have_said(store):
    # Target 85, band 5, ±6: likely short once more than 0.674 · 6 = 4.05 under the band's 80.
    turns = [80.0, 79.9, 76.0, 75.9, 120.0, None]
    of = session()
    save(store, *(rep(n, of, turn=turn) for n, turn in enumerate(turns, start=1)))
    found = count_of(TURN, gather(store, "Ann", "last").whole, pain=False)
    assert (found.inside, found.near, found.beyond, found.unread) == (2, 2, 1, 1)


def test_limits_that_changed_between_reps_count_for_their_own_reps(store):
    of = session()
    wide = replace(AIM, head_tol_cm=9.0)
    save(store, rep(1, of, head=7.0), rep(2, of, head=7.0, aim=wide))
    found = count_of(HEAD, gather(store, "Ann", "last").whole, pain=False)
    assert (found.inside, found.beyond) == (1, 1)


def test_bands_round_an_own_rep_are_those_of_the_mirror(store):
    own = OwnRep(turn_deg=80.0, head_lateral_cm=6.0)  # from 0 to 6 cm, and 5 beyond either end
    aim = replace(AIM, own=own)
    of = session()
    heads = [10.9, 12.0, -4.9, -6.0]
    save(store, *(rep(n, of, head=head, aim=aim) for n, head in enumerate(heads, start=1)))
    found = count_of(HEAD, gather(store, "Ann", "last").whole, pain=False)
    assert (found.inside, found.beyond) == (2, 2)


def test_what_was_not_measured_is_never_a_zero(store):
    of = session()
    nothing = {"turn": None, "head": None, "head_up": None, "hips": None, "gap": None}
    save(store, rep(1, of, **nothing), rep(2, of, **nothing))
    text = page(store)
    rows = rows_of(text, "Averages over the whole reps")
    told = [one for one in ASKED if not one.with_tags]
    for measured in told:
        assert rows[measured.title] == ["not measured", "–", "–", "2 reps not measured"]
    every = rows_of(text, "The readings as they were kept, with one standard error")
    assert every["1"][1:-1] == ["not measured"] * len(told)
    assert "nothing can be said yet" in words(text)


def test_silent_reps_are_compared_with_the_others_by_welchs_interval(store):
    stats = pytest.importorskip("scipy.stats")
    of = session()
    heads = [1.0, 2.0, 1.5, 2.5, 6.0, 6.5, 7.0, 6.2]
    save(
        store,
        *(rep(n, of, head=head, se=False, cues_heard=n <= 4) for n, head in enumerate(heads, 1)),
    )
    cells = rows_of(page(store), "Reps with tones against silent reps")[HEAD.title]
    assert cells[:2] == ["1.8 cm (4 reps)", "6.4 cm (4 reps)"]
    value, pm = re.match(r"\+([\d.]+) cm, ±([\d.]+): a change$", cells[2]).groups()
    welch = stats.ttest_ind(heads[4:], heads[:4], equal_var=False).confidence_interval(0.95)
    assert float(value) == pytest.approx((welch.low + welch.high) / 2, abs=0.006)
    half = (welch.high - welch.low) / 2
    assert half - 0.006 <= float(pm) <= 1.05 * half + 0.006


def test_a_difference_inside_its_pm_is_not_called_a_change(store):
    before, after = session(1, day=dt.date(2026, 5, 1)), session(2, day=dt.date(2026, 5, 3))
    save(store, *(rep(n, before, turn=80.0 + 0.1 * n) for n in range(1, 21)))
    save(store, *(rep(n, after, turn=85.0 + 0.1 * n) for n in range(1, 21)))
    cells = rows_of(page(store, against="1"), "Two sessions")[TURN.title]
    assert cells[2] == "+5.0°, ±6.0: inside its ±, so not a change"


def test_two_reps_on_a_side_are_too_few_to_compare(store):
    of = session()
    save(store, *(rep(n, of, cues_heard=n > 2) for n in range(1, 8)))
    cells = rows_of(page(store), "Reps with tones against silent reps")[TURN.title]
    assert cells[2].startswith("too few readings")


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_session_of_hardly_any_reps_still_makes_a_page(store, count):
    of = session()
    save(store, unfinished(9, of), *(rep(n, of) for n in range(1, count + 1)))
    seen = words(page(store))
    assert f"made {count} whole rep" in seen
    assert "nothing to measure" in seen or count
    assert "One session so far: no trend." in seen
    assert not re.search(r"\bnan\b", seen.lower())


def test_two_thousand_reps_make_a_page():
    of = session()
    one = SessionReps(session=of, reps=tuple(practice(of, 2000, seed=1)))
    many = Material(
        player="Ann", sessions=(one,), numbers=(1,), closer=(), next_day=None, trend=(one,)
    )
    text = text_of(page_of(many, MADE))
    assert "made 2000 whole reps" in text
    assert text.count('<th scope="row">') > 2000


NASTY = """<script>alert('x')</script> & "quoted" </td></table> &amp; ]]> <!-- \x00\x1b\x85\ud800"""


def test_names_and_notes_stay_words_and_never_become_part_of_the_page(store):
    of = session(player='<b>"Ann" & Bo</b>', source="<img src=x onerror=alert(1)>")
    clean = NASTY.replace("\ud800", "")
    save(store, rep(1, of, note=clean, coach_good=True), rep(2, of, note="two\nlines"))
    text = page(store, player='<b>"Ann" & Bo</b>')
    tree = strictly(text)
    assert not list(tree.iter("script"))
    assert not list(tree.iter("b"))
    assert not list(tree.iter("img"))
    assert said(tree.find("body/main/h1")) == 'Backswing report: <b>"Ann" & Bo</b>, 2026-05-31'
    notes = rows_of(text, "Reps the coach spoke of")
    assert notes["1"] == [
        "good",
        """<script>alert('x')</script> & "quoted" </td></table> &amp; ]]> <!--""",
    ]
    assert not set(map(chr, [*range(9), 11, 12, *range(14, 32), *range(127, 160)])) & set(text)


def test_half_a_character_that_no_file_can_hold_is_left_out():
    text_of(el("p", NASTY, title=NASTY)).encode("utf-8")


# Pain.


def test_once_pain_is_marked_nothing_on_the_page_asks_for_turn(store):
    of = session()
    hurt = replace(AIM, pain=True)
    save(
        store,
        *(rep(n, of, turn=60.0, gap=9.0) for n in range(1, 5)),
        *(rep(n, of, turn=60.0, gap=9.0, aim=hurt, good=None) for n in range(5, 9)),
    )
    text = page(store)
    for line in PAIN_LINES:
        assert line in words(text)
    rows = rows_of(text, "Averages over the whole reps")
    assert rows[TURN.title][3] == rows[GAP.title][3] == "8 reps measured, nothing asked"
    slipped = next(li for li in strictly(text).iter("li") if said(li).startswith("Slipped"))
    assert "turn" not in said(slipped)
    assert "back" not in said(slipped)
    chart = next(c for c in strictly(text).iter("svg") if said(c[0]) == TURN.title)
    assert "target" not in [said(item) for item in chart.iter("text")]


def test_without_pain_the_page_does_not_speak_of_it_as_marked(store):
    save(store, *practice(session(), 5))
    assert PAIN_LINES[1] not in words(page(store))


def test_the_caution_stands_on_every_page(store):
    save(store, unfinished(1, session()))
    seen = words(page(store))
    for line in CAUTION_LINES:
        assert line in seen


# As a whole.


def test_the_page_keeps_to_the_html_standard(store):
    for number in (1, 2):
        save(store, *practice(session(number, day=dt.date(2026, 5, number)), 8, seed=number))
    strictly(page(store, wanted="1..2", against="1"))


def test_the_strict_reader_refuses_what_is_no_page():
    html5lib = pytest.importorskip("html5lib")
    with pytest.raises(html5lib.html5parser.ParseError):
        strictly("<!DOCTYPE html><p><table><td></p>")


def test_days_are_written_as_iso_8601_has_them(store):
    save(store, rep(1, session(day=dt.date(2026, 1, 2))))
    text = page(store)
    assert "<title>Backswing report: Ann, 2026-01-02</title>" in text
    assert "Made 2026-06-01T09:00+00:00" in text


def test_the_same_record_makes_the_same_page(store):
    save(store, *practice(session(), 6))
    assert page(store) == page(store)


def test_the_mirror_does_not_load_what_draws_the_charts():
    code = (
        "import sys, trainer.cli, trainer.live, trainer.app, trainer.report.command; "
        "print('matplotlib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_what_held_is_not_told_of_two_reps(store):
    of = session()
    save(store, rep(1, of), rep(2, of))
    seen = words(page(store))
    assert "Too few reps were judged to say (3 were wanted)" in seen
    assert "Held" not in seen


def test_what_a_kind_of_practice_leaves_out_is_told_without_a_verdict(store):
    of = session()
    far = {"turn": 50.0, "head": 9.0, "head_up": 9.0, "hips": 9.0, "gap": 12.0}
    kinds = ["centred", "turn_only", "free", None]
    save(store, *(rep(n, of, practice_kind=k, **far) for n, k in enumerate(kinds, start=1)))
    rows = rows_of(page(store), "Averages over the whole reps")
    lay = {title: cells[3] for title, cells in rows.items()}
    once = "0 of 3 in the band; 3 beyond it; 1 rep measured, nothing asked"
    assert lay[TURN.title] == lay[GAP.title] == lay[HEAD.title] == once


def test_practice_and_guess_are_told_where_there_are_any(store):
    of = session()
    caption = "The readings as they were kept, with one standard error"
    save(store, rep(1, of))
    assert "own guess" not in words(page(store))
    save(store, rep(2, of, practice_kind="silent_check", guess="short"))
    rows = rows_of(page(store), caption)
    assert rows["1"][1:3] == ["–", "–"]
    assert rows["2"][1:3] == ["silent check", "short"]
