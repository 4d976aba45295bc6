"""What the printed tags in one picture say of the body, against the setup. Signs: ``tag_axes``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trainer.core.tag_roles import Part

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Angle:
    """An angle in degrees and its standard error."""

    deg: float
    se_deg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartReading:
    """What the tags say of one part, against the setup."""

    part: Part
    numbers: tuple[int, ...]  #: the tags it was read from
    turn: Angle  #: 0 at setup, + away from the target
    pitch: Angle  #: where the front points, + above the level
    pitch_change_deg: float  #: ``pitch`` less what it was at setup: + is extension
    side_bend: Angle  #: 0 at setup, + leaning away from the target
    away_cm: float  #: the part's middle, from the setup, + away from the target
    up_cm: float
    near_cm: float  #: + toward the camera
    away_se_cm: float
    up_se_cm: float
    near_se_cm: float
    #: (3, 3) since the setup, in the axes (away, up, near): for the pitch of other directions
    rotation: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyTags:
    """What the tags in one picture say. A part none of whose known tags was seen is None."""

    t_s: float
    thorax: PartReading | None = None
    pelvis: PartReading | None = None
    head: PartReading | None = None
    extension: Angle | None = None  #: how far the chest has opened since the setup, + opens up
    cm_doubtful: bool = False  #: a tag's size cannot be as told: centimetres are not to be used
    quality_deg: Mapping[int, float] = field(default_factory=dict)
    """By number: how well each known tag holds still on its part, root mean square."""
    notices: tuple[str, ...] = ()  #: plain words for the player; each is said once
