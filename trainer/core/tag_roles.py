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


#: Lead and trail are the player's: the same sheet serves right- and left-handers.
ROLES: Final = (
    Role(number=0, name="chest", part=Part.THORAX),
    Role(number=1, name="lead side", part=Part.THORAX),
    Role(number=2, name="lead side, back", part=Part.THORAX),
    Role(number=3, name="trail side", part=Part.THORAX),
    Role(number=10, name="belt", part=Part.PELVIS),
    Role(number=11, name="belt, lead side", part=Part.PELVIS),
    Role(number=20, name="cap", part=Part.HEAD),
)
BY_NUMBER: Final = {role.number: role for role in ROLES}
