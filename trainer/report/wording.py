"""What is said of the figures. A difference inside its ± is not called a change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trainer.core.compare import FEWEST, Average, difference
from trainer.core.counted import counted
from trainer.report.chosen import Material, NextDay, SessionReps
from trainer.report.measured import ASKED, Measured, Place, average_of, place_of
from trainer.store.records import KeptRep

NOT_MEASURED: Final = "not measured"
#: A measure held when so large a share of its judged reps was in the band, and slipped when more
#: than the rest was beyond it; between the two nothing is said. Chosen.
HELD: Final = 0.8

_SHORT: Final = {
    "shoulder_turn": "shoulder turn",
    "thorax_turn": "chest turn",
    "head_lateral": "head sideways",
    "head_vertical": "head up and down",
    "hip_lateral": "hips",
    "back_gap": "upper back to the ball line",
}


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
        if self.inside >= HELD * self.judged:
            return True
        return False if self.beyond > (1.0 - HELD) * self.judged else None


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
        return f"too few readings to compare ({FEWEST} on each side were wanted)"
    said = (
        f"{signed(found.value, measured.places + 1)}{measured.unit}, "
        f"±{number(found.pm, measured.places + 1)}"
    )
    return f"{said}: a change" if found.changed else f"{said}: inside its ±, so not a change"


def dates(sessions: Sequence[SessionReps]) -> str:
    """Return the day or days of sessions, as ISO 8601 has them."""
    first, last = sessions[0].day, sessions[-1].day
    return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"


def sentence(material: Material) -> str:
    """Return the whole page in one sentence."""
    whole = material.whole
    sessions = len(material.sessions)
    when = (
        f"On {dates(material.sessions)}"
        if sessions == 1
        else (f"In {sessions} sessions, {dates(material.sessions)},")
    )
    said = f"{when} {material.player} made {whole_reps(len(whole))}"
    if not whole:
        return f"{said}, so there is nothing to measure."
    good = sum(kept.good is True for kept in whole)
    bad = sum(kept.good is False for kept in whole)
    said += f": {good} good, {bad} not, {len(whole) - good - bad} that could not be told"
    held, slipped = held_and_slipped(material)
    parts = []
    if held:
        parts.append(f"held: {', '.join(held)}")
    if slipped:
        parts.append(f"slipped: {', '.join(slipped)}")
    if material.pain:
        parts.append("pain was marked, so no turn is asked for")
    return f"{said}; {'; '.join(parts) if parts else 'nothing can be said yet of what held'}."


def held_and_slipped(material: Material) -> tuple[list[str], list[str]]:
    """Return the measures that held, and those that slipped."""
    found = {one.name: count_of(one, material.whole, pain=material.pain).held for one in ASKED}
    return (
        [_SHORT[name] for name, held in found.items() if held],
        [_SHORT[name] for name, held in found.items() if held is False],
    )


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
