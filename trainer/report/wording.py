"""What is said of the figures. A difference inside its ± is not called a change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trainer.core.compare import FEWEST, Average, difference
from trainer.core.counted import counted
from trainer.report.chosen import Material, NextDay, SessionReps
from trainer.report.measured import ASKED, Measured, Place, asked_of, average_of, place_of
from trainer.store.records import KeptRep

NOT_MEASURED: Final = "not measured"
#: A measure held when so large a share of its judged reps was in the band, and slipped when more
#: than the rest was beyond it; between the two nothing is said. Chosen.
HELD_PCT: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many whole reps of a measure lay where."""

    inside: int
    near: int
    beyond: int
    unjudged: int
    unread: int

    @property
    def judged(self) -> int:
        """How many were measured and asked for."""
        return self.inside + self.near + self.beyond

    @property
    def held(self) -> bool | None:
        """True held, False slipped, None where too few were judged or it lies between."""
        if self.judged < FEWEST:
            return None
        # In whole numbers: 0.2 · 10 is a little less than 2 where 0.2 is 1 - 0.8.
        if 100 * self.inside >= HELD_PCT * self.judged:
            return True
        return False if 100 * self.beyond > (100 - HELD_PCT) * self.judged else None


def count_of(measured: Measured, reps: Sequence[KeptRep], *, pain: bool) -> Count:
    """Return where the whole reps of a measure lay."""
    found = Counter(place_of(measured, kept, pain=pain) for kept in reps if kept.rep.complete)
    return Count(
        inside=found[Place.INSIDE],
        near=found[Place.NEAR],
        beyond=found[Place.BEYOND],
        unjudged=found[Place.UNJUDGED],
        unread=found[Place.UNREAD],
    )


def number(value: float, places: int) -> str:
    """Return a number with a true minus sign; never -0."""
    said = f"{value:.{places}f}"
    if float(said) == 0.0:
        said = said.lstrip("-")
    return said.replace("-", "−")


def signed(value: float, places: int) -> str:
    """Return a number with its sign, + or −; zero has none."""
    said = number(value, places)
    return said if said.startswith("−") or float(said) == 0.0 else f"+{said}"


def with_unit(value: float | None, measured: Measured) -> str:
    """Return a reading in words; None is "not measured"."""
    return NOT_MEASURED if value is None else number(value, measured.places) + measured.unit


def reading(measured: Measured, kept: KeptRep) -> str:
    """Return a rep's reading with its ±."""
    value, se = measured.read(kept)
    said = with_unit(value, measured)
    if value is None or se is None:
        return said
    return f"{said} ±{number(se, measured.places)}"


def average_words(measured: Measured, found: Average | None) -> str:
    """Return an average with the number of reps behind it."""
    if found is None:
        return NOT_MEASURED
    return f"{number(found.mean, measured.places)}{measured.unit} ({reps(found.count)})"


def reps(count: int) -> str:
    """Return so many reps in words."""
    return counted(count, "rep")


def whole_reps(count: int) -> str:
    """Return so many whole reps in words."""
    return counted(count, "whole rep")


def change_words(measured: Measured, before: Average | None, after: Average | None) -> str:
    """Return what may be said of a difference: a change, no change, or too few readings."""
    found = difference(before, after)
    if found is None:
        return f"too few readings ({FEWEST} a side are wanted)"
    said = (
        f"{signed(found.value, measured.places + 1)}{measured.unit}, "
        f"±{number(found.pm, measured.places + 1)}"
    )
    return f"{said}: a change" if found.changed else f"{said}: inside its ±, so not a change"


def dates(sessions: Sequence[SessionReps]) -> str:
    """Return the day or days of sessions, as ISO 8601 has them."""
    first, last = sessions[0].day, sessions[-1].day
    return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"


def session_names(sessions: Sequence[SessionReps]) -> tuple[str, ...]:
    """Return what each session is called: its day, and the time where that day has two."""
    days = Counter(one.day for one in sessions)
    return tuple(
        one.day.isoformat() if days[one.day] == 1 else f"{one.session.began:%Y-%m-%d %H:%M}"
        for one in sessions
    )


def sentence(material: Material) -> str:
    """Return the whole page in one sentence."""
    whole = material.whole
    sessions = len(material.sessions)
    when = (
        f"On {dates(material.sessions)} at {material.sessions[0].session.began:%H:%M}"
        if sessions == 1
        else f"In {sessions} sessions, {dates(material.sessions)},"
    )
    said = f"{when} {material.player} made {whole_reps(len(whole))}"
    if not whole:
        return f"{said}, so there is nothing to measure."
    verdicts = Counter(kept.good for kept in whole)
    told = ((True, "good"), (False, "not good"), (None, "without a verdict"))
    said += ": " + ", ".join(f"{verdicts[one]} {words}" for one, words in told if verdicts[one])
    found = held_and_slipped(material)
    parts = []
    if found.held:
        parts.append(f"held: {names_of(found.held)}")
    if found.slipped:
        parts.append(f"slipped: {names_of(found.slipped)}")
    if material.pain:
        parts.append("pain was marked, so no turn is asked for")
    return f"{said}; {'; '.join(parts) if parts else 'nothing can be said yet of what held'}."


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """Which measures held, which slipped, and which did neither, each with its count."""

    held: tuple[tuple[Measured, Count], ...]
    slipped: tuple[tuple[Measured, Count], ...]
    between: tuple[tuple[Measured, Count], ...]


def held_and_slipped(material: Material) -> Kept:
    """Return the measures that held, those that slipped, and those in between."""
    found = [(one, count_of(one, material.whole, pain=material.pain)) for one in ASKED]
    return Kept(
        held=tuple(both for both in found if both[1].held),
        slipped=tuple(both for both in found if both[1].held is False),
        between=tuple(both for both in found if both[1].held is None and both[1].judged >= FEWEST),
    )


def names_of(found: Sequence[tuple[Measured, Count]]) -> str:
    """Return the measures' names in one line."""
    return ", ".join(measured.short for measured, _ in found)


def asked_words(measured: Measured, whole: Sequence[KeptRep], *, pain: bool) -> str:
    """Return what was asked of a measure, of the last rep where it changed; "–" for nothing."""
    asked = [one for kept in whole if (one := asked_of(measured, kept, pain=pain)) is not None]
    if not asked:
        return "–"
    last = asked[-1]
    if last.low is not None and last.high is not None:
        low, high = (number(value, measured.places) for value in (last.low, last.high))
        said = f"{low} to {high}{measured.unit}"
    elif last.low is not None:
        said = f"at least {with_unit(last.low, measured)}"
    else:
        said = f"at most {with_unit(last.high, measured)}"
    if last.target is not None:
        said = f"{with_unit(last.target, measured)} ({said})"
    return said if len(set(asked)) == 1 else f"{said}, changed on the way"


def count_words(count: Count) -> str:
    """Return where the reps of a measure lay, in words."""
    parts = []
    if count.judged:
        parts.append(f"{count.inside} of {count.judged} in the band")
        if count.near:
            parts.append(f"{count.near} near the limit")
        if count.beyond:
            parts.append(f"{count.beyond} beyond it")
    if count.unjudged:
        parts.append(f"{reps(count.unjudged)} measured, nothing asked")
    if count.unread:
        parts.append(f"{reps(count.unread)} {NOT_MEASURED}")
    return "; ".join(parts) if parts else "no whole rep"


def course_words(measured: Measured, whole: Sequence[KeptRep]) -> str:
    """Return how a measure went from the first half of the reps to the second."""
    half = len(whole) // 2
    first = average_of(measured, whole[:half])
    second = average_of(measured, whole[half:])
    return f"From the first half to the second: {change_words(measured, first, second)}."


def next_day_head(found: NextDay) -> str:
    """Return what is compared in the next-day check."""
    how = "as a silent check" if found.asked else "before any tone could be heard"
    return (
        f"The first {reps(len(found.now))} of the session, made {how}, against the session of "
        f"{found.before.day.isoformat()} ({whole_reps(len(found.before.whole))})."
    )
