"""What a player's record holds of comparisons with printed tags, and when it is in force."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

from trainer.core.own_errors import STEMS
from trainer.core.rules import OwnErrors, Rules
from trainer.errors import SettingsError
from trainer.estimator_file import shipped_print
from trainer.settings_values import refuse_unknown, text, whole

NAMES: Final = {
    "shoulder_turn": "shoulder turn",
    "hip_turn": "hip turn",
    "chest_pitch": "chest pitch (its change)",
    "hip_lateral": "hip drift",
    "head_lateral": "head drift, sideways",
    "head_vertical": "head drift, up and down",
}
_BIASED: Final = tuple(f"{stem}_bias" for stem in STEMS)
_SIZES: Final = {"width_px": 1e5, "height_px": 1e5, "cm_per_px": 100.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One comparison: when, before which camera, with which fit, and what it came to."""

    date: datetime.date
    camera: str
    estimator: str  #: ``estimator_file.shipped_print`` of the fit that was compared
    reps: int  #: the most that told of one measure
    own: OwnErrors
    biases: Mapping[str, float] = field(default_factory=dict)  #: by stem; shown, never taken off


def in_force(compared: tuple[Compared, ...], camera: str) -> tuple[OwnErrors | None, str]:
    """Return the errors that hold before ``camera``, and a line on them; empty without any.

    The newest comparison counts. It holds for the fit it was made with and no other.
    """
    found = [one for one in compared if one.camera == camera]
    if not found:
        return None, ""
    last = found[-1]
    if last.estimator != shipped_print():
        return None, (
            f"This camera was compared with tags on {last.date}, by another version: errors are "
            "told as of people in general. Compare anew."
        )
    said = []
    for stem, unit in STEMS.items():
        factor: float = getattr(last.own, f"{stem}_factor")
        if stem not in last.biases:
            continue
        sign = "°" if unit == "deg" else " cm"
        said.append(f"{NAMES[stem]} ± times {factor:.2f}, bias {last.biases[stem]:+.1f}{sign}")
    return last.own, (
        f"Errors are your own, of {last.reps} reps with tags on {last.date}, while you stand as "
        f"then: {'; '.join(said)}. No bias is taken off."
    )


def with_compared(
    rules: Rules, compared: tuple[Compared, ...], camera: str, say: Callable[[str], None]
) -> Rules:
    """Return ``rules`` with the errors that hold before ``camera``, and say so.

    With another pose model than the figures were fitted with nothing that was compared holds.
    """
    own, words = in_force(compared, camera)
    if words and rules.se_factor != 1.0:
        own, words = None, "This camera was compared with tags, but not with this pose model."
    if words:
        say(words)
    return replace(rules, own_errors=own)


def compared_from(table: dict[str, Any], where: str) -> Compared:
    """Return one comparison a record holds. Raises SettingsError for what cannot be used."""
    own_names = [item.name for item in fields(OwnErrors)]
    known = {"date", "camera", "estimator", "reps", *own_names, *_BIASED}
    refuse_unknown(table, known, where, "key")
    date = table.get("date")
    if type(date) is not datetime.date:
        raise SettingsError(
            f"{where} date is {date!r}. A day such as 2026-05-31, without quotes, was wanted. "
            "Write one."
        )
    own = {name: _number(table[name], name, where) for name in own_names if name in table}
    if not {"width_px", "height_px"} <= set(own):
        raise SettingsError(
            f"{where} lacks width_px or height_px. The size of the pictures was wanted. Put it in."
        )
    return Compared(
        date=date,
        camera=text(table.get("camera"), f"{where} camera"),
        estimator=text(table.get("estimator"), f"{where} estimator"),
        reps=whole("compared_reps", table.get("reps"), f"{where} reps"),
        own=OwnErrors(**own),
        biases={
            name.removesuffix("_bias"): _number(table[name], name, where)
            for name in _BIASED
            if name in table
        },
    )


def compared_values(one: Compared) -> dict[str, Any]:
    """Return it as TOML's own kinds of values, measures without tags left out."""
    values: dict[str, Any] = {
        "date": one.date,
        "camera": one.camera,
        "estimator": one.estimator,
        "reps": one.reps,
        **{name: getattr(one.own, name) for name in _SIZES},
    }
    for stem, bias in one.biases.items():
        values[f"{stem}_factor"] = getattr(one.own, f"{stem}_factor")
        values[f"{stem}_floor"] = getattr(one.own, f"{stem}_floor")
        values[f"{stem}_bias"] = bias
    return values


def _number(value: object, name: str, where: str) -> float:
    low, high = (-200.0, 200.0) if name.endswith("_bias") else (0.0, _SIZES.get(name, 100.0))
    if name.endswith("_factor") or name in _SIZES:
        low = 0.01
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:  # type: ignore[operator]
        raise SettingsError(
            f"{where} {name} is {value!r}. A number from {low:g} to {high:g} was wanted. Give one."
        )
    return float(value)  # type: ignore[arg-type]
