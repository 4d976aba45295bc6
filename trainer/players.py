"""What is kept of each player: one small TOML file a player, in the user's data folder.

A record holds facts of the player (which way they swing, stature, where the ball line is), the
rod checks made, and the reference rep of the day. It is written whole or not at all. One that is
damaged is set aside, never written over; where nothing can be written, practice goes on without.
"""

from __future__ import annotations

import datetime
import os
import unicodedata
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final

from trainer.core.ball_line import FARTHEST_CM
from trainer.core.records import Handed
from trainer.core.rules import OwnRep
from trainer.errors import PlayerError, SettingsError
from trainer.kept_file import DATA_VARIABLE, DamagedError, kept_dir, read_kept, write_kept
from trainer.player_compared import Compared, compared_from, compared_values
from trainer.settings import Settings
from trainer.settings_values import checked, whole

SCHEMA: Final = 2
#: Records that can be read: 1 had neither targets nor checks.
READABLE: Final = (1, SCHEMA)
DEFAULT_NAME: Final = "me"

#: What a record holds of ``CueRules``: the player's own targets and tolerances.
TARGETS: Final = ("target_deg", "turn_band_deg", "head_tol_cm", "hip_tol_cm")
MOST_NOTES: Final = 2000  #: letters

_LIMITS: Final = {
    "turn_mean_deg": (-180.0, 180.0),
    "turn_sd_deg": (0.0, 180.0),
    "ball_line_cm": (-FARTHEST_CM, FARTHEST_CM),
    "read_deg": (0.0, 180.0),
    "se_deg": (0.0, 90.0),
    "turn_deg": (-180.0, 180.0),
    "head_lateral_cm": (-200.0, 200.0),
    "head_vertical_cm": (-200.0, 200.0),
    "hip_lateral_cm": (-200.0, 200.0),
    "back_gap_cm": (-200.0, 200.0),
    "hand_lateral_cm": (-200.0, 200.0),
    "hand_height_cm": (-200.0, 200.0),
}

_HEAD: Final = (
    "# What Backswing mirror keeps of one player. It may be read, changed or deleted by hand;\n"
    "# what each line means: docs/how-to/players.md.\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RodCheck:
    """One rod check: what the camera read at a true 90 degrees."""

    date: datetime.date
    camera: str
    read_deg: float
    se_deg: float | None = None  #: one standard error as stated; None when none was


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentCheck:
    """What a silent check came to: reps without cues at the start of a later session."""

    date: datetime.date
    reps: int
    good: int
    turn_mean_deg: float | None = None
    turn_sd_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerRecord:
    """All that is kept of one player; None where nothing is known."""

    name: str = DEFAULT_NAME
    handed: Handed | None = None
    stature_cm: float | None = None
    driver_cm: float | None = None  #: the length of the driver
    ball_line_cm: float | None = None  #: from the lead shoulder at setup, + away from the target
    target_deg: float | None = None
    turn_band_deg: float | None = None
    head_tol_cm: float | None = None
    hip_tol_cm: float | None = None
    comfort_deg: float | None = None  #: comfortable maximum of the turn
    notes: str = ""
    practised: datetime.date | None = None  #: the last day with a rep
    own: OwnRep | None = None  #: the reference rep ...
    own_date: datetime.date | None = None  #: ... and the day it was marked
    rod_checks: tuple[RodCheck, ...] = ()  #: the newest last
    silent_checks: tuple[SilentCheck, ...] = ()  #: the newest last
    compared: tuple[Compared, ...] = ()  #: with printed tags; the newest last


def data_dir() -> Path:
    """Return the folder of the records: ``TRAINER_DATA_DIR``, else one of the user's data."""
    return kept_dir() if os.environ.get(DATA_VARIABLE) else kept_dir() / "players"


def record_path(name: str, folder: Path | None = None) -> Path:
    """Return the file of the player called ``name``.

    Capitals make no other player, because some systems cannot tell such files apart; and some
    refuse bare names such as "con", so none stands bare.
    """
    return (data_dir() if folder is None else folder) / f"player-{record_key(name)}.toml"


def record_key(name: str) -> str:
    """Return what tells one player's record from another's: the name without its capitals."""
    return unicodedata.normalize("NFC", name).casefold()


def roster(folder: Path | None = None) -> tuple[str, ...]:
    """Return the names of the players that have a record, in order; as files have them, small."""
    place = data_dir() if folder is None else folder
    files = sorted(place.glob("player-*.toml")) if place.is_dir() else []
    return tuple(file.stem.removeprefix("player-") for file in files)


def load(name: str, folder: Path | None = None) -> tuple[PlayerRecord, str]:
    """Return the player's record, and plain words about what went wrong (empty: nothing).

    A player without a file has an empty record. A damaged file is set aside under another name.
    Raises PlayerError when the file is there but cannot be read, or cannot be set aside: to
    go on would write over it.
    """
    path = record_path(name, folder)

    def understand(values: dict[str, Any]) -> PlayerRecord:
        try:
            return _from_values(values, name, path.name)
        except SettingsError as error:
            raise DamagedError(str(error)) from None

    record, words = read_kept(
        path,
        understand,
        what=f"the record of {name}",
        error_class=PlayerError,
        then=f"{name} starts anew",
    )
    return PlayerRecord(name=name) if record is None else record, words


def save(record: PlayerRecord, folder: Path | None = None) -> None:
    """Write the player's record, whole or not at all. Raises PlayerError when it cannot be."""
    write_kept(
        record_path(record.name, folder),
        _HEAD,
        _to_values(record),
        what=f"the record of {record.name}",
        error_class=PlayerError,
    )


def merged(base: PlayerRecord, ours: PlayerRecord, theirs: PlayerRecord) -> PlayerRecord:
    """Return ``ours`` with what was changed in the file since ``base`` and not by us.

    Two programs, or a program and a person with an editor, may have one record open. Of the same
    value changed by both ours stands; of checks both are kept.
    """
    changes: dict[str, Any] = {}
    for name in (item.name for item in fields(PlayerRecord)):
        was, mine, found = (getattr(record, name) for record in (base, ours, theirs))
        if found == was or name == "name":
            continue
        if mine == was:
            changes[name] = found
        elif isinstance(mine, tuple):
            new = list(mine)
            for item in was:  # one by one: two checks of a day may read the same
                if item in new:
                    new.remove(item)
            changes[name] = (*found, *new)
    return replace(ours, **changes)


def with_record(settings: Settings, record: PlayerRecord, today: datetime.date) -> Settings:
    """Return ``settings`` with what is known of the player put over them.

    The reference rep counts on the day it was marked and on no other. A silent check is offered
    to who practised on an earlier day: what was kept overnight is what stayed.
    """
    rules = settings.rules
    own_targets = {name: getattr(record, name) for name in TARGETS}
    cues = replace(rules.cues, **{n: v for n, v in own_targets.items() if v is not None})
    return replace(
        settings,
        rules=replace(
            rules,
            handed=record.handed or rules.handed,
            stature_cm=rules.stature_cm if record.stature_cm is None else record.stature_cm,
            ball_line_cm=rules.ball_line_cm if record.ball_line_cm is None else record.ball_line_cm,
            own=record.own if record.own_date == today else None,
            comfort_deg=rules.comfort_deg if record.comfort_deg is None else record.comfort_deg,
            check_offered=record.practised is not None and record.practised < today,
            cues=cues,
        ),
    )


def last_read_deg(record: PlayerRecord, camera: str) -> float | None:
    """Return what the newest rod check with this camera read; None without one."""
    found = [check.read_deg for check in record.rod_checks if check.camera == camera]
    return found[-1] if found else None


def _from_values(values: dict[str, Any], name: str, where: str) -> PlayerRecord:
    """Return the record a file holds. Raises SettingsError for what cannot be used."""
    known = {"schema", "handed", "stature_cm", "ball_line_cm", "own", "rod_check", "comfort_deg"}
    known |= {"name", "notes", "practised", "silent_check", "compared", "driver_cm"}
    _known(values, known | set(TARGETS), where)
    if values.get("schema") not in READABLE:
        raise SettingsError(
            f"{where} has schema {values.get('schema')!r}. {SCHEMA} or less was wanted. "
            "Use the version of the program that wrote it."
        )
    handed = values.get("handed")
    if handed is not None and handed not in [h.value for h in Handed]:
        raise SettingsError(
            f"{where} handed is {handed!r}. One of right, left was wanted. Write one of them."
        )
    own, own_date = _own(values.get("own"), f"{where} [own]")
    checks = _tables(values, "rod_check", where)
    notes = values.get("notes", "")
    if not isinstance(notes, str) or len(notes) > MOST_NOTES:
        raise SettingsError(
            f"{where} notes is {str(notes)[:40]!r}. A text of at most {MOST_NOTES} letters was "
            "wanted. Shorten it, and put it in quotes."
        )
    told = values.get("name")
    # A file that was given another name by hand is that player's, whatever stands in it.
    if isinstance(told, str) and record_key(told) == record_key(name):
        name = told
    return PlayerRecord(
        name=name,
        handed=None if handed is None else Handed(handed),
        stature_cm=_number(values, "stature_cm", where),
        driver_cm=_number(values, "driver_cm", where),
        ball_line_cm=_number(values, "ball_line_cm", where),
        **{name: _number(values, name, where) for name in (*TARGETS, "comfort_deg")},
        notes=notes,
        practised=_date(values, where, "practised") if "practised" in values else None,
        own=own,
        own_date=own_date,
        rod_checks=tuple(_rod_check(check, f"{where} [[rod_check]]") for check in checks),
        silent_checks=tuple(
            _silent_check(check, f"{where} [[silent_check]]")
            for check in _tables(values, "silent_check", where)
        ),
        compared=tuple(
            compared_from(_table(one, f"{where} [[compared]]"), f"{where} [[compared]]")
            for one in _tables(values, "compared", where)
        ),
    )


def _tables(values: dict[str, Any], name: str, where: str) -> list[Any]:
    found = values.get(name, [])
    if not isinstance(found, list):
        raise SettingsError(
            f"{where} {name} is {found!r}. Sections [[{name}]] were wanted. Mend them."
        )
    return found


def _silent_check(values: object, where: str) -> SilentCheck:
    table = _table(values, where)
    _known(table, {item.name for item in fields(SilentCheck)}, where)
    reps, good = (whole("check_reps", table.get(n), f"{where} {n}") if table.get(n) else 0
                  for n in ("reps", "good"))  # fmt: skip
    return SilentCheck(
        date=_date(table, where),
        reps=reps,
        good=good,
        turn_mean_deg=_number(table, "turn_mean_deg", where),
        turn_sd_deg=_number(table, "turn_sd_deg", where),
    )


def _own(values: object, where: str) -> tuple[OwnRep | None, datetime.date | None]:
    if values is None:
        return None, None
    table = _table(values, where)
    names = {item.name for item in fields(OwnRep)}
    _known(table, names | {"date"}, where)
    figures: dict[str, Any] = {name: _number(table, name, where) for name in names}
    if figures["turn_deg"] is None:
        raise SettingsError(f"{where} has no turn_deg. A number was wanted. Put it in.")
    return OwnRep(**figures), _date(table, where)


def _rod_check(values: object, where: str) -> RodCheck:
    table = _table(values, where)
    _known(table, {item.name for item in fields(RodCheck)}, where)
    read_deg, camera = _number(table, "read_deg", where), table.get("camera")
    if read_deg is None or not isinstance(camera, str):
        raise SettingsError(
            f"{where} lacks read_deg or camera. A number and a text were wanted. Put them in."
        )
    return RodCheck(
        date=_date(table, where),
        camera=camera,
        read_deg=read_deg,
        se_deg=_number(table, "se_deg", where),
    )


def _known(values: dict[str, Any], known: set[str], where: str) -> None:
    unknown = sorted(set(values) - known)
    if unknown:
        raise SettingsError(
            f"{where} has the unknown key {unknown[0]!r}. Known are: {', '.join(sorted(known))}. "
            "Check the spelling or take it out."
        )


def _table(values: object, where: str) -> dict[str, Any]:
    if not isinstance(values, dict):
        raise SettingsError(f"{where} is {values!r}. A section was wanted. Mend it.")
    return values


def _number(values: dict[str, Any], name: str, where: str) -> float | None:
    value = values.get(name)
    if value is None:
        return None
    if name not in _LIMITS:
        return checked(name, value, f"{where} {name}")
    low, high = _LIMITS[name]
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:
        raise SettingsError(
            f"{where} {name} is {value!r}. A number from {low:g} to {high:g} was wanted. Give one."
        )
    return float(value)


def _date(values: dict[str, Any], where: str, name: str = "date") -> datetime.date:
    date = values.get(name)
    if type(date) is not datetime.date:  # a time of day would be another kind of value
        raise SettingsError(
            f"{where} {name} is {date!r}. A day such as 2026-05-31, without quotes, was wanted. "
            "Write one."
        )
    return date


def _to_values(record: PlayerRecord) -> dict[str, Any]:
    """Return the record as TOML's own kinds of values; what is not known is left out."""
    values: dict[str, Any] = {
        "schema": SCHEMA,
        "name": record.name,
        "handed": None if record.handed is None else record.handed.value,
        "stature_cm": record.stature_cm,
        "driver_cm": record.driver_cm,
        "ball_line_cm": record.ball_line_cm,
        **{name: getattr(record, name) for name in (*TARGETS, "comfort_deg")},
        "notes": record.notes or None,
        "practised": record.practised,
    }
    if record.own is not None:
        own = {item.name: getattr(record.own, item.name) for item in fields(OwnRep)}
        values["own"] = _told({"date": record.own_date, **own})
    if record.rod_checks:
        values["rod_check"] = [
            _told({item.name: getattr(check, item.name) for item in fields(RodCheck)})
            for check in record.rod_checks
        ]
    if record.silent_checks:
        values["silent_check"] = [
            _told({item.name: getattr(check, item.name) for item in fields(SilentCheck)})
            for check in record.silent_checks
        ]
    if record.compared:
        values["compared"] = [_told(compared_values(one)) for one in record.compared]
    return _told(values)


def _told(values: dict[str, Any]) -> dict[str, Any]:
    rounded = {k: round(v, 2) if isinstance(v, float) else v for k, v in values.items()}
    return {name: value for name, value in rounded.items() if value is not None}
