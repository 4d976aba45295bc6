"""Single values of the settings, records and traces, checked: a number, a word, a section.

Each refusal says what was found, what was wanted and what to try. All raise SettingsError.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, replace
from enum import Enum
from typing import Any, Final, TypeVar

from trainer.core.practice_rules import PracticeRules
from trainer.core.records import Handed
from trainer.core.rules import CONFIDENCE, CueRules, PhaseRules, SetupCheckRules, SetupRules
from trainer.core.smoothing import OneEuroRules
from trainer.errors import SettingsError

_Record = TypeVar(
    "_Record", SetupRules, SetupCheckRules, PhaseRules, CueRules, OneEuroRules, PracticeRules
)


#: (lowest, highest) that makes sense, for the values a person is likely to set.
RANGES: Final = {
    "stature_cm": (100.0, 230.0),
    # The Rules of Golf allow 122; a child's may be far shorter.
    "driver_cm": (60.0, 125.0),
    "target_deg": (45.0, 110.0),
    "comfort_deg": (20.0, 110.0),
    "turn_band_deg": (0.0, 30.0),
    "turn_confidence": (50.0, 99.0),
    "turn_hysteresis_deg": (0.0, 30.0),
    "turn_hold_s": (0.0, 5.0),
    # Slower than any backswing, the turn would never sound.
    "turn_jump_deg_s": (100.0, 10000.0),
    "head_tol_cm": (1.0, 30.0),
    "hip_tol_cm": (1.0, 30.0),
    "back_gap_low_cm": (-20.0, 5.0),
    "back_gap_high_cm": (5.0, 40.0),
    "ball_line_cm": (-60.0, 60.0),
    "rod_read_deg": (0.0, 180.0),
    "own_deg": (-180.0, 180.0),
    "own_cm": (-1e4, 1e4),
    "recorded_fps": (1.0, 2000.0),
    "level_db": (-30.0, 0.0),
    "size_mm": (60.0, 200.0),
    "field_of_view_deg": (20.0, 150.0),
    "tilt_deg": (-45.0, 45.0),
    # A filter at 0 Hz would never move, and divides by zero.
    "min_cutoff_hz": (0.01, 1000.0),
    "d_cutoff_hz": (0.01, 1000.0),
    "still_s": (0.1, 30.0),
    "window_s": (0.2, 60.0),
    # Shares.
    "rearm": (0.0, 1.0),
    "se_factor": (1.0, 10.0),
    "top_speed_of_peak": (0.0, 1.0),
    # Apart, so that a band has an inside.
    "stance_low": (0.2, 1.2),
    "stance_high": (1.2, 4.0),
    "tilt_low_deg": (-20.0, 5.0),
    "tilt_high_deg": (5.0, 45.0),
    "ball_off_cm": (0.0, 60.0),
    "head_behind_cm": (-30.0, 40.0),
    "hips_off_share": (0.01, 1.0),
    "seed": (0.0, 99999.0),
    "fade_reps": (1.0, 50.0),
    # Apart, so that the same reps cannot ask for both.
    "fade_down_pct": (50.0, 100.0),
    "fade_up_pct": (0.0, 49.0),
    "guess_wait_s": (1.0, 120.0),
    "check_reps": (1.0, 50.0),
    "hold_s": (0.2, 10.0),
    "ladder_reps": (1.0, 20.0),
    # Apart, so that there is a half between them.
    "ladder_slow_s": (1.7, 30.0),
    "ladder_full_s": (0.5, 1.6),
    "time_every_min": (0.0, 120.0),
    "budget_mb": (10.0, 100000.0),
}


#: What a value far out of range probably was, to say so: (test, words).
_UNIT_HINTS: Final[dict[str, tuple[tuple[Callable[[float], bool], str], ...]]] = {
    "stature_cm": (
        (lambda v: 1.0 <= v <= 2.3, "that looks like metres; give centimetres, such as 175"),
        (lambda v: 48.0 <= v < 100.0, "that looks like inches; multiply by 2.54"),
        (lambda v: 1000.0 <= v <= 2300.0, "that looks like millimetres; divide by 10"),
        (lambda v: 10.0 <= v <= 23.0, "a figure seems to be missing; give it as 175"),
    ),
    "driver_cm": (
        (lambda v: 1.0 <= v <= 1.25, "that looks like metres; give centimetres, such as 114"),
        (lambda v: 24.0 <= v <= 50.0, "that looks like inches; multiply by 2.54"),
        (lambda v: 600.0 <= v <= 1250.0, "that looks like millimetres; divide by 10"),
    ),
    "target_deg": (
        (lambda v: 0.7 <= v <= 2.0, "that looks like radians; give degrees, such as 85"),
    ),
    "turn_confidence": (
        (lambda v: 0.5 <= v < 1.0, "that looks like a share; give per cent, such as 75"),
    ),
    "size_mm": (
        (lambda v: 6.0 <= v <= 20.0, "that looks like centimetres; give millimetres, such as 120"),
        (lambda v: 0.06 <= v <= 0.2, "that looks like metres; give millimetres, such as 120"),
    ),
    "head_tol_cm": (
        (lambda v: 30.0 < v <= 100.0, "that looks like millimetres; give centimetres, such as 5"),
        (lambda v: 0.0 < v < 0.3, "that looks like metres; give centimetres, such as 5"),
    ),
    "hip_tol_cm": (
        (lambda v: 30.0 < v <= 100.0, "that looks like millimetres; give centimetres, such as 4"),
        (lambda v: 0.0 < v < 0.3, "that looks like metres; give centimetres, such as 4"),
    ),
}


def confidence(value: object, where: str) -> float:
    """Return how sure the turn must be, in per cent, from one of its words or a number.

    The command line gives numbers as text too. Raises SettingsError for anything else.
    """
    if isinstance(value, str):
        words = " ".join(value.lower().replace("-", " ").replace("_", " ").split())
        if words in CONFIDENCE:
            return CONFIDENCE[words]
        try:
            value = float(words.removesuffix("%"))
        except ValueError:
            named = ", ".join(f'"{name}"' for name in CONFIDENCE)
            raise SettingsError(
                f"{where} is {value!r}. One of {named} or a number from 50 to 99 was wanted. "
                "Write one of them."
            ) from None
    return checked("turn_confidence", value, where)


def checked(name: str, value: object, where: str) -> float:
    """Return ``value`` as a finite number in its range. Raises SettingsError otherwise."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise SettingsError(f"{where} is {value!r}. A number was wanted. Write it without quotes.")
    try:
        number = float(value)
    except OverflowError:  # TOML's whole numbers have no limit
        number = math.inf
    if not math.isfinite(number):
        raise SettingsError(f"{where} is {number}. A finite number was wanted. Give one.")
    low, high = RANGES.get(name, (0.0, 1e4))
    if name == "wrong_way_arc_deg":
        low, high = -180.0, 0.0
    if not low <= number <= high:
        hint = next(
            (words for test, words in _UNIT_HINTS.get(name, ()) if test(number)),
            "give a value in that range",
        )
        raise SettingsError(
            f"{where} is {number:g}. A value from {low:g} to {high:g} was wanted: {hint}."
        )
    return number


def whole(name: str, value: object, where: str) -> int:
    """Return ``value`` as a whole number in its range. Raises SettingsError otherwise."""
    number = checked(name, value, where)
    if number != int(number):
        raise SettingsError(f"{where} is {number:g}. A whole number was wanted. Give one.")
    return int(number)


def section(values: dict[str, Any], name: str, where: str) -> dict[str, Any]:
    """Return the section ``name``, empty where it is not there."""
    found = values.get(name, {})
    if not isinstance(found, dict):
        raise SettingsError(
            f"{where}: {name} is {found!r}. A section [{name}] was wanted. "
            f"Put its keys under a line that says [{name}]."
        )
    return found


def refuse_unknown(values: dict[str, Any], known: set[str], where: str, what: str) -> None:
    """Raise for the first key (``what`` it is called) that is not known."""
    unknown = sorted(set(values) - known)
    if unknown:
        raise SettingsError(
            f"{where} has the unknown {what} {unknown[0]!r}. Known are: "
            f"{', '.join(sorted(known))}. Check the spelling or take it out."
        )


def record_from(default: _Record, values: dict[str, Any], where: str) -> _Record:
    """Return the dataclass ``default`` with checked ``values`` put over it."""
    kinds = {f.name: type(getattr(default, f.name)) for f in fields(default)}
    refuse_unknown(values, set(kinds), where, "key")
    new: dict[str, Any] = {}
    for name, value in values.items():
        if kinds[name] is bool:
            new[name] = boolean(value, f"{where} {name}")
        elif issubclass(kinds[name], Enum):
            words = tuple(member.value for member in kinds[name])
            new[name] = kinds[name](choice(value, words, f"{where} {name}"))
        elif kinds[name] is int:
            new[name] = whole(name, value, f"{where} {name}")
        elif name == "turn_confidence":
            new[name] = confidence(value, f"{where} {name}")
        else:
            new[name] = checked(name, value, f"{where} {name}")
    return replace(default, **new)


def optional_number(values: dict[str, Any], name: str, where: str) -> float | None:
    """Return the checked number ``name``; None where it is not there."""
    value = values.get(name)
    return None if value is None else checked(name, value, f"{where} {name}")


def boolean(value: object, where: str) -> bool:
    """Return ``value`` if it is true or false."""
    if not isinstance(value, bool):
        raise SettingsError(f"{where} is {value!r}. true or false was wanted. Write one of them.")
    return value


def text(value: object, where: str) -> str:
    """Return ``value`` if it is a text with something in it."""
    if not isinstance(value, str) or not value:
        raise SettingsError(f'{where} is {value!r}. A text was wanted. Write it as "camera 0".')
    return value


def handed_from(value: object, where: str) -> Handed:
    """Return the side a player swings from its word."""
    return Handed(choice(value, tuple(h.value for h in Handed), f"{where} handed"))


def choice(value: object, allowed: tuple[str, ...], where: str) -> str:
    """Return ``value`` if it is one of the words allowed."""
    if value not in allowed:
        raise SettingsError(
            f"{where} is {value!r}. One of {', '.join(allowed)} was wanted. Write one of them."
        )
    return str(value)
