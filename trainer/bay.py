"""The coach's bay: players in turn, a word on a rep, the last rep standing still, small changes.

All of it happens in the main thread, between two drawings, while the pose thread goes on
measuring. What concerns the core is handed on to it as actions and turns.
"""

from __future__ import annotations

from typing import Final

from trainer.core import adjust
from trainer.core.adjust import Part
from trainer.core.bay_words import (
    NO_REP,
    NOBODY_ELSE,
    NOT_KEPT,
    NOTE_DROPPED,
    NOTE_KEYS,
    coach_words,
    note_words,
    part_chosen_words,
    rep_words,
)
from trainer.core.look_back import LookBack
from trainer.core.records import Rep
from trainer.looking import Looking
from trainer.ports import Announced, KeyAction, Writing
from trainer.rep_pictures import RepPictures, switch_filming
from trainer.roster import Roster, Turn, announced
from trainer.shared import Shared, Told

#: How long the next player's name stands.
NAME_S: Final = 4.0
MOST_NOTE: Final = 200  #: letters of a note typed between two reps

_ASKED: Final = {
    (Part.TARGET, 1): KeyAction.TARGET_MORE,
    (Part.TARGET, -1): KeyAction.TARGET_LESS,
    (Part.BAND, 1): KeyAction.BAND_MORE,
    (Part.BAND, -1): KeyAction.BAND_LESS,
    (Part.HEAD, 1): KeyAction.HEAD_MORE,
    (Part.HEAD, -1): KeyAction.HEAD_LESS,
    (Part.HIPS, 1): KeyAction.HIPS_MORE,
    (Part.HIPS, -1): KeyAction.HIPS_LESS,
}


class Bay:
    """Does what a coach asks for with a key. Used from the main thread."""

    def __init__(
        self,
        roster: Roster | None = None,
        *,
        far: bool = False,
        looking: Looking | None = None,
        pictures: RepPictures | None = None,
    ) -> None:
        """``roster``: whose turn may come; None where nobody is named. ``far``: begin large.

        ``pictures``: what films the reps; None where none are kept.
        """
        self.far = far  #: only what is to be read across a room
        self._roster = roster
        self._pictures = pictures
        self._looking = Looking() if looking is None else looking
        self._part = Part.TARGET
        self._name: tuple[Announced | None, float] = (None, 0.0)
        self._said: tuple[str, float] = ("", float("-inf"))
        self._note: tuple[Shared, Rep, str] | None = None  # being written

    @property
    def turn(self) -> Turn | None:
        """Return the turn that is asked for last; None where players have no turns."""
        return None if self._roster is None else self._roster.turn

    @property
    def looked(self) -> LookBack | None:
        """Return what of the last rep lies over the mirror now."""
        return self._looking.shown

    @property
    def writing(self) -> Writing | None:
        """Return the note under way."""
        if self._note is None:
            return None
        shared, rep, text = self._note
        title = note_words(rep_words(shared.player, rep.number))
        return Writing(title=title, text=text, foot=NOTE_KEYS)

    @property
    def said(self) -> tuple[str, float]:
        """Return the words about the last key, and when."""
        return self._said

    @property
    def troubles(self) -> tuple[str, ...]:
        """Return what could not be kept of players not before the mirror now, and of pictures."""
        kept = () if self._roster is None else self._roster.troubles
        return kept if self._pictures is None else (*kept, self._pictures.trouble)

    @property
    def filming(self) -> bool:
        """Tell whether pictures are being kept."""
        return self._pictures is not None and self._pictures.on

    def announced(self, now_s: float) -> Announced | None:
        """Return the next player's name while it stands."""
        name, said_s = self._name
        return name if now_s - said_s < NAME_S else None

    def flush(self) -> None:
        """Write down, at the end, what could not be written before."""
        if self._roster is not None:
            self._roster.flush()

    def take(
        self, action: KeyAction, shared: Shared, now_s: float
    ) -> tuple[KeyAction | Turn, ...] | None:
        """Do what ``action`` asks for; return what is left for the pose thread.

        None: the action is none of the bay's.
        """
        if action in (KeyAction.NEXT_PLAYER, KeyAction.PREVIOUS_PLAYER):
            return self._next(1 if action is KeyAction.NEXT_PLAYER else -1, shared, now_s)
        if action in (KeyAction.MORE, KeyAction.LESS):
            return (_ASKED[self._part, 1 if action is KeyAction.MORE else -1],)
        if action in (KeyAction.COACH_GOOD, KeyAction.COACH_NOT_GOOD):
            self._say(self._judge(shared, good=action is KeyAction.COACH_GOOD), now_s)
        elif action is KeyAction.NOTE:
            self._begin_note(shared, now_s)
        elif action is KeyAction.ADJUST:
            parts = tuple(Part)
            self._part = parts[(parts.index(self._part) + 1) % len(parts)]
            self._say(part_chosen_words(adjust.now_words(shared.rules, self._part)), now_s)
        elif action is KeyAction.FILM:
            self._say(switch_filming(self._pictures), now_s)
        elif action is KeyAction.FAR:
            self.far = not self.far
        else:
            words = self._looking.take(action, shared)
            if words is None:
                return None
            self._say(words, now_s)
        return ()

    def typed(self, letters: str, now_s: float) -> None:
        """Take in what was typed while a note is being written."""
        for letter in letters:
            if self._note is None:
                return
            shared, rep, text = self._note
            if letter == "\x1b":
                self._note = None
                self._say(NOTE_DROPPED, now_s)
            elif letter == "\n":
                self._note = None
                self._say(self._keep_note(shared, rep, " ".join(text.split())), now_s)
            elif letter == "\b":
                self._note = (shared, rep, text[:-1])
            elif letter.isprintable() and len(text) < MOST_NOTE:
                self._note = (shared, rep, text + letter)

    def _say(self, words: str, now_s: float) -> None:
        self._said = (words, now_s)

    def _next(self, way: int, shared: Shared, now_s: float) -> tuple[KeyAction | Turn, ...]:
        turn = None if self._roster is None else self._roster.next(way)
        if turn is None:
            self._say(NOBODY_ELSE, now_s)
            return ()
        self._looking.close()
        self._say("", now_s)
        if self._pictures is not None:
            self._pictures.next_player()
        self._name = (announced(turn.player, turn.now(), turn.keeper.trouble), now_s)
        return (turn,)

    def _meant(self, shared: Shared) -> tuple[Shared, Rep] | None:
        """Return the rep that a word is about: the one looked at, else the last."""
        if self._looking.meant is not None:
            return self._looking.meant
        return None if shared.last_rep is None else (shared, shared.last_rep)

    def _judge(self, shared: Shared, *, good: bool) -> str:
        meant = self._meant(shared)
        if meant is None:
            return NO_REP
        of, rep = meant
        told = of.told.setdefault(rep.number, Told())
        told.good = None if told.good is good else good
        kept = of.rep_keeper.tell(rep, "coach_good", told.good)
        self._looking.again()
        words = f"{rep_words(of.player, rep.number)}, {coach_words(told.good)}"
        return words if kept else words + NOT_KEPT

    def _begin_note(self, shared: Shared, now_s: float) -> None:
        meant = self._meant(shared)
        if meant is None:
            self._say(NO_REP, now_s)
            return
        of, rep = meant
        self._note = (of, rep, of.told.get(rep.number, Told()).note)

    def _keep_note(self, of: Shared, rep: Rep, text: str) -> str:
        of.told.setdefault(rep.number, Told()).note = text
        kept = of.rep_keeper.tell(rep, "note", text or None)
        self._looking.again()
        words = note_words(rep_words(of.player, rep.number), some=bool(text))
        return words if kept else words + NOT_KEPT
