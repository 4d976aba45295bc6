"""Which printed tag is worn where. Numbers of the AprilTag 36h11 family."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final


class Part(str, Enum):
    """The rigid part of the body a tag rides on."""

    THORAX = "thorax"
    PELVIS = "pelvis"
    HEAD = "head"


@dataclass(frozen=True, slots=True, kw_only=True)
class Role:
    """One tag: its number, its place, and the part it tells of."""

    number: int
    name: str  #: as it is printed beside the tag and said in messages
    part: Part
    round_deg: float  #: where it belongs: round the body from its front towards the lead side


#: Lead and trail are the player's: the same sheet serves right- and left-handers.
ROLES: Final = (
    Role(number=0, name="chest", part=Part.THORAX, round_deg=0.0),
    Role(number=1, name="lead side", part=Part.THORAX, round_deg=55.0),
    Role(number=2, name="lead side, back", part=Part.THORAX, round_deg=125.0),
    Role(number=3, name="trail side", part=Part.THORAX, round_deg=-65.0),
    Role(number=10, name="belt", part=Part.PELVIS, round_deg=0.0),
    Role(number=11, name="belt, lead side", part=Part.PELVIS, round_deg=55.0),
    Role(number=20, name="cap", part=Part.HEAD, round_deg=0.0),
)
BY_NUMBER: Final = {role.number: role for role in ROLES}
