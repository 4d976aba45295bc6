"""What a page is made of: the sessions asked for, and the reps of them that are shown closer."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trainer.core import own_rep
from trainer.core.practice_rules import TurnOf
from trainer.errors import ReportError
from trainer.report.measured import CHEST, HEAD, HIPS, TURN, asked_of
from trainer.store.content import Store
from trainer.store.pictures import top_picture
from trainer.store.records import KeptRep, KeptSession, Motion, SessionLine

#: Of so many sessions at most the trend is shown.
TREND_SESSIONS: Final = 20
#: So many first reps without tones are the next-day check; a choice.
CHECK_REPS: Final = 5
#: What a rep of a silent check is called in the record.
SILENT_CHECK: Final = "silent_check"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionReps:
    """A session with all its reps."""

    session: KeptSession
    reps: tuple[KeptRep, ...]

    @property
    def whole(self) -> tuple[KeptRep, ...]:
        """The reps that were seen to their end."""
        return tuple(kept for kept in self.reps if kept.rep.complete)

    @property
    def day(self) -> datetime.date:
        """The day it began, where it was made."""
        return self.session.began.date()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Closer:
    """A rep that is shown by its curves and its figure, and why it is."""

    name: str  #: "best", "worst" or "reference"
    kept: KeptRep
    motion: Motion
    top_jpeg: bytes | None = None  #: the picture at its top; None unless it was filmed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NextDay:
    """The first reps without tones, and the last session on an earlier day."""

    now: tuple[KeptRep, ...]
    before: SessionReps
    asked: bool  #: True: they were made as a silent check


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """All that a page tells of, read from the record."""

    player: str
    sessions: tuple[SessionReps, ...]  #: those asked for, oldest first; at least one
    numbers: tuple[int, ...]  #: the player's first session is number 1
    closer: tuple[Closer, ...]
    next_day: NextDay | None
    trend: tuple[SessionReps, ...]  #: up to the last one asked for, oldest first
    against: SessionReps | None = None  #: another session to compare with

    @property
    def reps(self) -> tuple[KeptRep, ...]:
        """All reps of the sessions asked for."""
        return tuple(kept for one in self.sessions for kept in one.reps)

    @property
    def whole(self) -> tuple[KeptRep, ...]:
        """Those that were seen to their end."""
        return tuple(kept for one in self.sessions for kept in one.whole)

    @property
    def pain(self) -> bool:
        """Whether pain was marked in any of them: then the page asks for no turn at all."""
        return any(kept.aim.pain for kept in self.reps)


def gather(
    store: Store,
    player: str,
    wanted: str,
    against: str | None = None,
    *,
    pictures: bool = True,
) -> Material:
    """Read what the page about ``player`` needs; ``wanted`` is as for ``pick``.

    ``pictures``: with the picture at the top of the reps shown closer, where they were filmed.

    Raises ReportError when the player or such a session is not in the record, StoreError when
    the record cannot be read.
    """
    lines = list(reversed(store.sessions(player)))
    if not lines:
        known = store.players()
        raise ReportError(
            f"the record has no session of {player!r}. A player with reps in it was wanted. "
            + (f"Give --player one of: {', '.join(known)}." if known else "Make some reps first.")
        )
    numbers = pick(lines, wanted)
    sessions = tuple(_read(store, lines[number - 1]) for number in numbers)
    first, last = numbers[0], numbers[-1]
    other = None if against is None else pick(lines, against)
    if other is not None and len(other) != 1:
        raise ReportError(
            f"--against {against!r} names {len(other)} sessions. One was wanted. Give its number."
        )
    trend = lines[max(0, last - TREND_SESSIONS) : last]
    have = {one.session.uid: one for one in sessions}
    return Material(
        player=lines[last - 1].session.player,
        sessions=sessions,
        numbers=numbers,
        closer=_closer(
            store,
            sessions,
            _same_day(store, sessions[-1], lines[: last - 1]),
            pictures=pictures,
        ),
        next_day=_next_day(store, sessions[0], lines[: first - 1]),
        trend=tuple(have.get(line.session.uid) or _read(store, line) for line in trend),
        against=None if other is None else _read(store, lines[other[0] - 1]),
    )


def pick(lines: Sequence[SessionLine], wanted: str) -> tuple[int, ...]:
    """Return the numbers of the sessions ``wanted``, from 1 for the oldest of ``lines``.

    ``wanted``: last, a number, or from..to with numbers or days such as 2026-05-31, both ends
    counted; an end left out is the first or the last; or a session's ``uid``. Raises ReportError.
    """
    count = len(lines)
    if wanted == "last":
        return (count,)
    by_uid = tuple(n for n, line in enumerate(lines, start=1) if line.session.uid == wanted)
    if by_uid:
        return by_uid
    start, dots, end = wanted.partition("..")
    if not dots:
        start = end = wanted
    try:
        if not wanted:
            raise ValueError
        by_day = "-" in start.lstrip("-") or "-" in end.lstrip("-")
        if by_day:
            first = datetime.date.fromisoformat(start) if start else datetime.date.min
            last = datetime.date.fromisoformat(end) if end else datetime.date.max
            days = [line.session.began.date() for line in lines]
            found = tuple(n for n, day in enumerate(days, start=1) if first <= day <= last)
        else:
            low, high = int(start or "1"), int(end or str(count))
            found = tuple(n for n in range(1, count + 1) if low <= n <= high)
    except ValueError:
        raise ReportError(
            f"--session is {wanted!r}. last, a number, or from..to with numbers or days such as "
            "2026-05-01..2026-05-31 was wanted. Try --session last."
        ) from None
    if not found:
        days_said = f"{lines[0].session.began.date()} to {lines[-1].session.began.date()}"
        raise ReportError(
            f"there is no session {wanted}. One of 1 to {count} ({days_said}) was wanted. "
            "Try --session last."
        )
    return found


def _read(store: Store, line: SessionLine) -> SessionReps:
    return SessionReps(session=line.session, reps=tuple(store.reps_of(line.session)))


def off_by(kept: KeptRep) -> float | None:
    """Return how far a rep was from what was asked of it; 0 is best, None where it cannot be told.

    The root of the sum of squares of the turn short of its target, in bands, and of head and hips
    sideways from the middle of their bands, in half widths. Once pain was marked the turn is left
    out.
    """
    if not kept.rep.complete:
        return None
    parts: list[float] = []
    turn = CHEST if kept.aim.turn_of == TurnOf.CHEST.value else TURN
    for measured in (turn, HEAD, HIPS):
        value, _ = measured.read(kept)
        if value is None:
            return None
        asked = asked_of(measured, kept, pain=False)
        if asked is None:
            continue
        if asked.target is not None:
            parts.append(max(0.0, asked.target - value) / max(kept.aim.turn_band_deg, 1.0))
        elif asked.low is not None and asked.high is not None:
            middle, half = (asked.high + asked.low) / 2.0, (asked.high - asked.low) / 2.0
            parts.append(abs(value - middle) / half)
    return math.hypot(*parts)


def _same_day(
    store: Store, last: SessionReps, earlier: Sequence[SessionLine]
) -> tuple[SessionReps, ...]:
    """Return the sessions before on the day of the ``last``: a reference holds for a day."""
    return tuple(_read(store, line) for line in earlier if line.session.began.date() == last.day)


def _closer(
    store: Store,
    sessions: Sequence[SessionReps],
    same_day: Sequence[SessionReps],
    *,
    pictures: bool,
) -> tuple[Closer, ...]:
    """Return the best, the worst and the reference rep, as far as there are any."""
    ranked = sorted(
        (
            (off, kept)
            for one in sessions
            for kept in one.whole
            if (off := off_by(kept)) is not None
        ),
        key=lambda found: found[0],
    )
    found: list[tuple[str, KeptRep]] = []
    if ranked:
        # Where the coach has said which are good and which are not, that counts first.
        best = next((k for _, k in ranked if k.coach_good), ranked[0][1])
        others = [k for _, k in reversed(ranked) if k is not best]
        worst = next((k for k in others if k.coach_good is False), others[0] if others else None)
        found.append(("best", best))
        if worst is not None:
            found.append(("worst", worst))
    reference = _reference(sessions, same_day)
    if reference is not None:
        found.append(("reference", reference))
    return tuple(
        Closer(
            name=name,
            kept=kept,
            motion=store.motion(kept),
            top_jpeg=top_picture(store, kept) if pictures else None,
        )
        for name, kept in found
    )


def _reference(sessions: Sequence[SessionReps], same_day: Sequence[SessionReps]) -> KeptRep | None:
    """Return the rep whose figures the last reference in use was taken from, if it was kept."""
    aim = next(
        (kept.aim for one in reversed(sessions) for kept in reversed(one.reps) if kept.aim.own),
        None,
    )
    if aim is None:
        return None
    own, turn_of = aim.own, TurnOf(aim.turn_of)
    for one in (*reversed(sessions), *reversed(same_day)):
        for kept in one.whole:
            if own is not None and own_rep.is_of(kept.rep.at_top, own, turn_of):
                return kept
    return None


def _next_day(store: Store, first: SessionReps, earlier: Sequence[SessionLine]) -> NextDay | None:
    """Return what stayed from the last session on an earlier day; None where it cannot be told."""
    asked = [kept for kept in first.whole if kept.practice_kind == SILENT_CHECK]
    now = asked
    if not asked:
        # Reps at the very beginning, before any tone: later ones have practice behind them.
        now = []
        for kept in first.whole:
            if kept.cues_heard is not False:
                break
            now.append(kept)
    before = next(
        (line for line in reversed(earlier) if line.session.began.date() < first.day), None
    )
    if not now or before is None:
        return None
    return NextDay(now=tuple(now[:CHECK_REPS]), before=_read(store, before), asked=bool(asked))
