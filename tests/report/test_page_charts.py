"""The charts of the page, read back from what was drawn; and that the page stands alone."""

import datetime as dt
import re
from dataclasses import replace

import pytest

from tests.report.practice import AIM, CM_PER_PX, points, practice, rep, save, session
from tests.report.reading import page, rows_of, said, strictly
from trainer.adapters.svg_sheet import BAND
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed
from trainer.report.chosen import gather
from trainer.report.drawn import body_of
from trainer.report.measured import TURN


def test_nothing_is_fetched_from_anywhere_and_nothing_is_run(store):
    save(store, *practice(session(), 12))
    tree = strictly(page(store))
    for item in tree.iter():
        assert item.tag not in ("script", "link", "iframe", "object", "embed", "img", "image")
        for name, value in item.attrib.items():
            key = name[-1] if isinstance(name, tuple) else name
            assert not str(key).startswith("on"), (item.tag, key)
            if "href" in str(key) or "src" in str(key) or "url(" in value:
                assert "#" in value, value
                assert "//" not in value, value
    rule = next(m for m in tree.iter("meta") if m.get("http-equiv"))
    assert rule.get("content").startswith("default-src 'none'")
    assert "@import" not in said(tree.find("head/style"))


def test_every_id_is_there_once_and_every_reference_leads_to_one(store):
    for number in (1, 2, 3):
        save(store, *practice(session(number, day=dt.date(2026, 5, number)), 8, seed=number))
    text = page(store, wanted="1..3")
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids)) > 30
    used = re.findall(r'(?:href="#|url\(#)([^")]+)', text)
    named = " ".join(re.findall(r'aria-labelledby="([^"]+)"', text)).split()
    assert set(used) | set(named) <= set(ids)
    assert len(used) > 30


def test_every_chart_has_a_title_and_words(store):
    for number in (1, 2):
        save(store, *practice(session(number, day=dt.date(2026, 5, number)), 8, seed=number))
    charts = list(strictly(page(store)).iter("svg"))
    assert len(charts) == 9 + 1 + 2 + 4  # chest pitch was read in none
    for chart in charts:
        assert chart.get("role") == "img"
        assert chart[0].tag == "title"
        assert len(said(chart[0])) > 10
        assert len(said(chart[1])) > 40


def test_the_words_of_a_chart_are_its_numbers(store):
    of = session()
    save(store, *(rep(n, of, turn=t) for n, t in enumerate([70.0, 82.0, None, 91.4], start=1)))
    desc = next(
        said(chart[1])
        for chart in strictly(page(store)).iter("svg")
        if said(chart[0]) == TURN.title
    )
    assert "4 reps. Lowest 70°, highest 91°, average 81° (3 reps)" in desc
    assert "2 of 3 in the band; 1 beyond it; 1 rep not measured" in desc


def test_points_of_the_chart_lie_where_its_numbers_are(store):
    """Read back from the drawing: heights of the marks against the ticks' words."""
    of = session()
    turns = [70.0, 80.0, 90.0, 75.0]
    save(
        store,
        *(
            rep(n, of, turn=t, se=False, aim=replace(AIM, pain=True))
            for n, t in enumerate(turns, 1)
        ),
    )
    chart = next(c for c in strictly(page(store)).iter("svg") if said(c[0]) == TURN.title)
    marks = None
    for group in chart.iter("g"):
        uses = [child for child in group if child.tag == "use"]
        if len(uses) == len(turns) == len(group):
            marks = [float(use.get("y")) for use in uses]
    ticks = {}
    for group in chart.iter("g"):
        uses, texts = list(group.iter("use")), list(group.iter("text"))
        if len(uses) == len(texts) == 1 and re.fullmatch(r"\d+", said(texts[0])):
            if float(uses[0].get("x")) > 50:
                continue  # a tick of the other axis
            ticks[float(said(texts[0]))] = float(uses[0].get("y"))
    (low, low_y), *_, (high, high_y) = sorted(ticks.items())
    found = [low + (y - low_y) * (high - low) / (high_y - low_y) for y in marks]
    assert found == pytest.approx(turns, abs=0.1)


def test_a_left_hander_reads_as_the_mirrored_right_hander(store):
    right, left = session(1, player="R"), session(2, player="L")
    save(store, *practice(right, 9, seed=2, handed=Handed.RIGHT))
    save(store, *practice(left, 9, seed=2, handed=Handed.LEFT))
    caption = "Averages over the whole reps"
    assert rows_of(page(store, "R"), caption) == rows_of(page(store, "L"), caption)
    bodies = {player: body_of(gather(store, player, "last").closer[0], "best") for player in "RL"}
    assert bodies["R"].target_right
    assert not bodies["L"].target_right
    for name in ("ball_line_px", "trail_hip_px", "back_px"):
        mine, others = getattr(bodies["R"], name), getattr(bodies["L"], name)
        assert mine == pytest.approx(1280 - others, abs=0.01)


def test_lines_beside_the_body_lie_at_lead_shoulder_and_trail_hip(store):
    save(store, rep(1, session(), gap=3.0))
    body = body_of(gather(store, "Ann", "last").closer[0], "best")
    setup = points({})
    # A right-hander's lead is left, and away from the target is to the picture's left.
    assert body.ball_line_px == pytest.approx(setup[L.LEFT_SHOULDER][0] - 2.0 / CM_PER_PX)
    assert body.back_px == pytest.approx(body.ball_line_px - 3.0 / CM_PER_PX)
    assert body.trail_hip_px == pytest.approx(setup[L.RIGHT_HIP][0])


def test_the_curves_words_are_the_readings_nearest_to_each_quarter(store):
    save(store, rep(1, session(), turn=88.0))
    desc = next(
        said(chart[1])
        for chart in strictly(page(store)).iter("svg")
        if said(chart[0]) == "Turn and drifts over the backswing"
    )
    # The helper's swing is half a cosine: at a quarter 88 · (1 - cos 45°) / 2, by hand 12.9; with
    # 30 readings a second over 1.25 s the nearest reading is at most 1.4 % of the way off.
    told = re.search(r"shoulder turn, °: (\d+) at 25 %, (\d+) at 50 %, (\d+) at 75 %, (\d+)", desc)
    assert [int(n) for n in told.groups()] == pytest.approx([12.9, 44.0, 75.1, 88.0], abs=2.0)


def bands_of(store, title):
    """Return the grey areas of a chart, its legend's too."""
    chart = next(c for c in strictly(page(store)).iter("svg") if said(c[0]) == title)
    return [item for item in chart.iter() if f"fill: {BAND}" in (item.get("style") or "")]


def test_curves_are_drawn_over_what_was_asked_for(store):
    title = "Turn and drifts over the backswing"
    of = session()
    save(store, rep(1, of), rep(2, of, turn=70.0))
    bands = bands_of(store, title)
    assert len(bands) == 4  # turn, head, hips, and the legend's
    save(store, rep(3, of, turn=50.0, aim=replace(AIM, head_tol_cm=9.0)))
    assert len(bands_of(store, title)) == 3  # the head's was not the same for both


def test_once_pain_is_marked_neither_curves_nor_trend_ask_for_turn(store):
    for number in (1, 2):
        of = session(number, day=dt.date(2026, 5, number))
        save(store, *(rep(n, of, turn=70.0 + n) for n in range(1, 4)))
    save(store, rep(4, of, aim=replace(AIM, pain=True)))
    for chart in strictly(page(store)).iter("svg"):
        title = said(chart[0])
        if "the body at" in title:
            continue  # which way the target is, is no target of the turn
        assert "target" not in [said(text) for text in chart.iter("text")], title
    assert len(bands_of(store, "Turn and drifts over the backswing")) == 3


def test_a_trend_is_drawn_over_what_was_asked_for_in_each_session(store):
    for number in (1, 2):
        of = session(number, day=dt.date(2026, 5, number))
        save(store, *(rep(n, of, turn=70.0 + n) for n in range(1, 4)))
    title = f"{TURN.title}, session by session"
    chart = next(c for c in strictly(page(store)).iter("svg") if said(c[0]) == title)
    told = [said(text) for text in chart.iter("text")]
    assert {"asked for", "target", "average", "2026-05-01", "2026-05-02"} <= set(told)
