"""Finds the kept rep that a reference was marked on, for its body points at the top."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date

from trainer.core import own_rep
from trainer.core.practice_rules import TurnOf
from trainer.core.rules import OwnRep
from trainer.store.content import Store
from trainer.store.file import open_store
from trainer.store.records import KeptRep, Motion

#: A reference holds for a day, so this many sittings of the player are looked through at most.
MOST_SESSIONS = 20


def kept_reference(
    player: str,
    own: OwnRep,
    turn_of: TurnOf,
    today: date,
    opened: Callable[[], AbstractContextManager[Store]] = open_store,
) -> tuple[KeptRep, Motion] | None:
    """Return the rep of ``today`` that ``own`` was taken from, newest first; None if none is kept.

    Raises StoreError when the record of reps cannot be used.
    """
    with opened() as store:
        for line in store.sessions(player, most=MOST_SESSIONS):
            if line.last.date() < today:
                break
            for kept in reversed(store.reps_of(line.session)):
                if kept.rep.complete and own_rep.is_of(kept.rep.at_top, own, turn_of):
                    return kept, store.motion(kept)
    return None
