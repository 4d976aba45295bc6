"""The page: sections in their order, one self-contained document that prints well."""

from __future__ import annotations

import datetime
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

from trainer import __version__
from trainer.caution import CAUTION_LINES, CAUTION_TITLE, PAIN_LINES, PAIN_TITLE
from trainer.core.compare import FEWEST, Average
from trainer.report import drawn
from trainer.report.chosen import Closer, Material
from trainer.report.compared import against, cues, next_day, trend
from trainer.report.how import how_taken
from trainer.report.html import add, bullets, el, figure, section, table
from trainer.report.measured import (
    ASKED,
    CHEST,
    HEAD,
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
    Count,
    asked_words,
    average_words,
    count_of,
    count_words,
    course_words,
    dates,
    held_and_slipped,
    number,
    reading,
    reps,
    sentence,
    session_names,
    with_unit,
)
from trainer.store.records import KeptRep

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
    spoken = bool(_spoken_of(material))  # then it comes first: it is what the player comes for
    if material.pain:
        add(main, el("section", el("h2", PAIN_TITLE), bullets(PAIN_LINES), class_="pain"))
    for part in (
        _summary(material),
        _notes(material) if spoken else None,
        _each(material),
        _closer(material),
        cues(material),
        next_day(material),
        against(material),
        trend(material),
        _also(material),
        None if spoken else _notes(material),
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


def _summary(material: Material) -> ET.Element:
    rows: list[tuple[ET.Element | str, ...]] = []
    for measured in shown(ASKED, material.reps):
        found = average_of(measured, material.whole)
        rows.append(
            (
                measured.title,
                count_words(count_of(measured, material.whole, pain=material.pain)),
                asked_words(measured, material.whole, pain=material.pain),
                with_unit(None if found is None else found.mean, measured),
                *_spread(found, measured),
            )
        )
    kept = held_and_slipped(material)
    if not (kept.held or kept.slipped or kept.between):
        said = [f"Too few reps were judged to say ({FEWEST} were wanted)."]
    else:
        said = [
            f"Held (at least 80 % of the reps in the band): {_with_counts(kept.held)}.",
            f"Slipped (more than 20 % beyond it): {_with_counts(kept.slipped)}.",
        ]
        if kept.between:
            said.append(f"Neither: {_with_counts(kept.between)}.")
    unseen = len(material.reps) - len(material.whole)
    if unseen:
        were = "was not seen to its end" if unseen == 1 else "were not seen to their end"
        said.append(f"{reps(unseen)} {were} and counted in no figure.")
    return section(
        "What held and what slipped",
        bullets(said),
        table(
            "Averages over the whole reps",
            (
                "measure",
                "where the reps lay",
                "asked for",
                "average",
                "spread (SD)",
                "± of one reading",
            ),
            rows,
        ),
    )


def _with_counts(found: Sequence[tuple[Measured, Count]]) -> str:
    told = [f"{one.short} ({count.inside} of {count.judged} in)" for one, count in found]
    return ", ".join(told) or "nothing"


def _spread(found: Average | None, measured: Measured) -> tuple[str, str]:
    """Return how far the reps lay apart, and how sure one of them is."""
    sd = None if found is None else found.sd
    se = None if found is None else found.reading_se
    return (
        "–" if sd is None else _amount(sd, measured),
        "–" if se is None else f"±{_amount(se, measured)}",
    )


def _amount(value: float, measured: Measured) -> str:
    return f"{number(value, measured.places)}{measured.unit}"


def _each(material: Material) -> ET.Element:
    part = section("Every rep")
    for measured in shown(ASKED, material.reps):
        add(part, el("h3", measured.title), _rep_figure(measured, material))
    return part


def _rep_figure(measured: Measured, material: Material, *, half: bool = False) -> ET.Element:
    counted = count_words(count_of(measured, material.whole, pain=material.pain))
    chart = drawn.rep_chart(measured, material, counted, half=half)
    if chart is None:
        return el("p", f"{NOT_MEASURED} in any rep.".capitalize())
    zero = f"{measured.zero[0].upper()}{measured.zero[1:]}"
    told = f"{zero}. {counted.capitalize()}. {course_words(measured, material.whole)}"
    if len(material.sessions) > 1:
        told += " Dotted lines part the sessions; their reps are counted through."
    return figure(chart, told)


def _also(material: Material) -> ET.Element:
    """Return what was measured and nothing is asked of."""
    rows: list[tuple[ET.Element | str, ...]] = []
    charts = el("div", class_="half")
    for measured in shown(TOLD, material.reps):
        found = average_of(measured, material.whole)
        missing = sum(measured.read(kept)[0] is None for kept in material.whole)
        rows.append(
            (
                measured.title,
                average_words(measured, found),
                *_spread(found, measured),
                reps(missing) if missing else "–",
            )
        )
        if found is not None:
            drawn_ = _rep_figure(measured, material, half=True)
            add(charts, el("div", el("h3", measured.title), drawn_))
    return section(
        "Measured too, with nothing asked of it",
        table(
            "Averages of what is told only",
            ("measure", "average", "spread (SD)", "± of one reading", NOT_MEASURED),
            rows,
        ),
        charts if len(charts) else None,
    )


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
        f"{name}{_why(one)}: {drawn.rep_words(one, shown((TURN, CHEST, HEAD, HIPS), [one.kept]))}."
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
        figure(
            drawn.curves_chart(closer, pain=material.pain),
            "Turn and drifts from takeaway to top. 0 is the setup, + away from the target. Each "
            "rep takes its own time, so the backswing is counted in per cent. What was asked for "
            "is grey: over the whole backswing, or at its end where the top alone counts.",
        ),
        _bodies(
            drawn.body_figures(closer, names),
            "At setup (thin, dashed) and at the top (thick), as the camera saw it, not as in a "
            "mirror. Ball line and trail hip are upright lines through their places at setup; "
            "“back” is the upper back's edge at the top.",
        ),
        pictured(closer, names),
    )


def _bodies(bodies: Sequence[ET.Element], words: str) -> ET.Element | None:
    if not bodies:
        return None
    return el("figure", el("div", *bodies, class_="bodies"), el("figcaption", words))


def _why(one: Closer) -> str:
    """Return that the coach's word made it the best or the worst, where it did."""
    word = {"best": True, "worst": False}.get(one.name)
    if word is None or one.kept.coach_good is not word:
        return ""
    return f", {_TRUTH[word]} by the coach's word"


def _rep_name(one: Closer, material: Material) -> str:
    number_ = one.kept.rep.number
    name = f"{one.name.capitalize()}: rep {number_}"
    if len(material.sessions) > 1 or one.kept.session.uid != material.sessions[-1].session.uid:
        name += f" of {_session_name(one.kept, material)}"
    return name


def _spoken_of(material: Material) -> list[KeptRep]:
    return [kept for kept in material.reps if kept.note or kept.coach_good is not None]


def _notes(material: Material) -> ET.Element:
    title = "The coach's notes"
    told = _spoken_of(material)
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


def _session_name(kept: KeptRep, material: Material) -> str:
    """Return what the session of a rep is called among those of the page."""
    names = session_names(material.sessions)
    known = dict(zip((one.session.uid for one in material.sessions), names, strict=True))
    # A reference rep may be of an earlier session of the same day.
    return known.get(kept.session.uid, f"{kept.session.began:%Y-%m-%d %H:%M}")


def _name(kept: KeptRep, material: Material) -> str:
    said = str(kept.rep.number)
    return f"{_session_name(kept, material)} / {said}" if len(material.sessions) > 1 else said


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
    summary = el("summary", el("h2", title))
    return el("section", el("details", summary, el("p", "Printed too while it is open."), made))
