"""The page: sections in their order, one self-contained document that prints well."""

from __future__ import annotations

import datetime
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

from trainer import __version__
from trainer.caution import CAUTION_LINES, CAUTION_TITLE, PAIN_LINES, PAIN_TITLE
from trainer.core.compare import FEWEST
from trainer.report import drawn
from trainer.report.chosen import Closer, Material
from trainer.report.how import how_taken
from trainer.report.html import add, bullets, el, section, table
from trainer.report.measured import (
    ALL,
    ASKED,
    CHEST,
    HEAD,
    HEAD_UP,
    HIPS,
    TOLD,
    TURN,
    Measured,
    average_of,
    shown,
)
from trainer.report.pictured import filmed, pictured
from trainer.report.style import STYLE
from trainer.report.wording import (
    NOT_MEASURED,
    average_words,
    change_words,
    count_of,
    count_words,
    course_words,
    dates,
    held_and_slipped,
    next_day_head,
    number,
    reading,
    sentence,
    whole_reps,
)
from trainer.store.records import KeptRep

#: Of these a trend is drawn, and silent reps are told apart.
_FOLLOWED: Final = (TURN, HEAD, HEAD_UP, HIPS)
_ALONE: Final = "default-src 'none'; style-src 'unsafe-inline'"
_WITH_PICTURES: Final = f"{_ALONE}; img-src data:"
_TRUTH: Final = {True: "good", False: "not good", None: "–"}


def page_of(material: Material, made: datetime.datetime) -> ET.Element:
    """Return the whole page as a tree."""
    policy = _WITH_PICTURES if filmed(material.closer) else _ALONE
    title = f"Backswing report: {material.player}, {dates(material.sessions)}"
    main = el(
        "main",
        el("h1", f"Backswing report: {material.player}, {dates(material.sessions)}"),
        el("p", sentence(material), class_="lead"),
    )
    if material.pain:
        add(main, el("section", el("h2", PAIN_TITLE), bullets(PAIN_LINES), class_="pain"))
    for part in (
        _summary(material),
        _each(material),
        _closer(material),
        _cues(material),
        _next_day(material),
        _against(material),
        _trend(material),
        _notes(material),
        _all_reps(material),
        how_taken(material),
        el("section", el("h2", CAUTION_TITLE), bullets(CAUTION_LINES)),
    ):
        add(main, part)
    add(
        main,
        el(
            "footer",
            f"Made {made.isoformat(timespec='minutes')} by backswing-mirror {__version__}.",
        ),
    )
    return el(
        "html",
        el(
            "head",
            el("meta", charset="utf-8"),
            # Nothing is fetched and no script runs, whatever a note may hold.
            el("meta", http_equiv="Content-Security-Policy", content=policy),
            el("meta", name="viewport", content="width=device-width, initial-scale=1"),
            el("title", title),
            el("style", STYLE),
        ),
        el("body", main),
        lang="en",
    )


def _figure(drawn_: ET.Element | None, *words: ET.Element | str) -> ET.Element:
    if drawn_ is None:
        return el("p", *words)
    chart = el("div", drawn_, class_="chart")
    return el("figure", chart, el("figcaption", *words))


def _summary(material: Material) -> ET.Element:
    rows: list[tuple[ET.Element | str, ...]] = []
    most = 0
    for measured in shown(ALL, material.reps):
        found = average_of(measured, material.whole)
        count = count_of(measured, material.whole, pain=material.pain)
        most = max(most, count.judged)
        spread = "–" if found is None or found.sd is None else _amount(found.sd, measured)
        own = (
            "–"
            if found is None or found.reading_se is None
            else f"±{_amount(found.reading_se, measured)}"
        )
        rows.append(
            (measured.title, average_words(measured, found), spread, own, count_words(count))
        )
    if most < FEWEST:
        said = [f"Too few reps were judged to say ({FEWEST} were wanted)."]
    else:
        held, slipped = held_and_slipped(material)
        said = [
            f"Held (at least 80 % of the reps in the band): {', '.join(held) or 'nothing'}.",
            f"Slipped (more than 20 % beyond it): {', '.join(slipped) or 'nothing'}.",
        ]
    unseen = len(material.reps) - len(material.whole)
    if unseen:
        said.append(f"Not seen to their end, and in no figure: {unseen}.")
    return section(
        "What held and what slipped",
        bullets(said),
        table(
            "Averages over the whole reps",
            ("measure", "average", "spread (SD)", "± of one reading", "where the reps lay"),
            rows,
        ),
    )


def _amount(value: float, measured: Measured) -> str:
    return f"{number(value, measured.places)}{measured.unit}"


def _each(material: Material) -> ET.Element:
    part = section("Every rep")
    for measured in shown(ALL, material.reps):
        counted = count_words(count_of(measured, material.whole, pain=material.pain))
        chart = drawn.rep_chart(measured, material, counted)
        words = f"{measured.title}: {measured.zero}."
        if chart is None:
            add(part, el("h3", measured.title), el("p", f"{NOT_MEASURED} in any rep.".capitalize()))
            continue
        told = f"{words} {counted.capitalize()}. {course_words(measured, material.whole)}"
        add(part, el("h3", measured.title), _figure(chart, told))
    return part


def _closer(material: Material) -> ET.Element:
    closer = material.closer
    if not closer:
        return section(
            "Best, worst and reference rep",
            el(
                "p", "No rep had turn, head and hips all measured, so none is called best or worst."
            ),
        )
    names = [_rep_name(one, material) for one in closer]
    told = [
        f"{name}: {drawn.rep_words(one, shown((TURN, CHEST, HEAD, HIPS), [one.kept]))}."
        for one, name in zip(closer, names, strict=True)
    ]
    if not any(one.name == "reference" for one in closer):
        told.append("No reference rep was in use, or it was not kept.")
    pain = " Once pain was marked the turn is left out of it." if material.pain else ""
    return section(
        "Best, worst and reference rep",
        el(
            "p",
            "Best is the rep nearest to what was asked of turn, head and hips together, worst the "
            f"one furthest from it; where the coach said good or not, that comes first.{pain}",
        ),
        bullets(told),
        _figure(
            drawn.curves_chart(closer),
            "Turn and drifts from takeaway to top. 0 is the setup, + away from the target. Each "
            "rep takes its own time, so the backswing is counted in per cent.",
        ),
        _figure(
            drawn.body_figure(closer, names),
            "At setup (thin, dashed) and at the top (thick), as the camera saw it, not as in a "
            "mirror. Ball line and trail hip are upright lines through their places at setup; "
            "“back” is the upper back's edge at the top.",
        ),
        *pictured(closer, names),
    )


def _rep_name(one: Closer, material: Material) -> str:
    number_ = one.kept.rep.number
    name = f"{one.name.capitalize()}: rep {number_}"
    if len(material.sessions) > 1 or one.kept.session.uid != material.sessions[-1].session.uid:
        name += f" of {one.kept.session.began.date().isoformat()}"
    return name


def _compared(
    caption: str, heads: tuple[str, str], before: Sequence[KeptRep], after: Sequence[KeptRep]
) -> ET.Element:
    rows: list[tuple[ET.Element | str, ...]] = []
    for measured in _FOLLOWED:
        first, second = average_of(measured, before), average_of(measured, after)
        rows.append(
            (
                measured.title,
                average_words(measured, first),
                average_words(measured, second),
                change_words(measured, first, second),
            )
        )
    return table(caption, ("measure", *heads, "difference"), rows)


def _cues(material: Material) -> ET.Element:
    heard = [kept for kept in material.whole if kept.cues_heard is True]
    silent = [kept for kept in material.whole if kept.cues_heard is False]
    title = "With tones and without"
    if not heard or not silent:
        unknown = len(material.whole) - len(heard) - len(silent)
        said = f"{whole_reps(len(heard))} with tones, {len(silent)} silent"
        said += f", {unknown} of which it is not known" if unknown else ""
        return section(title, el("p", f"{said}: nothing to compare."))
    return section(
        title,
        el(
            "p",
            "Whether a figure holds without tones says more about what was learned than the "
            "figures with them.",
        ),
        _compared("Reps with tones against silent reps", ("with tones", "silent"), heard, silent),
    )


def _next_day(material: Material) -> ET.Element:
    title = "Next-day check"
    found = material.next_day
    if found is None:
        return section(
            title,
            el(
                "p",
                "Not made: it takes a session on an earlier day, and reps at the beginning of "
                "this one without tones.",
            ),
        )
    return section(
        title,
        el("p", next_day_head(found)),
        _compared(
            "What stayed from the last session",
            (found.before.day.isoformat(), "now, without tones"),
            found.before.whole,
            found.now,
        ),
    )


def _against(material: Material) -> ET.Element | None:
    other = material.against
    if other is None:
        return None
    return section(
        f"Against the session of {other.day.isoformat()}",
        el("p", f"{whole_reps(len(other.whole))} then, {whole_reps(len(material.whole))} here."),
        _compared(
            "Two sessions",
            (other.day.isoformat(), dates(material.sessions)),
            other.whole,
            material.whole,
        ),
    )


def _trend(material: Material) -> ET.Element:
    part = section("Over the sessions")
    if len(material.trend) < 2:
        return add(part, el("p", "One session so far: no trend."))
    first, last = material.trend[0], material.trend[-1]
    add(
        part,
        el("p", "The average of each session. Its ± is the spread over the root of the number of "
                "reps, together with one reading's own ±, which averaging does not make smaller."),
    )  # fmt: skip
    for measured in _FOLLOWED:
        chart = drawn.trend_chart(measured, material.trend)
        if chart is None:
            add(part, el("p", f"{measured.title}: measured in fewer than two sessions."))
            continue
        before, after = average_of(measured, first.whole), average_of(measured, last.whole)
        add(
            part,
            el("h3", measured.title),
            _figure(
                chart,
                f"From {first.day.isoformat()} to {last.day.isoformat()}: "
                f"{change_words(measured, before, after)}.",
            ),
        )
    return part


def _notes(material: Material) -> ET.Element:
    title = "The coach's notes"
    told = [kept for kept in material.reps if kept.note or kept.coach_good is not None]
    if not told:
        return section(title, el("p", "None."))
    rows: list[tuple[ET.Element | str, ...]] = [
        (
            _name(kept, material),
            _TRUTH[kept.coach_good],
            el("span", kept.note or "–", class_="note"),
        )
        for kept in told
    ]
    return section(title, table("Reps the coach spoke of", ("rep", "coach", "note"), rows))


def _name(kept: KeptRep, material: Material) -> str:
    said = str(kept.rep.number)
    return (
        f"{kept.session.began.date().isoformat()} / {said}" if len(material.sessions) > 1 else said
    )


def _all_reps(material: Material) -> ET.Element:
    title = "Figures of every rep"
    if not material.reps:
        return section(title, el("p", "None."))
    measures = (*shown(ASKED, material.reps), TOLD[-1])
    # What only some practice has is told only where it has it.
    more = [
        (name, field)
        for name, field in (("practice", "practice_kind"), ("own guess", "guess"))
        if any(getattr(kept, field) for kept in material.reps)
    ]
    rows: list[tuple[ET.Element | str, ...]] = [
        (
            _name(kept, material),
            _TRUTH[kept.good] if kept.rep.complete else "not seen to its end",
            *((getattr(kept, field) or "–").replace("_", " ") for _, field in more),
            *(reading(measured, kept) for measured in measures),
        )
        for kept in material.reps
    ]
    made = table(
        "The readings as they were kept, with one standard error",
        ("rep", "verdict", *(name for name, _ in more), *(one.title for one in measures)),
        rows,
    )
    return section(
        title, el("details", el("summary", f"{len(rows)} rows; not printed while closed"), made)
    )
