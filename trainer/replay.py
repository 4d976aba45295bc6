"""Plays a trace of poses through the core and compares with what was decided when recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from trainer.actions import parted
from trainer.core.records import Rep, Step
from trainer.core.rules import Rules
from trainer.core.trace import TraceFault, TraceLine, parse_header, parse_lines, result_of
from trainer.engine import Engine
from trainer.errors import TraceError
from trainer.settings import rules_from_values


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayResult:
    """What a replay came to."""

    rules: Rules
    readings: int
    reps: tuple[Rep, ...]
    whole: bool  #: False when the trace was cut off; ``cut`` says where
    cut: str
    first_difference_s: float | None  #: first reading whose result differs; None when none does


def replay(
    path: Path,
    on_step: Callable[[Step, Rules], None],
    *,
    adjust: Callable[[Rules], Rules] = lambda rules: rules,
) -> ReplayResult:
    """Play the trace ``path``; ``on_step`` gets each step. ``adjust`` may change its rules.

    A trace cut off in the middle is played as far as it is whole. Raises TraceError when the
    file is missing, is no trace, or is of another schema.
    """
    try:
        # A trace is plain ASCII: anything else in it is damage, and its line is refused below.
        lines = path.read_text(encoding="ascii", errors="replace").split("\n")
    except OSError as error:
        raise TraceError(
            f"the trace {path} could not be read ({error.strerror or error}). A file written by "
            "trainer live --record was wanted. Check the name."
        ) from None
    try:
        header = parse_header(lines[0])
    except TraceFault as fault:
        raise TraceError(
            f"{path} cannot be played: {fault}. A file written by trainer live --record of this "
            "version was wanted. Check the name, or record it again."
        ) from None
    rules = adjust(rules_from_values(header["rules"], f"the trace {path}"))
    engine = Engine(rules)
    reps: list[Rep] = []
    readings, whole, cut, difference = 0, False, "", None
    try:
        for item in parse_lines(lines[1 : -1 if lines[-1] == "" else None]):
            if not isinstance(item, TraceLine):
                whole = item == readings
                cut = "" if whole else f"it says {item} readings but holds {readings}"
                break
            for action in parted(item.action):
                engine.act(action)
            fed = engine.feed(item.t_s, item.pose)
            if fed is None:
                continue
            readings += 1
            step = fed[1]
            if difference is None and result_of(step) != item.result:
                difference = item.t_s
            if step.rep is not None:
                reps.append(step.rep)
            on_step(step, engine.rules)
        else:
            cut = "it was cut off"
    except (TraceFault, ValueError, OverflowError) as fault:
        cut = str(fault)
    rep = engine.finish()
    if rep is not None:
        reps.append(rep)
    return ReplayResult(
        rules=engine.rules,
        readings=readings,
        reps=tuple(reps),
        whole=whole,
        cut=cut,
        first_difference_s=difference,
    )
