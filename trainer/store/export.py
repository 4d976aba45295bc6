"""Reps and curves as tables and as JSON, for other programs (docs/reps-format.md).

The CSV is that of RFC 4180: a header, CRLF at each line's end, quotes where they are needed; in
UTF-8. A reading not made is an empty field, and null in the JSON.
"""

from __future__ import annotations

import contextlib
import csv
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final, TextIO

import numpy as np

from trainer import __version__
from trainer.store.content import Store
from trainer.store.records import Curves, KeptRep, KeptSession, Motion
from trainer.store.rows import AT_TOP, COLUMNS
from trainer.store.values import cue_values, motion_values, rep_values, session_values
from trainer.store.written import whole_text

SCHEMA: Final = 1
_SESSION: Final = (
    "session", "player", "began", "kind", "source", "model", "model_fitted", "program",
)  # fmt: skip
_REP: Final = tuple(
    "ended" if name == "ended_utc" else name for name in COLUMNS if name != "utc_offset_min"
)
REP_COLUMNS: Final = (*_SESSION, *_REP, "backswing_s")
CUE_COLUMNS: Final = (
    "session", "number", "kind", "side", "strength", "t_s", "decided_t_s", "from_takeaway_s",
)  # fmt: skip
CURVE_COLUMNS: Final = ("session", "number", "t_s", *AT_TOP)


def export(store: Store, folder: Path, player: str | None = None) -> int:
    """Write reps.csv, cues.csv, curves.csv and reps.json of one player or all; return the reps.

    Each file is there whole or not at all. Raises ShareError when one cannot be written.
    """
    count = 0
    with contextlib.ExitStack() as stack:
        tables = [
            _table(stack.enter_context(whole_text(folder / name)), columns)
            for name, columns in (
                ("reps.csv", REP_COLUMNS),
                ("cues.csv", CUE_COLUMNS),
                ("curves.csv", CURVE_COLUMNS),
            )
        ]
        reps, cues, curves = tables
        text = stack.enter_context(whole_text(folder / "reps.json"))
        parts = _json_parts(of_sessions(store, player))
        for part, kept, motion in parts:
            text.write(part)
            if kept is None:
                continue
            count += 1
            reps.writerow(rep_row(kept))
            cues.writerows(_cue_rows(kept))
            if motion is not None and motion.curves is not None:
                curves.writerows(_curve_rows(kept, motion.curves))
    return count


def of_sessions(
    store: Store, player: str | None = None, most: int = -1
) -> Iterator[tuple[KeptSession, Iterator[tuple[KeptRep, Motion]]]]:
    """Yield the ``most`` newest sessions (all: -1), oldest first, each with its reps."""
    for line in reversed(store.sessions(player, most=most)):
        reps = store.reps_of(line.session)
        yield line.session, ((kept, store.motion(kept)) for kept in reps)


def json_text(
    sessions: Iterable[tuple[KeptSession, Iterable[tuple[KeptRep, Motion]]]],
) -> Iterator[str]:
    """Yield the JSON of sessions piece by piece."""
    for part, _, _ in _json_parts(sessions):
        yield part


def rep_row(kept: KeptRep) -> dict[str, Any]:
    """Return one line of reps.csv."""
    session, values = session_values(kept.session), rep_values(kept)
    row = {**session, "session": session["uid"], **values, "words": "; ".join(kept.words)}
    row["backswing_s"] = kept.rep.backswing_s
    return {name: _field(row[name]) for name in REP_COLUMNS}


def _json_parts(
    sessions: Iterable[tuple[KeptSession, Iterable[tuple[KeptRep, Motion]]]],
) -> Iterator[tuple[str, KeptRep | None, Motion | None]]:
    head = {"schema": SCHEMA, "program": __version__}
    yield f"{_dump(head)[:-1]},\n" + '"sessions":[', None, None
    before_session = "\n"
    for session, reps in sessions:
        head = session_values(session)
        yield before_session + _dump(head)[:-1] + ',"reps":[', None, None
        before_session, before_rep = ",\n", "\n"
        for kept, motion in reps:
            values = {**rep_values(kept), "cues": cue_values(kept), **motion_values(motion)}
            yield before_rep + _dump(values), kept, motion
            before_rep = ",\n"
        yield "]}", None, None
    yield "\n]}\n", None, None


def _cue_rows(kept: KeptRep) -> Iterator[dict[str, Any]]:
    for cue in cue_values(kept):
        row = {"session": kept.session.uid, "number": kept.rep.number, **cue}
        row["from_takeaway_s"] = round(cue["t_s"] - kept.rep.takeaway_t_s, 4)
        yield {name: _field(row[name]) for name in CUE_COLUMNS}


def _curve_rows(kept: KeptRep, curves: Curves) -> Iterator[dict[str, Any]]:
    columns = {"t_s": np.round(curves.t_s, 4) + 0.0}
    columns.update({name: np.round(c, 2) + 0.0 for name, c in curves.columns.items()})
    listed = {name: column.tolist() for name, column in columns.items()}
    for place in range(curves.t_s.size):
        row: dict[str, Any] = {"session": kept.session.uid, "number": kept.rep.number}
        for name, column in listed.items():
            row[name] = "" if column[place] != column[place] else column[place]
        yield row


def _table(text: TextIO, columns: tuple[str, ...]) -> csv.DictWriter[str]:
    # The csv module's own defaults are those of RFC 4180.
    table = csv.DictWriter(text, fieldnames=columns, lineterminator="\r\n")
    table.writeheader()
    return table


def _field(value: object) -> object:
    """Return what stands in the field: nothing for None, and no text a spreadsheet would run."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value


def _dump(values: dict[str, Any]) -> str:
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
