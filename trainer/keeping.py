"""Keeps a player's record up to date while the mirror runs; the files are in ``players``."""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

from trainer.core.practice import CheckResult
from trainer.core.rod_check import RodReading
from trainer.core.rules import Rules
from trainer.errors import PlayerError
from trainer.kept_file import held_alone
from trainer.players import (
    TARGETS,
    PlayerRecord,
    RodCheck,
    SilentCheck,
    load,
    merged,
    record_path,
    save,
    with_record,
)
from trainer.settings import Settings

#: Rod checks kept, and silent checks; the oldest go first.
MOST_CHECKS: Final = 200
#: A change is written once nothing has changed for so long: a line being dragged changes often.
SETTLE_S: Final = 1.0
#: What could not be written is tried again after so long, and at the end.
RETRY_S: Final = 20.0


class Keeper:
    """Keeps a player's record up to date while the mirror runs. Main thread only.

    Nothing it does raises: ``trouble`` says in plain words what could not be kept.
    """

    def __init__(
        self,
        record: PlayerRecord,
        rules: Rules,
        *,
        folder: Path | None = None,
        trouble: str = "",
        read_only: bool = False,
        today: Callable[[], datetime.date] = datetime.date.today,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin with ``rules`` as the record gives them; what differs later is kept.

        ``read_only``: nothing is written, because an older record could not be read or because
        the player wants nothing kept.
        """
        self.record = record
        self._base = record  # as the file had it last
        self.trouble = trouble
        self._kept_rules = rules
        self._checks = 0
        self._silent: CheckResult | None = None
        self._folder, self.read_only = folder, read_only
        self.today, self._clock = today, clock
        self._changed_s: float | None = None

    def look(
        self,
        rules: Rules,
        readings: tuple[RodReading, ...],
        camera: str,
        *,
        practised: bool = False,
        check: CheckResult | None = None,
    ) -> None:
        """Take in what changed: ``rules`` now, and all rod checks of this run so far.

        ``practised``: a rep was made in this run. ``check``: its silent check, once it is made.
        """
        record, before = self.record, self._kept_rules
        if rules is not before:
            if rules.handed is not before.handed:
                record = replace(record, handed=rules.handed)
            if rules.stature_cm != before.stature_cm:
                record = replace(record, stature_cm=rules.stature_cm)
            if rules.ball_line_cm != before.ball_line_cm:
                record = replace(record, ball_line_cm=rules.ball_line_cm)
            if rules.own is not before.own:
                own_date = None if rules.own is None else self.today()
                record = replace(record, own=rules.own, own_date=own_date)
            if rules.comfort_deg != before.comfort_deg:
                record = replace(record, comfort_deg=rules.comfort_deg)
            if not rules.pain:  # what pain lowered belongs to the day
                changed = {
                    name: getattr(rules.cues, name)
                    for name in TARGETS
                    if getattr(rules.cues, name) != getattr(before.cues, name)
                }
                record = replace(record, **changed)
            self._kept_rules = rules
        for reading in readings[self._checks :]:
            rod = RodCheck(
                date=self.today(),
                camera=camera,
                read_deg=reading.read_deg,
                se_deg=reading.se_deg,
            )
            record = replace(record, rod_checks=(*record.rod_checks, rod)[-MOST_CHECKS:])
        self._checks = len(readings)
        if practised and record.practised != self.today():
            record = replace(record, practised=self.today())
        if check is not None and check is not self._silent:
            self._silent = check
            made = SilentCheck(
                date=self.today(),
                reps=check.reps,
                good=check.good,
                turn_mean_deg=check.turn_mean_deg,
                turn_sd_deg=check.turn_sd_deg,
            )
            silent = (*record.silent_checks, made)[-MOST_CHECKS:]
            record = replace(record, silent_checks=silent)
        if record != self.record:
            self.put(record)
        elif self._changed_s is not None and self._clock() - self._changed_s >= SETTLE_S:
            self.flush()

    def put(self, record: PlayerRecord) -> None:
        """Take ``record`` in place of the one so far; it is written a moment later."""
        self.record, self._changed_s = record, self._clock()

    def reload(self) -> None:
        """Take in what was changed in the file meanwhile; what is not written yet stands.

        Where the file is gone, what is known stands, and is written with the next change.
        """
        self.flush()
        if self.read_only or self._changed_s is not None:
            return
        try:
            if record_path(self.record.name, self._folder).exists():
                found, self.trouble = load(self.record.name, self._folder)
                if not self.trouble:
                    self.record = self._base = found
        except PlayerError as error:
            self.trouble = f"Not kept: {error}"

    def flush(self) -> None:
        """Write what has not been written yet; where that fails it is tried again later."""
        if self._changed_s is None or self.read_only:
            return
        path, name = record_path(self.record.name, self._folder), self.record.name
        try:
            # Else two programs might read the same file and write one after the other.
            with held_alone(path, what=f"the record of {name}", error_class=PlayerError):
                if path.exists():
                    found, damaged = load(name, self._folder)
                    if not damaged:  # else it was set aside, and ours is all there is
                        self.record = merged(self._base, self.record, found)
                save(self.record, self._folder)
                # As the file has it: numbers are rounded there.
                self.record, _ = load(name, self._folder)
                self._base = self.record
        except PlayerError as error:
            self.trouble = f"Not kept: {error}"
            self._changed_s = self._clock() + RETRY_S
        else:
            self.trouble, self._changed_s = "", None


def open_keeper(
    name: str, settings: Settings, *, folder: Path | None = None, read_only: bool = False
) -> tuple[Settings, Keeper]:
    """Return the settings with the player's record over them, and what keeps that record.

    ``read_only``: the record is used, and nothing is written into it.
    """
    today = datetime.date.today()
    trouble = ""
    try:
        record, trouble = load(name, folder)
    except PlayerError as error:
        record, trouble, read_only = PlayerRecord(name=name), f"Nothing is kept: {error}", True
    settings = with_record(settings, record, today)
    keeper = Keeper(record, settings.rules, folder=folder, trouble=trouble, read_only=read_only)
    return settings, keeper
