"""Player after player before one mirror: whose turn is next, and what is known of them."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from trainer.core import own_rep
from trainer.core.adjust import contradiction
from trainer.core.bay_words import reference_words, turn_lines
from trainer.core.rules import Rules
from trainer.core.summary import line_words
from trainer.errors import SettingsError, StoreError
from trainer.keeping import Keeper
from trainer.players import TARGETS, data_dir, load, record_key, roster, with_record
from trainer.ports import Announced
from trainer.settings import Settings, player_name
from trainer.shared import Shared
from trainer.store.file import open_store, store_path
from trainer.store.keeper import RepKeeper
from trainer.words import NO_PLAYERS, RECORDLESS, roster_line


@dataclass(slots=True, kw_only=True)
class Turn:
    """A player's turns in front of the mirror. Made in the main thread, begun in the pose's."""

    player: str
    rules: Rules  #: to begin with
    keeper: Keeper
    rep_keeper: RepKeeper  #: likewise
    #: What came of it so far; None before the first turn. NB: bound by the pose thread alone.
    shared: Shared | None = None

    def now(self) -> Rules:
        """Return the rules of the turn that begins now."""
        return self.rules if self.shared is None else self.again(self.shared.rules)

    def again(self, before: Rules) -> Rules:
        """Return the rules of an earlier turn with what the player's record says by now.

        Pain stays, and with it whatever it lowered; what nobody kept stays too.
        """
        if self.keeper.read_only:
            return before
        keeper = self.keeper
        rules = with_record(Settings(rules=before), keeper.record, keeper.today()).rules
        if not before.pain:
            return rules
        target_deg = min(rules.cues.target_deg, before.cues.target_deg)
        return replace(rules, cues=replace(rules.cues, target_deg=target_deg))


class Roster:
    """Goes round the players that have a record, and those who were here already. Main thread."""

    def __init__(
        self, first: Turn, begin: Callable[[str], Turn], *, folder: Path | None = None
    ) -> None:
        """Begin with the ``first`` turn; ``begin`` reads a player's record and makes one ready."""
        self.turn = first  #: whose it is, or is about to be
        self._begin, self._folder = begin, folder
        self._here = {record_key(first.player): first}

    def next(self, way: int) -> Turn | None:
        """Return the turn of the next player (+1) or the one before (-1); None: nobody else.

        The records are listed anew each time: another program may have added or removed some.
        A player whose record is gone but who was here in this run stays in the round.
        """
        here = record_key(self.turn.player)
        keys = sorted({*self._listed(), *self._here})
        key = keys[(keys.index(here) + way) % len(keys)]
        if key == here:
            return None
        if key in self._here:
            self._here[key].keeper.reload()
        else:
            self._here[key] = self._begin(key)
        self.turn = self._here[key]
        return self.turn

    def _listed(self) -> Iterator[str]:
        """Yield the keys of all records whose names can be a player's."""
        try:
            names = roster(self._folder)
        except OSError:  # the folder cannot be looked into: who was here stays
            return
        for name in names:
            with contextlib.suppress(SettingsError):
                yield record_key(player_name(name, ""))

    def flush(self) -> None:
        """Write down what could not be written of anybody who was here."""
        for turn in self._here.values():
            turn.keeper.flush()

    @property
    def troubles(self) -> tuple[str, ...]:
        """Return what could not be kept of those who are not in front of the mirror now."""
        return tuple(
            turn.keeper.trouble
            for turn in self._here.values()
            if turn is not self.turn and turn.keeper.trouble
        )


def for_others(settings: Settings, read: Settings) -> Settings:
    """Return ``settings`` for players whose turn comes later.

    What options or a record told of one player is none of another's; ``read``, the settings file
    alone, says it of them. How all practise stays.
    """
    mine, theirs = settings.rules, read.rules
    targets = {name: getattr(theirs.cues, name) for name in TARGETS}
    rules = replace(
        mine,
        handed=theirs.handed,
        stature_cm=theirs.stature_cm,
        ball_line_cm=theirs.ball_line_cm,
        comfort_deg=theirs.comfort_deg,
        own=None,
        pain=False,
        check_offered=False,
        cues=replace(mine.cues, **targets),
    )
    return replace(settings, rules=rules)


def announced(player: str, rules: Rules, trouble: str = "") -> Announced:
    """Return a player's name and what is asked of them, to be shown large."""
    cues = own_rep.cue_rules(rules)
    more = [line_words(rules.ball_line_cm)] if rules.ball_line_cm else []
    if rules.own is not None:
        more.append(reference_words(rules.own.turn_deg))
    target_deg = None if rules.pain else cues.target_deg
    lines = turn_lines(
        rules.handed.value, target_deg, cues.head_tol_cm, cues.hip_tol_cm, tuple(more)
    )
    told = tuple(words for words in (contradiction(rules), trouble) if words)
    return Announced(name=player, lines=(*lines, *told))


def players_lines() -> tuple[list[str], list[str]]:
    """Return a line on each player with a record, or with reps alone; and what went wrong."""
    lines, troubles = [], []
    keys = roster()
    for key in keys:
        record, trouble = load(key)
        troubles += [trouble] if trouble else []
        lines += [] if trouble else [roster_line(record)]
    if store_path().exists():
        try:
            with open_store() as store:
                kept = [name for name in store.players() if record_key(name) not in keys]
        except StoreError as error:
            troubles.append(str(error))
        else:
            # A record renamed or deleted by hand leaves its reps under the old name.
            lines += [RECORDLESS.format(name) for name in kept]
    if not lines and not troubles:
        lines.append(NO_PLAYERS.format(data_dir()))
    return lines, troubles
