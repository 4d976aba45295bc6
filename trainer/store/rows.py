"""A kept rep as the values of its row, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import datetime, timedelta, timezone
from typing import Any, Final

from trainer.core.records import Cue, CueKind, Handed, Measures, Rep, Side, Verdict
from trainer.core.rules import OwnRep
from trainer.store.records import Aim, KeptRep, KeptSession, Kind

#: The state of the cue schedule that is kept with a rep.
_SCHEDULE: Final = {"cues": str, "told_pct": int, "told": bool}
#: What is read at setup; every other measure is counted from there and zero.
AT_SETUP: Final = (
    "chest_pitch_deg",
    "side_tilt_deg",
    "back_gap_cm",
    "chest_pitch_se_deg",
    "side_tilt_se_deg",
    "back_gap_se_cm",
)
AT_TOP: Final = tuple(item.name for item in fields(Measures) if item.name not in ("t_s", "sources"))
_OWN: Final = tuple(item.name for item in fields(OwnRep))
_AIM: Final = tuple(item.name for item in fields(Aim) if item.name != "own")
_TIMES: Final = ("setup_t_s", "takeaway_t_s", "top_t_s", "top_end_t_s")
_LARGEST: Final = (
    "max_shoulder_turn_deg",
    "max_head_lateral_cm",
    "max_head_vertical_cm",
    "max_hip_lateral_cm",
)
#: Fields of a kept rep that are columns just as they are.
_PLAIN: Final = (
    "good",
    "stature_cm",
    "cm_per_px",
    "scale_from_stature",
    "max_shoulder_turn_se_deg",
    "max_head_lateral_se_cm",
    "max_head_vertical_se_cm",
    "max_hip_lateral_se_cm",
    "cues_heard",
    "practice_kind",
    "schedule",
    "guess",
    "coach_good",
    "note",
)
#: Columns that are filled after the rep has ended, by what is then said of it.
SAID: Final = ("guess", "coach_good", "note")
TRUTHS: Final = {
    "good", "complete", "scale_from_stature", "hips_strict", "pain", "cues_heard", "coach_good",
}  # fmt: skip


#: Every column of table reps but its ids, in the order of tables that are written out.
COLUMNS: Final = (
    "number", "ended_utc", "utc_offset_min", "complete", "good", "words", "handed", "stature_cm",
    *_TIMES,
    *(f"setup_{name}" for name in ("read_t_s", *AT_SETUP)),
    *(f"top_{name}" for name in ("read_t_s", *AT_TOP)),
    *_LARGEST, *_AIM,
    *(f"own_{name}" for name in _OWN),
    *(name for name in _PLAIN if name not in ("good", "stature_cm")),
)  # fmt: skip


def row_of(kept: KeptRep) -> dict[str, Any]:
    """Return the columns of table reps, but for its ids."""
    rep, aim = kept.rep, kept.aim
    row: dict[str, Any] = {
        "number": rep.number,
        "complete": rep.complete,
        "words": json.dumps(kept.words, ensure_ascii=False),
        "handed": kept.handed.value,
        **moment(kept.ended, "ended_utc"),
        **{name: getattr(rep, name) for name in (*_TIMES, *_LARGEST)},
        **{name: getattr(aim, name) for name in _AIM},
        **{name: getattr(kept, name) for name in _PLAIN},
    }
    for prefix, names, read in (("setup", AT_SETUP, kept.at_setup), ("top", AT_TOP, rep.at_top)):
        row[f"{prefix}_read_t_s"] = None if read is None else read.t_s
        for name in names:
            row[f"{prefix}_{name}"] = None if read is None else getattr(read, name)
    for name in _OWN:
        row[f"own_{name}"] = None if aim.own is None else getattr(aim.own, name)
    return {name: int(value) if isinstance(value, bool) else value for name, value in row.items()}


def rep_of(session: KeptSession, row: Mapping[str, Any], cues: Iterable[Cue]) -> KeptRep:
    """Return the rep whose row and cues these are."""
    told: dict[str, Any] = {
        name: bool(row[name]) if name in TRUTHS and row[name] is not None else row[name]
        for name in row.keys()  # noqa: SIM118 -- a sqlite3.Row iterates over its values
    }
    own = {name: told[f"own_{name}"] for name in _OWN}
    return KeptRep(
        session=session,
        ended=time_of(told["ended_utc"], told["utc_offset_min"]),
        rep=Rep(
            number=told["number"],
            complete=told["complete"],
            at_top=_measures(told, "top", AT_TOP),
            cues=tuple(cues),
            verdict=_verdict(told),
            **{name: told[name] for name in (*_TIMES, *_LARGEST)},
        ),
        handed=Handed(told["handed"]),
        aim=Aim(
            own=None if own["turn_deg"] is None else OwnRep(**own),
            **{name: told[name] for name in _AIM},
        ),
        words=tuple(json.loads(told["words"])),
        at_setup=_measures(told, "setup", AT_SETUP),
        **{name: told[name] for name in _PLAIN},
    )


def schedule_text(verdict: Verdict) -> str:
    """Return the cue schedule at a rep as it is kept."""
    return json.dumps({name: getattr(verdict, name) for name in _SCHEDULE})


def _verdict(row: Mapping[str, Any]) -> Verdict | None:
    """Return what the rep was worth in its practice; None where none is told of."""
    if row["practice_kind"] is None or row["schedule"] is None:
        return None
    try:
        schedule = json.loads(row["schedule"])
        state = {name: kind(schedule[name]) for name, kind in _SCHEDULE.items()}
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return Verdict(
        kind=row["practice_kind"], good=row["good"], lines=tuple(json.loads(row["words"])), **state
    )


def session_row(session: KeptSession) -> dict[str, Any]:
    """Return the columns of table sessions, but for its ids."""
    return {
        "uid": session.uid,
        **moment(session.began, "began_utc"),
        "kind": session.kind.value,
        "source": session.source,
        "model": session.model,
        "model_fitted": int(session.model_fitted),
        "program": session.program,
        "clip_sha256": session.clip_sha256,
    }


def session_of(row: Mapping[str, Any], offset_min: int) -> KeptSession:
    """Return the session of a row that has its player's name too, begun ``offset_min`` off UTC."""
    return KeptSession(
        uid=row["uid"],
        player=row["player"],
        began=time_of(row["began_utc"], offset_min),
        kind=Kind(row["kind"]),
        source=row["source"],
        model=row["model"],
        model_fitted=bool(row["model_fitted"]),
        program=row["program"],
        clip_sha256=row["clip_sha256"],
    )


def cue_row(cue: Cue) -> tuple[Any, ...]:
    """Return kind, side, strength, t_s and decided_t_s."""
    side = None if cue.side is None else cue.side.value
    return cue.kind.value, side, cue.strength, cue.t_s, cue.decided_t_s


def cue_of(row: Mapping[str, Any]) -> Cue:
    """Return the cue of a row."""
    return Cue(
        kind=CueKind(row["kind"]),
        side=None if row["side"] is None else Side(row["side"]),
        strength=row["strength"],
        t_s=row["t_s"],
        decided_t_s=row["decided_t_s"],
    )


def moment(at: datetime, name: str) -> dict[str, Any]:
    """Return an instant as ISO 8601 in UTC, so that text sorts as time does, and its offset.

    Raises ValueError for one that does not know its offset from UTC.
    """
    offset = at.utcoffset()
    if offset is None:
        raise ValueError(f"{at} does not say how far it is from UTC")
    utc = at.astimezone(timezone.utc).replace(tzinfo=None)
    return {
        name: utc.isoformat(timespec="milliseconds") + "Z",
        "utc_offset_min": round(offset.total_seconds() / 60),
    }


def time_of(utc: str, offset_min: int) -> datetime:
    """Return the instant with its offset again."""
    at = datetime.fromisoformat(utc.removesuffix("Z")).replace(tzinfo=timezone.utc)
    return at.astimezone(timezone(timedelta(minutes=offset_min)))


def _measures(row: Mapping[str, Any], prefix: str, names: tuple[str, ...]) -> Measures | None:
    t_s = row[f"{prefix}_read_t_s"]
    if t_s is None:
        return None
    return Measures(t_s=t_s, **{name: row[f"{prefix}_{name}"] for name in names})
