"""Sessions and reps as plain values for JSON, and back from a stranger's file.

Writing is one table of names; reading trusts nothing: every key, kind, length and size is looked
at before anything is believed (``docs/reps-format.md`` is the same in words).
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

import numpy as np

from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.practice_rules import TurnOf
from trainer.core.records import CueKind, Handed, Side
from trainer.errors import SettingsError
from trainer.settings import player_name
from trainer.store.records import Curves, KeptPose, KeptRep, KeptSession, Kind, Motion
from trainer.store.rows import AT_TOP, COLUMNS, TRUTHS, cue_of, moment, rep_of, row_of

#: A file beyond these is no practice of a person.
MOST_SESSIONS: Final = 2_000
MOST_REPS: Final = 5_000
MOST_READINGS: Final = 100_000
MOST_CUES: Final = 1_000
_MOST_WORDS: Final = 40
_LONGEST: Final = 2_000  #: letters of a text

#: Columns of texts, and the words they may hold; None: any text.
_TEXTS: Final[dict[str, frozenset[str] | None]] = {
    "handed": frozenset(h.value for h in Handed),
    "turn_of": frozenset(t.value for t in TurnOf),
    "practice_kind": None,
    "schedule": None,
    "guess": None,
    "note": None,
}
_NEEDED: Final = frozenset(
    {
        "number", "ended", "complete", "words", "handed", "setup_t_s", "takeaway_t_s", "target_deg",
        "turn_band_deg", "turn_confidence", "head_tol_cm", "hip_tol_cm", "hips_strict",
        "back_gap_low_cm", "back_gap_high_cm", "pain", "turn_of",
    }
)  # fmt: skip
#: Largest size of a number by the unit its name ends with, longest ending first.
_SIZES: Final = (
    ("_cm_s", 1e5), ("per_px", 1e3), ("_deg", 400.0), ("_cm", 1e4), ("_t_s", 1e10),
    ("turn_confidence", 100.0), ("number", 1e6),
)  # fmt: skip
_SESSION: Final = ("uid", "player", "began", "kind", "source", "model", "model_fitted", "program")


_ISO: Final = re.compile(r"(?:19|20)\d\d-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", re.ASCII)


class StrangeError(Exception):
    """A value is not what it should be; the words say where and why."""


def session_values(session: KeptSession) -> dict[str, Any]:
    """Return a session as plain values."""
    values = {name: getattr(session, name) for name in _SESSION}
    return {**values, "began": _iso(session.began), "kind": session.kind.value}


def rep_values(kept: KeptRep) -> dict[str, Any]:
    """Return a rep as plain values, but for its cues, curves and poses."""
    row = {**row_of(kept), "words": list(kept.words), "ended": _iso(kept.ended)}
    names = ("ended" if name == "ended_utc" else name for name in COLUMNS)
    return {
        name: bool(row[name]) if name in TRUTHS and row[name] is not None else row[name]
        for name in names
        if name != "utc_offset_min"
    }


def cue_values(kept: KeptRep) -> list[dict[str, Any]]:
    """Return a rep's cues as plain values."""
    return [
        {
            "kind": cue.kind.value,
            "side": None if cue.side is None else cue.side.value,
            "strength": cue.strength,
            "t_s": cue.t_s,
            "decided_t_s": cue.decided_t_s,
        }
        for cue in kept.rep.cues
    ]


def motion_values(motion: Motion) -> dict[str, Any]:
    """Return curves and poses as plain values; a reading not made is None."""
    curves = None
    if motion.curves is not None:
        curves = {"t_s": _listed(motion.curves.t_s, 4)}
        for name, column in motion.curves.columns.items():
            curves[name] = _listed(column, 2)
    return {
        "curves": curves,
        "setup_pose": _pose_values(motion.setup_pose),
        "top_pose": _pose_values(motion.top_pose),
    }


def session_from(values: object, player: str | None, where: str) -> KeptSession:
    """Return the session of a stranger's values, filed under ``player`` if one is given.

    Raises StrangeError for anything unexpected.
    """
    told = _table(values, where)
    _keys(told, {*_SESSION, "reps"}, {*_SESSION, "reps"}, where)
    uid = _text(told["uid"], f"{where} uid")
    if not re.fullmatch("[0-9a-f]{32}", uid):
        raise StrangeError(f"{where} uid is no 32 hexadecimal digits")
    try:
        name = player_name(told["player"], "player")
    except SettingsError as error:
        raise StrangeError(f"{where} {error}".split(". ")[0]) from None
    return KeptSession(
        uid=uid,
        player=name if player is None else player,
        began=_time(told["began"], f"{where} began"),
        kind=Kind(_one_of(told["kind"], frozenset(k.value for k in Kind), f"{where} kind")),
        source=_text(told["source"], f"{where} source"),
        model=_text(told["model"], f"{where} model"),
        model_fitted=_truth(told["model_fitted"], f"{where} model_fitted"),
        program=_text(told["program"], f"{where} program"),
    )


def rep_from(values: object, session: KeptSession, where: str) -> tuple[KeptRep, Motion]:
    """Return the rep of a stranger's values. Raises StrangeError for anything unexpected."""
    told = _table(values, where)
    columns = {"ended", *COLUMNS} - {"ended_utc", "utc_offset_min"}
    extra = {"cues", "curves", "setup_pose", "top_pose"}
    _keys(told, columns | extra, _NEEDED | extra, where)
    row: dict[str, Any] = {}
    for name in columns:
        value = told.get(name)
        if value is None and name in _NEEDED:
            raise StrangeError(f"{where} {name} is missing")
        row[name] = None if value is None else _column(name, value, f"{where} {name}")
    row.update(moment(row.pop("ended"), "ended_utc"))
    kept = rep_of(session, row, map(cue_of, _cues(told["cues"], f"{where} cues")))
    motion = Motion(
        curves=_curves(told["curves"], f"{where} curves"),
        setup_pose=_pose(told["setup_pose"], f"{where} setup_pose"),
        top_pose=_pose(told["top_pose"], f"{where} top_pose"),
    )
    return kept, motion


def _column(name: str, value: object, where: str) -> Any:  # noqa: ANN401 -- as the table has it
    if name == "ended":
        return _time(value, where)
    if name == "words":
        words = _list(value, where, _MOST_WORDS)
        return json.dumps([_text(each, where) for each in words], ensure_ascii=False)
    if name in TRUTHS:
        return _truth(value, where)
    if name in _TEXTS:
        allowed = _TEXTS[name]
        return _text(value, where) if allowed is None else _one_of(value, allowed, where)
    if name == "number":
        return _whole(value, where, 1, 1_000_000)
    most = next(size for ending, size in _SIZES if name.endswith(ending))
    return _number(value, where, most)


def _cues(values: object, where: str) -> list[dict[str, Any]]:
    found = []
    for value in _list(values, where, MOST_CUES):
        cue = _table(value, where)
        names = {"kind", "side", "strength", "t_s", "decided_t_s"}
        _keys(cue, names, names, where)
        side = cue["side"]
        found.append(
            {
                "kind": _one_of(cue["kind"], frozenset(k.value for k in CueKind), where),
                "side": side and _one_of(side, frozenset(s.value for s in Side), where),
                **{n: _number(cue[n], f"{where} {n}", 1e10) for n in names - {"kind", "side"}},
            }
        )
    return found


def _curves(values: object, where: str) -> Curves | None:
    if values is None:
        return None
    told = _table(values, where)
    _keys(told, {"t_s", *AT_TOP}, {"t_s"}, where)
    times = _list(told["t_s"], where, MOST_READINGS)
    t_s = np.array([_number(t, f"{where} t_s", 1e5) for t in times])
    if not t_s.size or np.any(np.diff(t_s) <= 0):
        raise StrangeError(f"{where} t_s does not increase")
    columns = {}
    for name in told:
        if name == "t_s":
            continue
        column = _list(told[name], f"{where} {name}", MOST_READINGS)
        if len(column) != t_s.size:
            raise StrangeError(f"{where} {name} has another length than t_s")
        columns[name] = np.array(
            [math.nan if v is None else _number(v, f"{where} {name}", 1e6) for v in column]
        )
    return Curves(t_s=t_s, columns=columns)


def _pose(values: object, where: str) -> KeptPose | None:
    if values is None:
        return None
    told = _table(values, where)
    _keys(told, {"size_wh", "points"}, {"size_wh", "points"}, where)
    size = [_whole(n, f"{where} size_wh", 1, 100_000) for n in _list(told["size_wh"], where, 2)]
    points = [
        [_number(n, f"{where} points", 1e6) for n in _list(point, where, 3)]
        for point in _list(told["points"], where, LANDMARK_COUNT)
    ]
    if len(size) != 2 or len(points) != LANDMARK_COUNT or any(len(p) != 3 for p in points):
        raise StrangeError(f"{where} is no size of two and {LANDMARK_COUNT} points of three")
    table = np.array(points)
    return KeptPose(size_wh=(size[0], size[1]), image_px=table[:, :2], visibility=table[:, 2])


def _pose_values(pose: KeptPose | None) -> dict[str, Any] | None:
    if pose is None:
        return None
    rows = np.hstack([pose.image_px, pose.visibility[:, None]])
    return {"size_wh": list(pose.size_wh), "points": np.round(rows, 3).tolist()}


def _listed(column: np.ndarray, digits: int) -> list[float | None]:
    # Adding 0.0 makes -0.0 a plain 0.0.
    return [None if math.isnan(v) else v for v in (np.round(column, digits) + 0.0).tolist()]


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds")


def _table(value: object, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise StrangeError(f"{where} is no table of names and values")
    return value


def _keys(told: dict[str, Any], known: set[str], needed: Iterable[str], where: str) -> None:
    unknown = sorted(set(told) - known)
    if unknown:
        raise StrangeError(f"{where} has the unknown name {unknown[0][:60]!r}")
    missing = sorted(set(needed) - set(told))
    if missing:
        raise StrangeError(f"{where} has no {missing[0]}")


def _list(value: object, where: str, most: int) -> list[Any]:
    if not isinstance(value, list):
        raise StrangeError(f"{where} is no list")
    if len(value) > most:
        raise StrangeError(f"{where} has {len(value)} entries, more than {most}")
    return value


def _text(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise StrangeError(f"{where} is no text")
    if len(value) > _LONGEST:
        raise StrangeError(f"{where} has {len(value)} letters, more than {_LONGEST}")
    # Controls, halves of letters and the like; a note may have lines.
    if any(
        unicodedata.category(letter) in ("Cc", "Cs", "Cn") for letter in value if letter != "\n"
    ):
        raise StrangeError(f"{where} holds what is no letter")
    return value


def _one_of(value: object, allowed: frozenset[str], where: str) -> str:
    if not isinstance(value, str) or value not in allowed:
        raise StrangeError(f"{where} is none of {', '.join(sorted(allowed))}")
    return value


def _truth(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise StrangeError(f"{where} is neither true nor false")
    return value


def _whole(value: object, where: str, low: int, high: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise StrangeError(f"{where} is no whole number from {low} to {high}")
    return value


def _number(value: object, where: str, most: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= most:
        raise StrangeError(f"{where} is no number from {-most:g} to {most:g}")
    return float(value)


def _time(value: object, where: str) -> datetime:
    """Return an instant of ISO 8601 with its offset, as this program writes it."""
    if not isinstance(value, str) or not _ISO.fullmatch(value):
        raise StrangeError(f"{where} is no time such as 2026-05-31T18:30:05.250+02:00")
    try:
        return datetime.fromisoformat(value)
    except ValueError:
        raise StrangeError(f"{where} is no time there is") from None
