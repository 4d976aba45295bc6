"""The settings of filming, checked as all others are."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from trainer.errors import SettingsError
from trainer.settings_values import boolean, checked, refuse_unknown

if TYPE_CHECKING:
    from trainer.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSettings:
    """Whether reps are filmed, and how much of it is kept."""

    on: bool = False  #: from the start; a key switches it
    budget_mb: float = 2000.0  #: beyond it the oldest go


def pictures_from(values: dict[str, Any], where: str) -> PictureSettings:
    """Return the section of a settings file. Raises SettingsError for what cannot be used."""
    refuse_unknown(values, {f.name for f in fields(PictureSettings)}, where, "key")
    usual = PictureSettings()
    return PictureSettings(
        on=boolean(values.get("on", usual.on), f"{where} on"),
        budget_mb=checked(
            "budget_mb", values.get("budget_mb", usual.budget_mb), f"{where} budget_mb"
        ),
    )


def with_picture_options(settings: Settings, *, film: bool) -> Settings:
    """Return ``settings`` with the option ``--film`` over them.

    Raises SettingsError where no rep is kept that a clip could be of.
    """
    if not film:
        return settings
    if not settings.keep:
        raise SettingsError(
            "--film was given, and no rep is kept. Reps that are kept were wanted, for a clip "
            "belongs to one. Leave --no-keep out, and keep = false out of the settings."
        )
    return replace(settings, pictures=replace(settings.pictures, on=True))
