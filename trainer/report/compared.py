"""What the page compares: with tones and without, the next day, two sessions, many."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

from trainer.report import drawn
from trainer.report.chosen import Material
from trainer.report.html import add, el, figure, section, table
from trainer.report.measured import HEAD, HEAD_UP, HIPS, TURN, average_of
from trainer.report.wording import (
    average_words,
    change_words,
    next_day_head,
    session_names,
    whole_reps,
)
from trainer.store.records import KeptRep

#: Of these a trend is drawn, and silent reps are told apart.
_FOLLOWED: Final = (TURN, HEAD, HEAD_UP, HIPS)


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


def cues(material: Material) -> ET.Element:
    """Return reps with tones against silent ones."""
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


def next_day(material: Material) -> ET.Element:
    """Return what stayed from the last session on an earlier day."""
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


def against(material: Material) -> ET.Element | None:
    """Return the comparison with another session; None where none was asked for."""
    other = material.against
    if other is None:
        return None
    name, *here = session_names((other, *material.sessions))
    now = here[0] if len(here) == 1 else f"{here[0]} to {here[-1]}"
    return section(
        f"Against the session of {name}",
        el("p", f"{whole_reps(len(other.whole))} then, {whole_reps(len(material.whole))} here."),
        _compared(
            "Two sessions",
            (name, now),
            other.whole,
            material.whole,
        ),
    )


def trend(material: Material) -> ET.Element:
    """Return the averages over the sessions."""
    part = section("Over the sessions")
    if len(material.trend) < 2:
        return add(part, el("p", "One session so far: no trend."))
    first, last = material.trend[0], material.trend[-1]
    names = session_names(material.trend)
    add(
        part,
        el("p", "The average of each session. Its ± is the spread over the root of the number of "
                "reps, together with one reading's own ±, which averaging does not make smaller."),
    )  # fmt: skip
    side_by_side = el("div", class_="half")
    for measured in _FOLLOWED:
        chart = drawn.trend_chart(measured, material.trend, pain=material.pain)
        if chart is None:
            add(part, el("p", f"{measured.title}: measured in fewer than two sessions."))
            continue
        before, after = average_of(measured, first.whole), average_of(measured, last.whole)
        words = f"From {names[0]} to {names[-1]}: {change_words(measured, before, after)}."
        add(side_by_side, el("div", el("h3", measured.title), figure(chart, words)))
    return add(part, side_by_side) if len(side_by_side) else part
