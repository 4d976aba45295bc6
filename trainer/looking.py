"""Looking back at the last rep in the mirror's place: standing still, or beside the reference."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Final

from trainer.core import look_back
from trainer.core.bay_words import (
    GUESS,
    LOOK_KEYS,
    NO_POSE,
    NO_REFERENCE,
    NO_REP,
    NO_TOP,
    NOT_FOUND,
    SAME,
    TOPS_KEYS,
    rep_words,
    told_words,
    top_words,
    tops_words,
)
from trainer.core.look_back import Figure, LookBack, Track
from trainer.core.own_rep import is_of
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Measures, Rep
from trainer.core.rules import OwnRep
from trainer.errors import StoreError
from trainer.ports import KeyAction
from trainer.shared import Shared
from trainer.store.records import KeptRep, Motion
from trainer.store.reference import kept_reference

Find = Callable[[str, OwnRep, TurnOf, datetime.date], "tuple[KeptRep, Motion] | None"]

_STEPS: Final = {
    KeyAction.LOOK_EARLIER: -1,
    KeyAction.LOOK_LATER: 1,
    KeyAction.LOOK_BEFORE: -1,
    KeyAction.LOOK_AFTER: 1,
}


class Looking:
    """What of the last rep lies over the mirror. Used from the main thread."""

    def __init__(self, find: Find = kept_reference) -> None:
        """``find`` looks in the record for a reference that is not of this run."""
        self.shown: LookBack | None = None  #: what is to be drawn; None: the mirror
        self._find = find
        self._at: tuple[Shared, Track] | None = None
        self._row: int | None = None  # None: two tops are shown

    def take(self, action: KeyAction, shared: Shared) -> str | None:
        """Do what ``action`` asks for; return words about it, or None where it is none of these.

        Empty words: what it asked for is on the screen.
        """
        if action is KeyAction.LOOK_BACK:
            if self.shown is not None and self._row is not None:
                return self.close()
            return self._still(shared)
        if action is KeyAction.TOPS:
            if self.shown is not None and self._row is None:
                return self.close()
            return self._beside(shared)
        if action in _STEPS:
            self._step(action)
            return ""
        return None

    def close(self) -> str:
        """Go back to the mirror."""
        self.shown = self._at = self._row = None
        return ""

    @property
    def meant(self) -> tuple[Shared, Rep] | None:
        """Return the rep that is shown; None while the mirror is."""
        return None if self._at is None else (self._at[0], self._at[1].rep)

    def again(self) -> None:
        """Work out anew what is shown, because something was said of the rep."""
        if self._at is not None and self._row is not None:
            self._draw(*self._at, self._row)

    def _wanted(self, shared: Shared) -> tuple[Shared, Track] | str:
        """Return the rep to look at: the one shown, else the last; or why there is none."""
        if self._at is not None:
            return self._at
        if shared.practice is not None and not shared.practice.verdict:
            return GUESS
        if shared.track is None:
            return NO_REP if shared.last_rep is None else NO_POSE
        return shared, shared.track

    def _still(self, shared: Shared) -> str:
        wanted = self._wanted(shared)
        if isinstance(wanted, str):
            return wanted
        self._draw(*wanted, look_back.top_row(wanted[1]))
        return ""

    def _draw(self, shared: Shared, track: Track, row: int) -> None:
        self._at, self._row = (shared, track), row
        title, told = rep_words(shared.player, track.rep.number), shared.told.get(track.rep.number)
        if told is not None:
            title = told_words(title, told.good, told.note)
        self.shown = look_back.standing(track, row, title, LOOK_KEYS)

    def _step(self, action: KeyAction) -> None:
        if self._at is None or self._row is None:
            return
        track, way = self._at[1], _STEPS[action]
        if action in (KeyAction.LOOK_BEFORE, KeyAction.LOOK_AFTER):
            row = look_back.jumped(track, self._row, way)
        else:
            row = min(max(self._row + way, 0), track.last)
        self._draw(*self._at, row)

    def _beside(self, shared: Shared) -> str:
        wanted = self._wanted(shared)
        if isinstance(wanted, str):
            return wanted
        of, track = wanted
        rep, own, turn_of = track.rep, of.rules.own, of.rules.cues.turn_of
        if own is None:
            return NO_REFERENCE
        mine = look_back.top_figure(track, top_words(rep.number))
        if rep.at_top is None or mine is None:
            return NO_TOP
        if is_of(rep.at_top, own, turn_of):
            return SAME
        try:
            other = self._reference(of, own, turn_of)
        except StoreError as error:
            return str(error)
        if other is None:
            return NOT_FOUND
        self._at, self._row = wanted, None
        self.shown = look_back.side_by_side(
            mine,
            rep.at_top,
            *other,
            title=tops_words(rep_words(of.player, rep.number)),
            foot=TOPS_KEYS,
        )
        return ""

    def _reference(
        self, of: Shared, own: OwnRep, turn_of: TurnOf
    ) -> tuple[Figure, Measures] | None:
        """Return the reference's top as it is drawn: of this run, else as it was kept."""
        for top, figure in reversed(of.tops):
            if is_of(top, own, turn_of):
                return figure, top
        if not of.rep_keeper.keeps:
            return None
        found = self._find(of.player, own, turn_of, datetime.date.today())
        if found is None:
            return None
        kept, motion = found
        its_top, pose, setup = kept.rep.at_top, motion.top_pose, motion.setup_pose
        if its_top is None or pose is None:
            return None
        setup_px = None if setup is None else setup.image_px
        title = top_words(kept.rep.number, reference=True)
        return look_back.figure_of(title, pose.image_px, setup_px), its_top
