"""The player's settings: a TOML file and options, checked, into frozen rule objects.

Unknown keys, wrong types, values out of range and likely wrong units are refused, each with
what was found, what was wanted and what to try.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field, fields, replace
from enum import Enum
from pathlib import Path
from typing import Any

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

from trainer.core.practice_rules import PracticeRules, TurnOf
from trainer.core.rules import (
    CueRules,
    OwnErrors,
    OwnRep,
    PhaseRules,
    Rules,
    SetupCheckRules,
    SetupRules,
)
from trainer.core.smoothing import OneEuroRules
from trainer.errors import SettingsError
from trainer.ports import Look
from trainer.settings_pictures import PictureSettings, pictures_from
from trainer.settings_values import (
    boolean,
    checked,
    choice,
    confidence,
    handed_from,
    optional_number,
    record_from,
    refuse_unknown,
    section,
    text,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSettings:
    """Which camera, and how its picture must be treated."""

    source: str | None = None  #: index, address or file; None: the first camera found
    rotate: int = 0  #: degrees clockwise, one of 0, 90, 180, 270
    mirrored: bool = False  #: the source already mirrors its picture
    recorded_fps: float | None = None  #: what a slow-motion clip was recorded at


@dataclass(frozen=True, slots=True, kw_only=True)
class TagSettings:
    """Printed tags on the player, and the lens they are seen through."""

    worn: bool = False
    size_mm: float | None = None  #: the black square's side, measured; None: as kept
    lens: str | None = None  #: name of the calibrated camera; None: the source's own
    field_of_view_deg: float | None = None  #: across the picture's width, if not calibrated
    tilt_deg: float | None = None  #: how far the camera looks down; None: taken as level


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that can be set."""

    rules: Rules = field(default_factory=Rules)
    camera: CameraSettings = field(default_factory=CameraSettings)
    tags: TagSettings = field(default_factory=TagSettings)
    pictures: PictureSettings = field(default_factory=PictureSettings)
    sound: str = "auto"  #: auto, pygame, simpleaudio or off
    level_db: float = 0.0  #: of all tones; 0 as they are, less is softer
    show_caution: bool = True
    far: bool = False  #: begin with only what is to be read across a room
    look: Look = field(default_factory=Look)
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
    sections = {"player", "cues", "practice", "setup", "phases", "smoothing", "camera", "sound"}
    sections |= {"screen", "setup_check", "tags", "pictures"}
    refuse_unknown(values, sections, where, "section")
    player = section(values, "player", where)
    refuse_unknown(player, {"name", "handed", "stature_cm", "keep"}, f"{where} [player]", "key")
    rules = Rules(
        handed=handed_from(player.get("handed", "right"), f"{where} [player]"),
        stature_cm=optional_number(player, "stature_cm", f"{where} [player]"),
        setup=_setup(section(values, "setup", where), f"{where} [setup]"),
        setup_check=record_from(
            SetupCheckRules(), section(values, "setup_check", where), f"{where} [setup_check]"
        ),
        phases=record_from(PhaseRules(), section(values, "phases", where), f"{where} [phases]"),
        cues=record_from(CueRules(), section(values, "cues", where), f"{where} [cues]"),
        practice=record_from(
            PracticeRules(), section(values, "practice", where), f"{where} [practice]"
        ),
        smoothing=record_from(
            Rules().smoothing, section(values, "smoothing", where), f"{where} [smoothing]"
        ),
    )
    sound = section(values, "sound", where)
    refuse_unknown(sound, {"player", "level_db"}, f"{where} [sound]", "key")
    screen = section(values, "screen", where)
    keys = {"show_caution", "far", "large_text", "figures"}
    refuse_unknown(screen, keys, f"{where} [screen]", "key")
    return Settings(
        rules=rules,
        camera=_camera(section(values, "camera", where), f"{where} [camera]"),
        tags=_tags(section(values, "tags", where), f"{where} [tags]"),
        pictures=pictures_from(section(values, "pictures", where), f"{where} [pictures]"),
        sound=choice(
            sound.get("player", "auto"),
            ("auto", "pygame", "simpleaudio", "off"),
            f"{where} [sound] player",
        ),
        level_db=checked("level_db", sound.get("level_db", 0.0), f"{where} [sound] level_db"),
        show_caution=boolean(screen.get("show_caution", True), f"{where} [screen] show_caution"),
        far=boolean(screen.get("far", False), f"{where} [screen] far"),
        look=Look(
            large_text=boolean(screen.get("large_text", False), f"{where} [screen] large_text"),
            figures=boolean(screen.get("figures", True), f"{where} [screen] figures"),
        ),
        player=player_name(player["name"], f"{where} [player] name") if "name" in player else None,
        keep=boolean(player.get("keep", True), f"{where} [player] keep"),
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
    comfort_deg: float | None = None,
    practice: str | None = None,
    cue_schedule: str | None = None,
    guess_first: bool = False,
    turn_of: str | None = None,
    large_text: bool = False,
    no_figures: bool = False,
) -> Settings:
    """Return ``settings`` with command line options put over them, checked the same way."""
    rules = settings.rules
    if handed is not None:
        rules = replace(rules, handed=handed_from(handed, "--handed"))
    if stature_cm is not None:
        rules = replace(rules, stature_cm=checked("stature_cm", stature_cm, "--stature-cm"))
    if comfort_deg is not None:
        comfort_deg = checked("comfort_deg", comfort_deg, "--comfort-deg")
        rules = replace(rules, comfort_deg=comfort_deg)
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
    if turn_of is not None:
        chosen["turn_of"] = TurnOf(turn_of)
    said: dict[str, Any] = {"kind": practice, "cues": cue_schedule, "guess_first": guess_first}
    said = {name: value for name, value in said.items() if value}
    rules = replace(rules, practice=record_from(rules.practice, said, "the option for"))
    look = Look(
        large_text=settings.look.large_text or large_text,
        figures=settings.look.figures and not no_figures,
    )
    return replace(settings, rules=replace(rules, cues=replace(rules.cues, **chosen)), look=look)


def with_tag_options(
    tags: TagSettings,
    *,
    worn: bool,
    size_mm: float | None,
    lens: str | None,
    field_of_view_deg: float | None,
    tilt_deg: float | None = None,
) -> TagSettings:
    """Return ``tags`` with command line options put over them, checked the same way."""
    if size_mm is not None:
        size_mm = checked("size_mm", size_mm, "--tag-size-mm")
    if field_of_view_deg is not None:
        field_of_view_deg = checked("field_of_view_deg", field_of_view_deg, "--field-of-view-deg")
    if tilt_deg is not None:
        tilt_deg = checked("tilt_deg", tilt_deg, "--camera-tilt-deg")
    return TagSettings(
        worn=worn or tags.worn,
        size_mm=tags.size_mm if size_mm is None else size_mm,
        lens=tags.lens if lens is None else text(lens, "--lens"),
        field_of_view_deg=tags.field_of_view_deg
        if field_of_view_deg is None
        else field_of_view_deg,
        tilt_deg=tags.tilt_deg if tilt_deg is None else tilt_deg,
    )


def refuse_untold_turn(rules: Rules, tags: TagSettings | None) -> None:
    """Raise SettingsError where the target is about what only worn tags tell, and none are."""
    if rules.cues.turn_of is TurnOf.CHEST and (tags is None or not tags.worn):
        raise SettingsError(
            "the target is about the chest's turn (turn_of), and no tags are worn. Printed tags "
            "were wanted, for they tell it. Wear them and give --tags, or --turn-of shoulders."
        )


def refuse_untold_reps(settings: Settings) -> None:
    """Raise SettingsError where neither a tone nor a figure would tell of a rep."""
    if settings.sound == "off" and not settings.look.figures:
        raise SettingsError(
            "sound is off and figures are off, so nothing would tell of a rep. One of the two was "
            "wanted. Leave out --no-figures or --sound off, or change the settings."
        )


def rules_to_values(rules: Rules) -> dict[str, Any]:
    """Return ``rules`` as plain values, for a trace's header."""
    values: dict[str, Any] = {}
    for item in fields(rules):
        value = getattr(rules, item.name)
        if hasattr(value, "__dataclass_fields__"):
            values[item.name] = {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
        else:
            values[item.name] = _plain(value)
    return values


def _plain(value: object) -> object:
    return value.value if isinstance(value, Enum) else value


def rules_from_values(values: dict[str, Any], where: str) -> Rules:
    """Return the rules a trace's header holds. Raises SettingsError for what cannot be used."""
    refuse_unknown(values, {f.name for f in fields(Rules)}, where, "key")
    return Rules(
        handed=handed_from(values.get("handed", "right"), where),
        stature_cm=optional_number(values, "stature_cm", where),
        pain=boolean(values.get("pain", False), where),
        se_factor=optional_number(values, "se_factor", where) or 1.0,
        ball_line_cm=optional_number({"ball_line_cm": 0.0, **values}, "ball_line_cm", where),
        rod_read_deg=optional_number(values, "rod_read_deg", where),
        own=_own(values.get("own"), where),
        own_errors=_own_errors(values.get("own_errors"), where),
        comfort_deg=optional_number(values, "comfort_deg", where),
        check_offered=boolean(values.get("check_offered", False), where),
        setup=_setup(section(values, "setup", where), where),
        setup_check=record_from(SetupCheckRules(), section(values, "setup_check", where), where),
        phases=record_from(PhaseRules(), section(values, "phases", where), where),
        cues=record_from(CueRules(), section(values, "cues", where), where),
        practice=record_from(PracticeRules(), section(values, "practice", where), where),
        smoothing=record_from(OneEuroRules(), section(values, "smoothing", where), where),
    )


def _own(values: object, where: str) -> OwnRep | None:
    """Return the reference rep of a trace's header."""
    if values is None:
        return None
    table = section({"own": values}, "own", where)
    refuse_unknown(table, {f.name for f in fields(OwnRep)}, f"{where} own", "key")
    return OwnRep(
        turn_deg=checked("own_deg", table.get("turn_deg"), f"{where} own turn_deg"),
        **{
            name: None if value is None else checked("own_cm", value, f"{where} own {name}")
            for name, value in table.items()
            if name != "turn_deg"
        },
    )


def _own_errors(values: object, where: str) -> OwnErrors | None:
    """Return what a trace's header holds of the player's own errors."""
    if values is None:
        return None
    table = section({"own_errors": values}, "own_errors", where)
    where = f"{where} own_errors"
    refuse_unknown(table, {f.name for f in fields(OwnErrors)}, where, "key")
    told: dict[str, Any] = {"width_px": None, "height_px": None, **table}
    for name, value in told.items():
        if value is not None or name != "cm_per_px":
            told[name] = checked("own_error", value, f"{where} {name}")
    return OwnErrors(**told)


def _setup(values: dict[str, Any], where: str) -> SetupRules:
    rules = record_from(SetupRules(), values, where)
    if rules.window_s < rules.still_s + 0.1:
        # The window would never hold so long a stillness, and no setup would ever be found.
        raise SettingsError(
            f"{where} window_s is {rules.window_s:g} and still_s is {rules.still_s:g}. A window_s "
            f"of {rules.still_s + 0.1:g} or more was wanted for that still_s. Raise window_s too."
        )
    return rules


def _camera(values: dict[str, Any], where: str) -> CameraSettings:
    refuse_unknown(values, {f.name for f in fields(CameraSettings)}, where, "key")
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
        mirrored=boolean(values.get("mirrored", False), f"{where} mirrored"),
        recorded_fps=optional_number(values, "recorded_fps", where),
    )


def _tags(values: dict[str, Any], where: str) -> TagSettings:
    refuse_unknown(values, {f.name for f in fields(TagSettings)}, where, "key")
    return TagSettings(
        worn=boolean(values.get("worn", False), f"{where} worn"),
        size_mm=optional_number(values, "size_mm", where),
        lens=text(values["lens"], f"{where} lens") if "lens" in values else None,
        field_of_view_deg=optional_number(values, "field_of_view_deg", where),
        tilt_deg=optional_number(values, "tilt_deg", where),
    )
