"""What the phase finder reads, remembers and may do: its records and its table of moves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from trainer.core.handpath import HandPoint
from trainer.core.records import Phase, PhaseChange

#: Every legal move; the diagram in docs/architecture.md is drawn from here.
MOVES: Final[dict[Phase, frozenset[Phase]]] = {
    Phase.NOBODY: frozenset({Phase.WAITING}),
    Phase.WAITING: frozenset({Phase.SETUP, Phase.NOBODY}),
    Phase.SETUP: frozenset({Phase.TAKEAWAY, Phase.WAITING, Phase.NOBODY}),
    Phase.TAKEAWAY: frozenset({Phase.BACKSWING, Phase.SETUP, Phase.WAITING, Phase.NOBODY}),
    Phase.BACKSWING: frozenset({Phase.TOP, Phase.WAITING, Phase.NOBODY}),
    Phase.TOP: frozenset({Phase.AFTER, Phase.BACKSWING, Phase.NOBODY}),
    Phase.AFTER: frozenset({Phase.WAITING, Phase.NOBODY}),
}

#: Phases in which a reference is held.
REFERENCED: Final = frozenset(
    {Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one step gives the phase finder."""

    t_s: float
    seen: bool  #: a plausible pose was read
    setup_t_s: float | None = None  #: since when the player has been still at address, if so
    hands: HandPoint | None = None  #: None without a pose or a reference
    hands_apart_cm: float | None = None
    body_moved_cm: float | None = None  #: shoulders' or hips' move since setup, the larger


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseState:
    """Where the player is, and the evidence gathered so far."""

    phase: Phase = Phase.NOBODY
    since_s: float = 0.0  #: when this phase began (back-dated)
    seen_t_s: float | None = None  #: last reading with a pose
    unseen_since_s: float | None = None
    held: str = ""  #: name of the evidence being held
    held_since_s: float = 0.0
    path: tuple[HandPoint, ...] = ()  #: hands since shortly before takeaway
    setup_t_s: float | None = None
    takeaway_t_s: float | None = None
    backswing_t_s: float = 0.0
    top_t_s: float | None = None
    top_end_t_s: float | None = None
    peak_speed_cm_s: float = 0.0
    peak_back_cm_s: float = 0.0  #: the peak speed on the way to ``farthest``
    farthest: HandPoint | None = None  #: where the arc was largest in this backswing
    wrong_way: bool = False  #: the hands of this setup went far toward the target


def move(
    state: PhaseState, old: Phase, new: Phase, t_s: float, now: Reading
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Move from ``old`` to ``new``, begun at ``t_s``; raises ValueError for an illegal move."""
    if new not in MOVES[old]:
        raise ValueError(f"no legal move from {old.value} to {new.value}")
    change = PhaseChange(phase=new, t_s=t_s, decided_t_s=now.t_s)
    return replace(state, phase=new, since_s=t_s, held=""), (change,)


def hold(
    state: PhaseState, name: str, now: Reading, hold_s: float
) -> tuple[PhaseState, bool, float]:
    """Hold evidence ``name``; return (state, whether it has held long enough, since when)."""
    if state.held != name:
        state = replace(state, held=name, held_since_s=now.t_s)
    return state, now.t_s - state.held_since_s >= hold_s - 1e-9, state.held_since_s


def drop(state: PhaseState) -> PhaseState:
    """Forget the evidence being held."""
    return replace(state, held="") if state.held else state


def hand_lost(before: bool, phase: Phase, now: Reading, lost_at_setup: bool) -> bool:
    """Tell whether the pose model cannot find one hand in this setup or takeaway.

    ``before`` is what was told last; kept to the end of the rep. What is lost later says nothing:
    at the top one hand is hidden in every rep.
    """
    if phase not in (Phase.SETUP, Phase.TAKEAWAY):
        return before and phase in REFERENCED
    strayed = now.hands is not None and now.hands_apart_cm is None
    return strayed or lost_at_setup or (before and phase is Phase.TAKEAWAY)
