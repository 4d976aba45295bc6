"""The measures of the page: where each is in a kept rep, and what was asked of it there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from trainer.core import own_rep
from trainer.core.compare import Average, average
from trainer.core.cues import least_turn_deg
from trainer.core.practice_rules import TurnOf
from trainer.core.rules import CONFIDENCE, CueRules
from trainer.store.records import Aim, KeptRep

Read = tuple[float | None, float | None]  #: value and its standard error; None: not measured


class Place(str, Enum):
    """Where a reading lies in its band."""

    INSIDE = "inside"
    NEAR = "near"  #: beyond the limit by less than is likely (75 %) by its standard error
    BEYOND = "beyond"
    UNJUDGED = "unjudged"  #: read, but nothing was asked of it
    UNREAD = "unread"  #: not measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked of a measure in a rep. No limit on a side: None."""

    low: float | None
    high: float | None
    target: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measure as the page shows it."""

    name: str
    title: str
    short: str  #: what it is called within a sentence
    unit: str  #: as written behind a number
    axis: str  #: the unit as written beside an axis
    zero: str  #: what its sign and zero mean
    read: Callable[[KeptRep], Read]
    asked: Callable[[Aim], Asked | None] | None = None  #: None: nothing is ever asked of it
    asks_turn: bool = False  #: True: never judged once pain was marked
    places: int = 0  #: decimals
    with_tags: bool = False  #: True: told by printed tags alone, so a page without them is silent


def _at_top(name: str, unit: str) -> Callable[[KeptRep], Read]:
    def read(kept: KeptRep) -> Read:
        top = kept.rep.at_top
        if top is None:
            return None, None
        return getattr(top, f"{name}_{unit}"), getattr(top, f"{name}_se_{unit}")

    return read


def _largest(name: str) -> Callable[[KeptRep], Read]:
    def read(kept: KeptRep) -> Read:
        return getattr(kept.rep, f"max_{name}_cm"), getattr(kept, f"max_{name}_se_cm")

    return read


def _hips(kept: KeptRep) -> Read:
    return (_largest if kept.aim.hips_strict else lambda name: _at_top(name, "cm"))("hip_lateral")(
        kept
    )


def _backswing(kept: KeptRep) -> Read:
    return kept.rep.backswing_s, None


def _turn_asked(of: TurnOf) -> Callable[[Aim], Asked | None]:
    def asked(aim: Aim) -> Asked | None:
        if aim.turn_of != of.value:
            return None
        return Asked(low=aim.target_deg - aim.turn_band_deg, high=None, target=aim.target_deg)

    return asked


def _head_asked(aim: Aim, own_cm: float | None) -> Asked:
    low, high = own_rep.path_band(own_cm, aim.head_tol_cm)
    return Asked(low=low, high=high, target=None)


def _hips_asked(aim: Aim) -> Asked:
    cues = CueRules(hip_tol_cm=aim.hip_tol_cm, hips_strict=aim.hips_strict)
    low, high = own_rep.hip_band(aim.own, cues)
    return Asked(low=low, high=high, target=None)


def _gap_asked(aim: Aim) -> Asked:
    return Asked(low=aim.back_gap_low_cm, high=aim.back_gap_high_cm, target=None)


_AWAY: Final = "0 is your setup, + away from the target"

TURN: Final = Measured(
    name="shoulder_turn",
    title="Shoulder turn at the top",
    short="shoulder turn",
    unit="°",
    axis="degrees",
    zero=_AWAY,
    read=_at_top("shoulder_turn", "deg"),
    asked=_turn_asked(TurnOf.SHOULDERS),
    asks_turn=True,
)
CHEST: Final = Measured(
    name="thorax_turn",
    title="Chest turn at the top, by tags",
    short="chest turn",
    unit="°",
    axis="degrees",
    zero=_AWAY,
    read=_at_top("thorax_turn", "deg"),
    asked=_turn_asked(TurnOf.CHEST),
    asks_turn=True,
    with_tags=True,
)
HEAD: Final = Measured(
    name="head_lateral",
    title="Head, largest drift sideways",
    short="head sideways",
    unit=" cm",
    axis="cm",
    zero=_AWAY,
    read=_largest("head_lateral"),
    asked=lambda aim: _head_asked(aim, None if aim.own is None else aim.own.head_lateral_cm),
    places=1,
)
HEAD_UP: Final = Measured(
    name="head_vertical",
    title="Head, largest drift up or down",
    short="head up and down",
    unit=" cm",
    axis="cm",
    zero="0 is your setup, + up",
    read=_largest("head_vertical"),
    asked=lambda aim: _head_asked(aim, None if aim.own is None else aim.own.head_vertical_cm),
    places=1,
)
HIPS: Final = Measured(
    name="hip_lateral",
    title="Hips, drift sideways",
    short="hips",
    unit=" cm",
    axis="cm",
    zero=_AWAY + "; at the top, or the largest where hips were asked for all the way",
    read=_hips,
    asked=_hips_asked,
    places=1,
)
GAP: Final = Measured(
    name="back_gap",
    title="Upper back to the ball line at the top",
    short="upper back to the ball line",
    unit=" cm",
    axis="cm",
    zero="+ short of the line, − past it",
    read=_at_top("back_gap", "cm"),
    asked=_gap_asked,
    asks_turn=True,
    places=1,
)
#: What is asked for, in the order of the page.
ASKED: Final = (TURN, CHEST, HEAD, HEAD_UP, HIPS, GAP)
#: What is told only.
TOLD: Final = (
    Measured(
        name="hip_turn",
        title="Hip turn at the top",
        short="hip turn",
        unit="°",
        axis="degrees",
        zero=_AWAY,
        read=_at_top("hip_turn", "deg"),
    ),
    Measured(
        name="separation",
        title="Separation at the top",
        short="separation",
        unit="°",
        axis="degrees",
        zero="shoulder turn less hip turn",
        read=_at_top("separation", "deg"),
    ),
    Measured(
        name="side_tilt",
        title="Side tilt at the top",
        short="side tilt",
        unit="°",
        axis="degrees",
        zero="0 is upright, + shoulders further from the target than the hips",
        read=_at_top("side_tilt", "deg"),
    ),
    Measured(
        name="chest_pitch",
        title="Chest pitch at the top",
        short="chest pitch",
        unit="°",
        axis="degrees",
        zero="0 faces level, + upward",
        read=_at_top("chest_pitch", "deg"),
    ),
    Measured(
        name="backswing",
        title="Backswing, takeaway to top",
        short="backswing",
        unit=" s",
        axis="seconds",
        zero="no ± is stated for times",
        read=_backswing,
        places=2,
    ),
)
ALL: Final = (*ASKED, *TOLD)


#: What a kind of practice leaves out of its verdict; every other kind asks for all.
_NOT_ASKED: Final = {
    "turn_only": frozenset({HEAD.name, HEAD_UP.name, HIPS.name}),
    "centred": frozenset({TURN.name, CHEST.name, GAP.name}),
}


def shown(measures: Iterable[Measured], reps: Sequence[KeptRep]) -> tuple[Measured, ...]:
    """Return those to be shown of these reps: what tags alone tell only where some told it."""
    return tuple(
        one
        for one in measures
        if not one.with_tags or any(one.read(kept)[0] is not None for kept in reps)
    )


def place_of(measured: Measured, kept: KeptRep, *, pain: bool) -> Place:
    """Return where a rep's reading lies; ``pain``: pain was marked on the page's day.

    Beyond, as in the mirror's verdict on the turn: only where it is likely (75 %) that the limit
    was truly passed.
    """
    value, se = measured.read(kept)
    if value is None:
        return Place.UNREAD
    asked = asked_of(measured, kept, pain=pain)
    if asked is None:
        return Place.UNJUDGED
    over = max(
        float("-inf") if asked.low is None else asked.low - value,
        float("-inf") if asked.high is None else value - asked.high,
    )
    if over <= 0.0:
        return Place.INSIDE
    if measured not in (TURN, CHEST) and se is None:
        se = 0.0  # as for the mirror's verdict on the back; an unknown ± of the turn has a size
    sure = least_turn_deg(over, se, CONFIDENCE["likely"]) > 0.0
    return Place.BEYOND if sure else Place.NEAR


def asked_of(measured: Measured, kept: KeptRep, *, pain: bool) -> Asked | None:
    """Return what was asked of a rep, None for nothing.

    Once pain is marked no turn is, and some kinds of practice leave a part of it out.
    """
    if measured.asked is None or (measured.asks_turn and (pain or kept.aim.pain)):
        return None
    if measured.name in _NOT_ASKED.get(kept.practice_kind or "", frozenset()):
        return None
    return measured.asked(kept.aim)


def average_of(measured: Measured, reps: Iterable[KeptRep]) -> Average | None:
    """Return the average over whole reps in which it was read; None where it never was."""
    return average(measured.read(kept) for kept in reps if kept.rep.complete)
