"""The player's settings: a TOML file and options, checked, into frozen rule objects.

Unknown keys, wrong types, values out of range and likely wrong units are refused, each with
what was found, what was wanted and what to try.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final, TypeVar

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

from trainer.core.records import Handed
from trainer.core.rules import CONFIDENCE, CueRules, OwnRep, PhaseRules, Rules, SetupRules
from trainer.core.smoothing import OneEuroRules
from trainer.errors import SettingsError

_Record = TypeVar("_Record", SetupRules, PhaseRules, CueRules, OneEuroRules)

#: (lowest, highest) that makes sense, for the values a person is likely to set.
RANGES: Final = {
    "stature_cm": (100.0, 230.0),
    "target_deg": (45.0, 110.0),
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
    # A filter at 0 Hz would never move, and divides by zero.
    "min_cutoff_hz": (0.01, 1000.0),
    "d_cutoff_hz": (0.01, 1000.0),
    "still_s": (0.1, 30.0),
    "window_s": (0.2, 60.0),
    # Shares.
    "rearm": (0.0, 1.0),
    "se_factor": (1.0, 10.0),
    "top_speed_of_peak": (0.0, 1.0),
}

#: What a value far out of range probably was, to say so: (test, words).
_UNIT_HINTS: Final[dict[str, tuple[tuple[Callable[[float], bool], str], ...]]] = {
    "stature_cm": (
        (lambda v: 1.0 <= v <= 2.3, "that looks like metres; give centimetres, such as 175"),
        (lambda v: 48.0 <= v < 100.0, "that looks like inches; multiply by 2.54"),
        (lambda v: 1000.0 <= v <= 2300.0, "that looks like millimetres; divide by 10"),
    ),
    "target_deg": (
        (lambda v: 0.7 <= v <= 2.0, "that looks like radians; give degrees, such as 85"),
    ),
    "turn_confidence": (
        (lambda v: 0.5 <= v < 1.0, "that looks like a share; give per cent, such as 75"),
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


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSettings:
    """Which camera, and how its picture must be treated."""

    source: str | None = None  #: index, address or file; None: the first camera found
    rotate: int = 0  #: degrees clockwise, one of 0, 90, 180, 270
    mirrored: bool = False  #: the source already mirrors its picture
    recorded_fps: float | None = None  #: what a slow-motion clip was recorded at


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that can be set."""

    rules: Rules = field(default_factory=Rules)
    camera: CameraSettings = field(default_factory=CameraSettings)
    sound: str = "auto"  #: auto, pygame, simpleaudio or off
    show_caution: bool = True
    player: str | None = None  #: whose record is kept; None: nobody was named
    keep: bool = True  #: False: live keeps nothing, no rep and no change of the record


def default_path() -> Path:
    """Return where the settings file is looked for when none is named."""
    import platformdirs

    return Path(platformdirs.user_config_dir("backswing-mirror", appauthor=False)) / "settings.toml"


def load(path: Path | None) -> Settings:
    """Read the settings file, or the default one if it is there.

    Raises SettingsError when the named file is missing, is not TOML, or holds an unknown key or
    a value that cannot be used.
    """
    if path is None:
        path = default_path()
        if not path.exists():
            return Settings()
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SettingsError(
            f"there is no settings file {path}. A TOML file was wanted. "
            "Check the name, or leave --settings out to use the defaults."
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"the settings file {path} could not be read ({error}). A TOML file in UTF-8 was "
            "wanted. Check its permissions and how it was saved."
        ) from None
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f"the settings file {path} is not valid TOML: {error}. Mend that line, "
            "or compare with docs/how-to/settings.md."
        ) from None
    return from_values(values, str(path))


def from_values(values: dict[str, Any], where: str) -> Settings:
    """Return settings from a parsed file; ``where`` names it in messages."""
    sections = {"player", "cues", "setup", "phases", "smoothing", "camera", "sound", "screen"}
    _refuse_unknown(values, sections, where, "section")
    player = _section(values, "player", where)
    _refuse_unknown(player, {"name", "handed", "stature_cm", "keep"}, f"{where} [player]", "key")
    rules = Rules(
        handed=_handed(player.get("handed", "right"), f"{where} [player]"),
        stature_cm=_optional_number(player, "stature_cm", f"{where} [player]"),
        setup=_setup(_section(values, "setup", where), f"{where} [setup]"),
        phases=_record(PhaseRules(), _section(values, "phases", where), f"{where} [phases]"),
        cues=_record(CueRules(), _section(values, "cues", where), f"{where} [cues]"),
        smoothing=_record(
            Rules().smoothing, _section(values, "smoothing", where), f"{where} [smoothing]"
        ),
    )
    sound = _section(values, "sound", where)
    _refuse_unknown(sound, {"player"}, f"{where} [sound]", "key")
    screen = _section(values, "screen", where)
    _refuse_unknown(screen, {"show_caution"}, f"{where} [screen]", "key")
    return Settings(
        rules=rules,
        camera=_camera(_section(values, "camera", where), f"{where} [camera]"),
        sound=_choice(
            sound.get("player", "auto"),
            ("auto", "pygame", "simpleaudio", "off"),
            f"{where} [sound] player",
        ),
        show_caution=_boolean(screen.get("show_caution", True), f"{where} [screen] show_caution"),
        player=player_name(player["name"], f"{where} [player] name") if "name" in player else None,
        keep=_boolean(player.get("keep", True), f"{where} [player] keep"),
    )


def player_name(value: object, where: str) -> str:
    """Return a player's name that can also name a file. Raises SettingsError for any other."""
    fits = isinstance(value, str) and 1 <= len(value) <= 40 and value == value.strip()
    if not isinstance(value, str) or not fits or not all(c.isalnum() or c in " -_" for c in value):
        raise SettingsError(
            f"{where} is {value!r}. A name of 1 to 40 letters, digits, spaces, - and _ was wanted. "
            "Give such a name."
        )
    return value


def with_options(
    settings: Settings,
    *,
    handed: str | None = None,
    stature_cm: float | None = None,
    target_deg: float | None = None,
    head_tol_cm: float | None = None,
    hip_tol_cm: float | None = None,
    turn_confidence: str | None = None,
) -> Settings:
    """Return ``settings`` with command line options put over them, checked the same way."""
    rules = settings.rules
    if handed is not None:
        rules = replace(rules, handed=_handed(handed, "--handed"))
    if stature_cm is not None:
        rules = replace(rules, stature_cm=checked("stature_cm", stature_cm, "--stature-cm"))
    cues = {
        "target_deg": (target_deg, "--target-deg"),
        "head_tol_cm": (head_tol_cm, "--head-tol-cm"),
        "hip_tol_cm": (hip_tol_cm, "--hip-tol-cm"),
    }
    chosen: dict[str, Any] = {
        n: checked(n, v, option) for n, (v, option) in cues.items() if v is not None
    }
    if turn_confidence is not None:
        chosen["turn_confidence"] = confidence(turn_confidence, "--confidence")
    return replace(settings, rules=replace(rules, cues=replace(rules.cues, **chosen)))


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


def rules_to_values(rules: Rules) -> dict[str, Any]:
    """Return ``rules`` as plain values, for a trace's header."""
    values: dict[str, Any] = {}
    for item in fields(rules):
        value = getattr(rules, item.name)
        if isinstance(value, Handed):
            values[item.name] = value.value
        elif hasattr(value, "__dataclass_fields__"):
            values[item.name] = {f.name: getattr(value, f.name) for f in fields(value)}
        else:
            values[item.name] = value
    return values


def rules_from_values(values: dict[str, Any], where: str) -> Rules:
    """Return the rules a trace's header holds. Raises SettingsError for what cannot be used."""
    _refuse_unknown(values, {f.name for f in fields(Rules)}, where, "key")
    return Rules(
        handed=_handed(values.get("handed", "right"), where),
        stature_cm=_optional_number(values, "stature_cm", where),
        pain=_boolean(values.get("pain", False), where),
        se_factor=_optional_number(values, "se_factor", where) or 1.0,
        ball_line_cm=_optional_number({"ball_line_cm": 0.0, **values}, "ball_line_cm", where),
        rod_read_deg=_optional_number(values, "rod_read_deg", where),
        own=_own(values.get("own"), where),
        setup=_setup(_section(values, "setup", where), where),
        phases=_record(PhaseRules(), _section(values, "phases", where), where),
        cues=_record(CueRules(), _section(values, "cues", where), where),
        smoothing=_record(OneEuroRules(), _section(values, "smoothing", where), where),
    )


def _section(values: dict[str, Any], name: str, where: str) -> dict[str, Any]:
    section = values.get(name, {})
    if not isinstance(section, dict):
        raise SettingsError(
            f"{where}: {name} is {section!r}. A section [{name}] was wanted. "
            f"Put its keys under a line that says [{name}]."
        )
    return section


def _refuse_unknown(values: dict[str, Any], known: set[str], where: str, what: str) -> None:
    unknown = sorted(set(values) - known)
    if unknown:
        raise SettingsError(
            f"{where} has the unknown {what} {unknown[0]!r}. Known are: "
            f"{', '.join(sorted(known))}. Check the spelling or take it out."
        )


def _record(default: _Record, values: dict[str, Any], where: str) -> _Record:
    """Return the dataclass ``default`` with checked ``values`` put over it."""
    kinds = {f.name: type(getattr(default, f.name)) for f in fields(default)}
    _refuse_unknown(values, set(kinds), where, "key")
    new: dict[str, Any] = {}
    for name, value in values.items():
        if kinds[name] is bool:
            new[name] = _boolean(value, f"{where} {name}")
        elif name == "turn_confidence":
            new[name] = confidence(value, f"{where} {name}")
        else:
            new[name] = checked(name, value, f"{where} {name}")
    return replace(default, **new)


def _own(values: object, where: str) -> OwnRep | None:
    """Return the reference rep of a trace's header."""
    if values is None:
        return None
    table = _section({"own": values}, "own", where)
    _refuse_unknown(table, {f.name for f in fields(OwnRep)}, f"{where} own", "key")
    return OwnRep(
        turn_deg=checked("own_deg", table.get("turn_deg"), f"{where} own turn_deg"),
        **{
            name: None if value is None else checked("own_cm", value, f"{where} own {name}")
            for name, value in table.items()
            if name != "turn_deg"
        },
    )


def _setup(values: dict[str, Any], where: str) -> SetupRules:
    rules = _record(SetupRules(), values, where)
    if rules.window_s < rules.still_s + 0.1:
        # The window would never hold so long a stillness, and no setup would ever be found.
        raise SettingsError(
            f"{where} window_s is {rules.window_s:g} and still_s is {rules.still_s:g}. A window_s "
            f"of {rules.still_s + 0.1:g} or more was wanted for that still_s. Raise window_s too."
        )
    return rules


def _camera(values: dict[str, Any], where: str) -> CameraSettings:
    _refuse_unknown(values, {f.name for f in fields(CameraSettings)}, where, "key")
    source = values.get("source")
    if isinstance(source, bool) or not isinstance(source, (int, str, type(None))):
        raise SettingsError(
            f"{where} source is {source!r}. A camera's number, an address or a file was wanted. "
            'Write source = 0 or source = "swing.mp4".'
        )
    rotate = values.get("rotate", 0)
    if type(rotate) is not int or rotate not in (0, 90, 180, 270):
        raise SettingsError(
            f"{where} rotate is {rotate!r}. One of 0, 90, 180, 270 was wanted. Give one of them."
        )
    return CameraSettings(
        source=None if source is None else str(source),
        rotate=rotate,
        mirrored=_boolean(values.get("mirrored", False), f"{where} mirrored"),
        recorded_fps=_optional_number(values, "recorded_fps", where),
    )


def _optional_number(values: dict[str, Any], name: str, where: str) -> float | None:
    value = values.get(name)
    return None if value is None else checked(name, value, f"{where} {name}")


def _boolean(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise SettingsError(f"{where} is {value!r}. true or false was wanted. Write one of them.")
    return value


def _handed(value: object, where: str) -> Handed:
    return Handed(_choice(value, tuple(h.value for h in Handed), f"{where} handed"))


def _choice(value: object, allowed: tuple[str, ...], where: str) -> str:
    if value not in allowed:
        raise SettingsError(
            f"{where} is {value!r}. One of {', '.join(allowed)} was wanted. Write one of them."
        )
    return str(value)
