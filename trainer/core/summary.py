"""A rep in plain words: one headline and its reasons."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.core.records import CueKind, Rep, Side
from trainer.core.rules import Rules

_WHERE = {
    Side.AWAY: "away from the target",
    Side.TOWARD: "toward the target",
    Side.UP: "up",
    Side.DOWN: "down",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RepWords:
    """What to tell the player after a rep."""

    good: bool | None  #: None when too little was measured to say
    headline: str
    details: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """Headline first, then the details."""
        return (self.headline, *self.details)


def words_for(rep: Rep, rules: Rules) -> RepWords:
    """Return the verdict on ``rep`` in words.

    Good means: turn within the band or past the target, head within tolerance all the way, hips
    within tolerance at the top (all the way in strict mode). With pain marked the turn is told
    but never asked for.
    """
    if not rep.complete or rep.at_top is None:
        return RepWords(good=None, headline="Rep not seen to the end", details=())
    faults: list[str] = []
    details: list[str] = []
    cues = rules.cues
    turn = rep.at_top.shoulder_turn_deg
    if turn is None:
        details.append("turn not measured")
    else:
        details.append(f"turn about {turn:.0f}°")
        short = cues.target_deg - turn
        if short > cues.turn_band_deg and not rules.pain:
            faults.append(f"turn about {short:.0f}° short")
    head = _drift_words("head", _head_excess(rep, cues.head_tol_cm))
    hips_cm = rep.max_hip_lateral_cm if cues.hips_strict else rep.at_top.hip_lateral_cm
    hips = _drift_words("hips", _excess(hips_cm, cues.hip_tol_cm, Side.AWAY, Side.TOWARD))
    if hips_cm is None:
        details.append("hips not measured")
    if rep.max_head_lateral_cm is None:
        details.append("head not measured")
    faults.extend(words for words in (head, hips) if words)
    if not head and rep.max_head_lateral_cm is not None:
        details.append("head stayed")
    if not hips and hips_cm is not None:
        details.append("hips stayed" if cues.hips_strict else "hips in place at the top")
    unread = turn is None or hips_cm is None or rep.max_head_lateral_cm is None
    if faults:
        headline = faults[0][0].upper() + faults[0][1:]
        return RepWords(good=False, headline=headline, details=(*faults[1:], *details))
    if unread:
        return RepWords(good=None, headline="Not everything was measured", details=tuple(details))
    return RepWords(good=True, headline="Good rep", details=tuple(details))


def cue_words(kind: CueKind, side: Side | None) -> str:
    """Return a cue in a few words."""
    if kind is CueKind.TURN_REACHED:
        return "turn reached"
    part = "head" if kind is CueKind.HEAD_OUT else "hips"
    return f"{part} moved {_WHERE[side]}" if side is not None else f"{part} moved"


def _head_excess(rep: Rep, tol_cm: float) -> tuple[float, Side] | None:
    sideways = _excess(rep.max_head_lateral_cm, tol_cm, Side.AWAY, Side.TOWARD)
    upright = _excess(rep.max_head_vertical_cm, tol_cm, Side.UP, Side.DOWN)
    found = [excess for excess in (sideways, upright) if excess is not None]
    return max(found, key=lambda excess: excess[0], default=None)


def _excess(value: float | None, tol: float, plus: Side, minus: Side) -> tuple[float, Side] | None:
    if value is None or abs(value) <= tol:
        return None
    return abs(value), plus if value > 0 else minus


def _drift_words(part: str, excess: tuple[float, Side] | None) -> str:
    return "" if excess is None else f"{part} {excess[0]:.0f} cm {_WHERE[excess[1]]}"
