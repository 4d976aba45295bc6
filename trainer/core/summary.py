"""A rep in plain words: one headline and its reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from trainer.core import own_rep
from trainer.core.asked_turn import asked
from trainer.core.cues import least_turn_deg
from trainer.core.practice_rules import TurnOf
from trainer.core.records import CueKind, Measures, Rep, Side, Source
from trainer.core.repeat import Spread
from trainer.core.rod_check import RodStage, RodState
from trainer.core.rules import CONFIDENCE, CueRules, OwnRep, Rules

_WHERE = {
    Side.AWAY: "away from the target",
    Side.TOWARD: "toward the target",
    Side.UP: "up",
    Side.DOWN: "down",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RepWords:
    """What to tell the player after a rep."""

    good: bool | None  #: None when too little was measured to say, or the turn may be either side
    headline: str
    details: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """Headline first, then the details."""
        return (self.headline, *self.details)


#: What a whole backswing is judged by.
WHOLE: Final = frozenset({"turn", "head", "hips", "back"})


def words_for(rep: Rep, rules: Rules, parts: frozenset[str] = WHOLE) -> RepWords:
    """Return the verdict on ``rep`` in words, going by ``parts`` of the body alone.

    Good means: turn within the band or past the target, head within tolerance all the way, hips
    within tolerance at the top (all the way in strict mode). A turn is a fault only where it is
    likely (75 %) that it truly fell short of the band; between that and what its tone asks for
    it is "near the target". With pain marked the turn is told but never asked for.
    """
    if not rep.complete or rep.at_top is None:
        return RepWords(good=None, headline="Rep not seen to the end", details=())
    faults: list[str] = []
    details: list[str] = []
    cues, own = own_rep.cue_rules(rules), own_rep.in_use(rules)
    judged = asked(rep.at_top, cues)
    turn, se = judged.shoulder_turn_deg, judged.shoulder_turn_se_deg
    unsure = False
    if "turn" not in parts:
        pass
    elif turn is None:
        details.append("turn not measured")
    else:
        said = f"turn about {turn:.0f}°" + ("" if se is None else f", ±{se:.0f}")
        short, band = cues.target_deg - turn, cues.turn_band_deg
        # The cue's question turned round: how far short at least, said with "likely"?
        if least_turn_deg(short, se, CONFIDENCE["likely"]) > band and not rules.pain:
            faults.append(f"turn about {short:.0f}° short")
        elif not rules.pain and least_turn_deg(turn, se, cues.turn_confidence) < cues.target_deg:
            said += ": near the target"
            unsure = short > band
        details.append(said)
    details.extend(tag_words(rep.at_top, cues))
    hips_cm = rep.max_hip_lateral_cm if cues.hips_strict else rep.at_top.hip_lateral_cm
    if own is None:
        head = _drift_words("head", _head_excess(rep, cues.head_tol_cm))
        hips = _drift_words("hips", _excess(hips_cm, cues.hip_tol_cm, Side.AWAY, Side.TOWARD))
    else:
        head, hips = _off_own(rep, hips_cm, rules)
    if "head" not in parts:
        head = ""
    if "hips" not in parts:
        hips = ""
    if hips_cm is None and "hips" in parts:
        details.append("hips not measured")
    if rep.max_head_lateral_cm is None and "head" in parts:
        details.append("head not measured")
    faults.extend(words for words in (head, hips) if words)
    back, back_good = back_words(rep.at_top.back_gap_cm, rules, rep.at_top.back_gap_se_cm)
    if back and "back" in parts:
        (faults if cues.back_gap_counts and not back_good else details).append(back)
    if not head and "head" in parts and rep.max_head_lateral_cm is not None:
        details.append("head stayed")
    if not hips and "hips" in parts and hips_cm is not None:
        details.append("hips stayed" if cues.hips_strict else "hips in place at the top")
    read = {"turn": turn, "hips": hips_cm, "head": rep.max_head_lateral_cm}
    unread = any(value is None for part, value in read.items() if part in parts)
    if faults:
        headline = faults[0][0].upper() + faults[0][1:]
        return RepWords(good=False, headline=headline, details=(*faults[1:], *details))
    if unsure:
        return RepWords(good=None, headline="Turn near the target", details=tuple(details))
    if unread:
        return RepWords(good=None, headline="Not everything was measured", details=tuple(details))
    return RepWords(good=True, headline="Good rep", details=tuple(details))


#: How a reading's source is said to the player.
SOURCE_WORDS: Final = {
    Source.TAG: "by tags",
    Source.TAG_AND_POSE: "tags and camera",
    Source.BRIDGED: "tag hidden",
    Source.POSE: "by camera",
}


def tag_words(top: Measures, cues: CueRules) -> tuple[str, ...]:
    """Return the other turn and how far the chest opened, as tags tell them; () without tags."""
    sources = top.sources or {}
    if all(source is Source.POSE for source in sources.values()):
        return ()
    other = "shoulder_turn_deg" if cues.turn_of is TurnOf.CHEST else "thorax_turn_deg"
    name = "shoulder line" if cues.turn_of is TurnOf.CHEST else "chest"
    told = [(name, other, False), ("chest opened", "chest_extension_deg", True)]
    words = []
    for called, field, signed in told:
        value, se = getattr(top, field), getattr(top, field.replace("_deg", "_se_deg"))
        if value is None or field not in sources:
            continue
        figure = f"{value:+.0f}°" if signed else f"{value:.0f}°"
        error = "" if se is None else f" ±{se:.0f}"
        words.append(f"{called} {figure}{error} {SOURCE_WORDS[sources[field]]}")
    return tuple(words)


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


def _off_own(rep: Rep, hips_cm: float | None, rules: Rules) -> tuple[str, str]:
    """Return head and hips in words where they left the bands round the reference in use."""
    largest = Measures(
        t_s=0.0,
        head_lateral_cm=rep.max_head_lateral_cm,
        head_vertical_cm=rep.max_head_vertical_cm,
        hip_lateral_cm=hips_cm,
    )
    off, cues = own_rep.judged(largest, rules), rules.cues
    sideways = _excess(off.head_lateral_cm, cues.head_tol_cm, Side.AWAY, Side.TOWARD)
    upright = _excess(off.head_vertical_cm, cues.head_tol_cm, Side.UP, Side.DOWN)
    found = [excess for excess in (sideways, upright) if excess is not None]
    head = _own_words("head", max(found, key=lambda excess: excess[0], default=None))
    if not head:
        # A band that lies to one side may be left on the other by less than the largest drift.
        sides = [cue.side for cue in rep.cues if cue.kind is CueKind.HEAD_OUT and cue.side]
        head = f"head too far {_WHERE[sides[0]]} for your own rep" if sides else ""
    hips = _excess(off.hip_lateral_cm, cues.hip_tol_cm, Side.AWAY, Side.TOWARD)
    return head, _own_words("hips", hips)


def _own_words(part: str, excess: tuple[float, Side] | None) -> str:
    if excess is None:
        return ""
    return f"{part} {excess[0]:.0f} cm further {_WHERE[excess[1]]} than in your own rep"


def back_words(gap_cm: float | None, rules: Rules, se_cm: float | None = None) -> tuple[str, bool]:
    """Return the upper back's gap to the ball line at the top in words, and whether it is good.

    Outside its limits it is a fault only where that is likely (75 %) by the reading's standard
    error; else it is near the limit. Empty when it was not read. Once pain is marked nobody is
    told that more was wanted.
    """
    if gap_cm is None:
        return "", True
    cues = rules.cues
    size = f"{abs(gap_cm):.0f} cm"
    if size == "0 cm":
        where = "back at the ball line"
    else:
        where = f"back {size} {'past' if gap_cm < 0 else 'short of'} the ball line"
    if se_cm is not None:
        where += f", ±{se_cm:.0f}"
    short, past = gap_cm - cues.back_gap_high_cm, cues.back_gap_low_cm - gap_cm
    if short <= 0 and past <= 0:
        return f"{where}: good", True
    if short > 0 and rules.pain:
        return where, True
    if least_turn_deg(max(short, past), se_cm or 0.0, CONFIDENCE["likely"]) <= 0:
        return f"{where}: near the limit", True
    return f"{where}: {'too little extension' if short > 0 else 'too much'}", False


def line_words(ball_line_cm: float) -> str:
    """Return where the ball line is, from the lead shoulder at setup."""
    if ball_line_cm == 0.0:
        return "Ball line in line with the lead shoulder"
    where = _WHERE[Side.AWAY if ball_line_cm > 0 else Side.TOWARD]
    return f"Ball line {abs(ball_line_cm):g} cm from the lead shoulder, {where}"


def spread_words(spread: Spread | None) -> str:
    """Return how alike the reps are; empty for too few."""
    if spread is None:
        return ""
    return f"{spread.reps} reps: turn spread ±{spread.turn_sd_deg:.0f}°"


def marked_words(own: OwnRep | None, rules: Rules) -> str:
    """Return the answer to "this one": what was marked, or why nothing was."""
    if own is None:
        return "Nothing to mark: make a whole rep first, then say which one"
    said = f"This one is your reference for today: turn about {own.turn_deg:.0f}°"
    return said if rules.cues.own_top else f"{said}. Press O to aim at it"


def aim_words(rules: Rules) -> str:
    """Return what target and bands are taken from now, after it was switched."""
    if not rules.cues.own_top:
        return f"Target {rules.cues.target_deg:.0f}° again, bands round the setup"
    if rules.own is None:
        return "Own targets wanted: after a rep press T to mark it"
    if rules.pain:
        return "Bands round your own rep; no turn is asked for"
    return f"Target {own_rep.cue_rules(rules).target_deg:.0f}° and bands from your own rep"


NO_COMFORT: Final = "Nothing to mark: make a whole rep first, as far as is comfortable"


def comfort_words(rules: Rules) -> str:
    """Return what the comfortable maximum is and what it does to the target; empty for none."""
    if rules.comfort_deg is None:
        return ""
    most_deg = own_rep.most_target_deg(rules)
    words = f"Comfortable maximum {rules.comfort_deg:.0f}°: no target above {most_deg:.0f}°"
    own = own_rep.in_use(rules)
    wanted_deg = rules.cues.target_deg if own is None else own.turn_deg
    return words if wanted_deg <= most_deg else f"{words} (not {wanted_deg:.0f}°)"


#: What to do in the rod check, by stage: the one thing to read from afar, then the rest.
_ROD: dict[RodStage, tuple[str, str]] = {
    RodStage.START: (
        "Face the camera, stand still",
        "shaft across the shoulders, arms crossed on it, square to the rod on the floor",
    ),
    RodStage.TURN: (
        "Turn to the rod and hold",
        "as in a backswing, until the shaft is parallel to the rod; feet may turn, never force it",
    ),
}
ROD_PAIN = "Pain marked: no camera check, because it asks for a turn"
ROD_END = "press C to end the check"


def rod_words(state: RodState) -> tuple[str, str]:
    """Return what to read from afar in the rod check, and the smaller line under it."""
    reading = state.reading
    if reading is None:
        big, small = _ROD[state.stage]
        return ("Turn the other way", small) if state.wrong_way else (big, small)
    read = f"{reading.read_deg:.0f}°"
    if reading.se_deg is not None:
        read += f" ± {reading.se_deg:.0f}°"
    return (
        f"camera read {read} at your true 90°",
        f"a test of the camera, kept for you; it changes no figure  ·  {ROD_END}",
    )
