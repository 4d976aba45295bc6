"""Practice in plain words: kinds, schedules, what is told, what a silent check came to."""

from __future__ import annotations

from typing import Final

from trainer.core import checkpoints, schedule
from trainer.core.counted import counted
from trainer.core.gestures import Sign
from trainer.core.practice import (
    RUNGS,
    CheckResult,
    PracticeState,
    guesses_asked,
    kind_of,
    telling,
)
from trainer.core.practice_rules import CueSchedule, PracticeKind
from trainer.core.rules import Rules
from trainer.core.schedule import Telling

KINDS: Final = {
    PracticeKind.FREE: ("free reps", "whole backswings at any speed; all bands count"),
    PracticeKind.CHECKPOINTS: (
        "slow checkpoints",
        "setup, hands at hip height, lead arm level, top: hold each; all four make a good rep",
    ),
    PracticeKind.TURN_ONLY: (
        "turn only",
        "no club: hands on the chest, or a shaft across the shoulders; the turn counts",
    ),
    PracticeKind.CENTRED: ("stay centred", "whole backswings; only head and hips count"),
    PracticeKind.LADDER: (
        "speed ladder",
        "slow, half, full, with the same bands; good reps lead to the next speed",
    ),
}
CUES: Final = {
    CueSchedule.EVERY: "every rep is told",
    CueSchedule.ALTERNATE: "every other rep is told",
    CueSchedule.FADING: "fewer reps are told as more are good: 100, 50, 25 %",
    CueSchedule.BANDWIDTH: "only what left its band is told",
    CueSchedule.SILENT: "no rep is told",
}

PAUSED: Final = "Paused: hand above the head goes on"
PAUSED_AWAY: Final = "Paused: nobody here"
ASK_GUESS: Final = "How far was it: short, there or past?"
#: What a key or sign just did.
PAUSE_ON: Final = "Paused"
PAUSE_OFF: Final = "Going on"
GUESS_ON: Final = "Guess first: say short, there or past"
GUESS_OFF: Final = "No guessing first"
SIGNS_ON: Final = "Signs by hand on"
SIGNS_OFF: Final = "Signs by hand off"

#: What a sign being held will do, where that is always the same.
SIGN_WORDS: Final = {
    Sign.ON_HEAD: "hands on the head: pain …",
    Sign.OUT_LOW: "low: short …",
    Sign.OUT_LEVEL: "level: there …",
}
#: The help card: posture, what it does.
SIGN_CARD: Final = (
    (Sign.HAND_UP, "one hand above the head, 1 s:  pause, and go on"),
    (
        Sign.HANDS_OUT,
        "both arms out to the sides, 1 s:  next practice, or the check offered",
    ),
    (Sign.ON_HEAD, "both hands on the head, 1.5 s:  pain; no cue asks for turn any more"),
    (Sign.OUT_LOW, "your guess, one arm out and low: short"),
    (Sign.OUT_LEVEL, "your guess, one arm out and level: there"),
    (None, "your guess, hand above the head: past"),
    (None, "walk out of the picture:  pause; come back and stand at address:  go on"),
)


def cues_words(cues: CueSchedule) -> str:
    """Return which reps are told from now on."""
    return f"Cues: {CUES[cues]}"


def kind_words(kind: PracticeKind) -> str:
    """Return what is practised from now on."""
    name, what = KINDS[kind]
    return f"{name[0].upper()}{name[1:]}: {what}"


def check_begun_words(reps: int) -> str:
    """Return that a silent check of so many reps has begun."""
    return f"Silent check: {counted(reps, 'rep')} without cues"


def offer_words(reps: int) -> str:
    """Return the offer of a silent check of so many reps."""
    return f"Silent check of {counted(reps, 'rep')}, no cues? Y, or both arms out"


def schedule_words(state: PracticeState, rules: Rules, rep: str = "next") -> str:
    """Return kind and schedule, and what is told of the ``rep`` to come, in one line."""
    practice = rules.practice
    if state.check_left:
        return f"silent check: {counted(state.check_left, 'rep')} to go"
    kind = KINDS[kind_of(state, practice)][0]
    if practice.kind is PracticeKind.LADDER:
        kind += f": {RUNGS[state.rung]}"
    cues = practice.cues.value
    if practice.cues is CueSchedule.FADING:
        cues += f" {schedule.told_pct(state.schedule, practice)} %"
    rest = {
        Telling.ALL: "",
        Telling.FAULTS: "",
        Telling.NOTHING: f"  ·  {rep} rep on your own",
    }[telling(state, practice)]
    guess = "  ·  guess first" if guesses_asked(state, rules) else ""
    return f"{kind}  ·  cues: {cues}{rest}{guess}"


def check_words(result: CheckResult) -> str:
    """Return what a silent check came to."""
    words = f"Silent check: {result.good} of {result.reps} good"
    if result.turn_mean_deg is None:
        return words
    words += f", turn about {result.turn_mean_deg:.0f}°"
    return words if result.turn_sd_deg is None else f"{words}, spread ±{result.turn_sd_deg:.0f}°"


def points_words(state: PracticeState, rules: Rules) -> str:
    """Return what to do now in slow checkpoints; empty in other kinds."""
    if kind_of(state, rules.practice) is not PracticeKind.CHECKPOINTS:
        return ""
    return checkpoints.words(state.points, rules)


def sign_words(sign: Sign | None, state: PracticeState, *, paused: bool) -> str:
    """Return what a sign that is being held will do; empty for none."""
    if sign is Sign.HAND_UP:
        does = "past" if state.guess is not None else "go on" if paused else "pause"
        return f"hand above the head: {does} …"
    if sign is Sign.HANDS_OUT:
        return f"both hands out: {'silent check' if state.offered else 'next practice'} …"
    return "" if sign is None else SIGN_WORDS[sign]
