"""Lengths as a person writes them: centimetres, metres, feet and inches, inches."""

from __future__ import annotations

import re
from typing import Final

from trainer.errors import SettingsError
from trainer.settings_values import RANGES, checked

CM_PER_INCH: Final = 2.54  #: exact since the agreement of 1959
INCHES_PER_FOOT: Final = 12

_NUMBER: Final = r"(\d+(?:\.\d*)?|\.\d+)"
_FEET: Final = re.compile(rf"{_NUMBER}(?:'|ft|feet|foot){_NUMBER}?(?:\"|''|in|inch|inches)?")
_INCHES: Final = re.compile(rf"{_NUMBER}(?:\"|''|in|inch|inches)")
_METRES: Final = re.compile(rf"{_NUMBER}m")
_PLAIN: Final = re.compile(rf"{_NUMBER}(?:cm)?")


def length_cm(name: str, text: str, what: str) -> float:
    """Return the length that was written, in centimetres, if it is in the range of ``name``.

    ``178``, ``178 cm``, ``1.78 m``, ``5 ft 10``, ``5'10"`` and ``70 in`` are understood, with a
    point or a comma. Raises SettingsError, with ``what`` as its subject, for anything else and for
    a length that cannot be.
    """
    plain = "".join(text.lower().split()).replace(",", ".").replace("′", "'").replace("″", '"')
    plain = plain.replace("’", "'").replace("”", '"')
    number = _in_cm(plain)
    if number is None:
        low, high = RANGES[name]
        raise SettingsError(
            f"{what} is {text.strip()!r}. A length such as {_example(name)} was wanted. "
            f"Write one from {low:g} to {high:g} cm."
        )
    return checked(name, round(number, 1), what)


def _example(name: str) -> str:
    return "45 in or 114" if name == "driver_cm" else "178 or 5 ft 10"


def _in_cm(plain: str) -> float | None:
    feet = _FEET.fullmatch(plain)
    if feet:
        inches = float(feet[1]) * INCHES_PER_FOOT + float(feet[2] or 0)
        return inches * CM_PER_INCH if float(feet[2] or 0) < INCHES_PER_FOOT else None
    inch = _INCHES.fullmatch(plain)
    if inch:
        return float(inch[1]) * CM_PER_INCH
    metres = _METRES.fullmatch(plain)
    if metres:
        return float(metres[1]) * 100.0
    bare = _PLAIN.fullmatch(plain)
    return None if bare is None else float(bare[1])


def feet_words(length_cm: float) -> str:
    """Return a stature in feet and whole inches."""
    inches = round(length_cm / CM_PER_INCH)
    return f"{inches // INCHES_PER_FOOT} ft {inches % INCHES_PER_FOOT} in"
