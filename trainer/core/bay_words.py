"""The coach's bay in plain words: turns, words on a rep, the rep standing still, small changes."""

from __future__ import annotations

from typing import Final

#: What Up and Down change, by the field of ``CueRules``.
PARTS: Final = {
    "target_deg": "target of the turn",
    "turn_band_deg": "band round the target",
    "head_tol_cm": "head tolerance",
    "hip_tol_cm": "hip tolerance",
}
ENDS: Final = {1: "it goes no higher", -1: "it goes no lower"}
PAIN_FIXED: Final = "Pain marked: no turn is asked for"
OWN_FIXED: Final = "The target is the reference rep's; O goes back to the usual one"

#: What stands beside a figure: the field, its words, its unit, and words for + and for -.
ROWS: Final = (
    ("shoulder_turn_deg", "shoulder turn", "°", "", ""),
    ("thorax_turn_deg", "chest turn", "°", "", ""),
    ("hip_turn_deg", "hip turn", "°", "", ""),
    ("head_lateral_cm", "head", " cm", "away", "toward"),
    ("head_vertical_cm", "head height", " cm", "up", "down"),
    ("hip_lateral_cm", "hips", " cm", "away", "toward"),
    ("side_tilt_deg", "side tilt", "°", "away", "toward"),
    ("back_gap_cm", "back to ball line", " cm", "", ""),
)
NOT_READ: Final = "not measured"
ALIKE: Final = "alike"
UNKNOWN: Final = "–"
SETUP, TAKEAWAY, TOP, END = "setup", "takeaway", "top", "end"
STILL_HEAD: Final = ("", "here")
TOPS_HEAD: Final = ("", "this rep", "reference", "difference")
LOOK_KEYS: Final = (
    "left, right: one reading   ·   up, down: setup, takeaway, top   ·   "
    "U: beside the reference   ·   Space: back to the mirror"
)
TOPS_KEYS: Final = "Space: this rep step by step   ·   U: back to the mirror"
NO_REP: Final = "No rep yet"
NO_POSE: Final = "The last rep has no readings to show"
GUESS: Final = "The guess comes first"
NO_REFERENCE: Final = "No reference today: T marks the last rep as one"
NO_TOP: Final = "The last rep has no top to compare"
NOT_FOUND: Final = "The reference's rep was not kept, so it cannot be drawn"
SAME: Final = "The last rep is the reference itself"

NOTE_KEYS: Final = "Enter: keep   ·   Esc: drop   ·   the mirror goes on meanwhile"
NOTE_DROPPED: Final = "Note dropped"
NOT_KEPT: Final = " (nothing is kept)"
NOBODY_ELSE: Final = "Nobody else has a record: trainer live --player NAME begins one"
CARET: Final = "_"
CUT: Final = "…"

_VERDICTS: Final = {None: "taken back", True: "good", False: "not good"}


def part_words(part: str, value: float) -> str:
    """Return what ``part`` is, such as "Head tolerance ±4.5 cm"."""
    name, unit = PARTS[part], "°" if part.endswith("_deg") else " cm"
    sign = "" if part == "target_deg" else "±"
    return f"{name[0].upper()}{name[1:]} {sign}{value:g}{unit}"


def part_chosen_words(words: str) -> str:
    """Return that what these words say is changed from now on."""
    return f"Up and down now change: {words[0].lower()}{words[1:]}"


def over_comfort_words(wanted_deg: float, most_deg: float, *, own: bool) -> str:
    """Return that a target lies over the comfortable maximum, and what counts."""
    words = f"{'Reference' if own else 'Target'} {wanted_deg:.0f}°"
    return f"{words} is over the comfortable maximum: {most_deg:.0f}° is asked for"


def when_words(since_s: float, instant: str) -> str:
    """Return when a reading was, ``since_s`` after the takeaway; ``instant`` if it has a name."""
    when = f"{abs(since_s):.2f} s {'before' if since_s < 0 else 'after'} the takeaway"
    if not instant:
        return when
    return instant if instant == TAKEAWAY else f"{instant}: {when}"


def rep_words(player: str, number: int) -> str:
    """Return whose rep it is and which."""
    return f"{player}, rep {number}" if player else f"Rep {number}"


def top_words(number: int, *, reference: bool = False) -> str:
    """Return what stands under a top beside another."""
    return f"reference, rep {number}" if reference else f"rep {number}"


def tops_words(rep: str) -> str:
    """Return the title over two tops."""
    return f"{rep} and the reference, at the top"


def told_words(rep: str, good: bool | None, note: str) -> str:
    """Return a rep with what the coach said of it."""
    words = rep if good is None else f"{rep}  ·  {coach_words(good)}"
    return f"{words}  ·  {note}" if note else words


def coach_words(good: bool | None) -> str:
    """Return the coach's verdict; None: it was taken back."""
    return f"coach: {_VERDICTS[good]}"


def note_words(rep: str, *, some: bool = True) -> str:
    """Return that there is a note on ``rep``, or that there is none any more."""
    return f"{'Note' if some else 'No note'} on {rep}"


def turn_lines(
    hand: str, target_deg: float | None, head_cm: float, hips_cm: float, more: tuple[str, ...]
) -> tuple[str, ...]:
    """Return what is asked of the next player; without a target where no turn is asked for."""
    target = "no turn is asked for" if target_deg is None else f"target {target_deg:.0f}°"
    first = f"{hand}-hander  ·  {target}  ·  head ±{head_cm:g}, hips ±{hips_cm:g} cm"
    return (first, "  ·  ".join(more)) if more else (first,)


def reference_words(turn_deg: float) -> str:
    """Return that there is a reference today."""
    return f"reference of today {turn_deg:.0f}°"


def closed_words(minutes: float, reps: int) -> str:
    """Return that a sitting was closed because nobody came."""
    return (
        f"Nobody for {minutes:.0f} minutes: the sitting of {reps} "
        f"{'rep' if reps == 1 else 'reps'} is closed; the next rep begins another"
    )
