"""The table that measuring ends with: a line a clip, those measured before too."""

from __future__ import annotations

import json
from pathlib import Path
from statistics import fmean
from typing import Any, Final

from trainer.core.repeat import turn_spread
from trainer.measure import Measured

HEAD: Final = f"{'clip':40}  reps  good  turn °  spread °"


def row_of(name: str, measured: Measured | None) -> str:
    """Return a clip's line; ``measured`` is None for one passed over."""
    if measured is None:
        return f"{name:40}  passed over"
    complete = [rep for rep in measured.reps if rep.complete]
    tops = [rep.at_top.shoulder_turn_deg for rep in complete if rep.at_top is not None]
    spread = turn_spread(measured.reps)
    sd_deg = None if spread is None else spread.turn_sd_deg
    return _row(name, len(complete), measured.good, tops, sd_deg)


def row_before(name: str, result: Path) -> str:
    """Return the line of a clip measured in an earlier run, from its JSON; that may be anything."""
    try:
        values: dict[str, Any] = json.loads(result.read_text(encoding="utf-8"))
        complete = [rep for rep in values["reps"] if rep["complete"]]
        verdicts = [rep["good"] for rep in complete if "good" in rep]
        tops = [(rep["at_top"] or {}).get("shoulder_turn_deg") for rep in complete]
        spread = values["spread"]
        sd_deg = None if spread is None else float(spread["shoulder_turn_sd_deg"])
        # Results of an earlier version hold no verdict.
        good = sum(one is True for one in verdicts) if len(verdicts) == len(complete) else None
        return _row(name, len(complete), good, tops, sd_deg)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return f"{name:40}  measured before, and its results cannot be read"


def _row(
    name: str, reps: int, good: int | None, turns: list[float | None], sd_deg: float | None
) -> str:
    read = [turn for turn in turns if turn is not None]
    words = (
        f"{reps:4}",
        f"{'' if good is None else good:4}",
        f"{fmean(read):6.0f}" if read else "",
        "" if sd_deg is None else f"{sd_deg:8.1f}",
    )
    return f"{name:40}  {words[0]}  {words[1]}  {words[2]:6}  {words[3]}".rstrip()
