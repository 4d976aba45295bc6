"""Whose sitting it is before the mirror, and when one is over. Used from the pose thread."""

from __future__ import annotations

from typing import Final

from trainer.core.bay_words import closed_words
from trainer.engine import Engine
from trainer.ports import KeyAction
from trainer.roster import Turn
from trainer.shared import Shared

#: Nobody seen and no key pressed for so long: what was done so far is a sitting of its own.
NOBODY_S: Final = 600.0


class Sittings:
    """Changes the player, and closes a sitting that nobody goes on with."""

    def __init__(self, first: Shared, turn: Turn | None) -> None:
        """Begin with the ``first`` sitting, of ``turn`` where players have turns."""
        self.all = [first]  #: in the order they began
        self._turn = turn
        self._seen_s: float | None = None  # when somebody was last there
        if turn is not None:
            turn.shared = first

    def begin(self, turn: Turn, before: Shared) -> Shared:
        """Return the sitting of ``turn``: the player's own, gone on with, or their first."""
        rules = turn.now()
        if turn.shared is None:
            turn.shared = Shared(
                rules=rules,
                engine=Engine(rules),
                rep_keeper=turn.rep_keeper,
                keeper=turn.keeper,
                player=turn.player,
            )
            self.all.append(turn.shared)
        else:
            turn.shared.engine.resume(rules)
            turn.shared.rules = turn.shared.engine.rules
            turn.shared.follow()
        turn.shared.go_on_from(before)
        self._turn, self._seen_s = turn, None
        return turn.shared

    def is_over(self, t_s: float, shared: Shared, *, somebody: bool) -> bool:
        """Tell whether nobody has gone on with a sitting that has reps for ten minutes."""
        if somebody or self._seen_s is None:
            self._seen_s = t_s
        return bool(shared.reps) and t_s - self._seen_s >= NOBODY_S

    def close(self, shared: Shared, t_s: float) -> Shared:
        """Return a new sitting of the same player, its counts at zero; the old one is kept.

        The core hears of it as of a key, so that a trace plays the same.
        """
        shared.engine.act(KeyAction.NEW_SITTING)
        new = Shared(
            rules=shared.engine.rules,
            engine=shared.engine,
            rep_keeper=shared.rep_keeper.anew(),
            keeper=shared.keeper,
            player=shared.player,
            readings=shared.readings,
            check=shared.check,
        )
        new.go_on_from(shared)
        new.closed = closed_words(NOBODY_S / 60.0, shared.whole_reps)
        self.all.append(new)
        if self._turn is not None:
            self._turn.shared = new
        self._seen_s = t_s
        return new
