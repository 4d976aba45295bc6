"""A golfer's thorax wearing tags, turned about its spine: where each tag then is."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation
from tag_pictures import Sheet, turned

MIRROR = np.diag([-1.0, 1.0, 1.0])


@dataclass(frozen=True, kw_only=True)
class Worn:
    """A tag as it sits on a right-hander's part at setup, in the camera's axes."""

    number: int
    rotation: np.ndarray
    arm_m: np.ndarray  # from the part's middle
    size_m: float = 0.16


@dataclass(frozen=True, kw_only=True)
class Golfer:
    """A part that leans to the camera by ``lean_deg`` and turns about its own long axis."""

    lean_deg: float = 25.0
    middle_m: tuple[float, float, float] = (0.0, -0.1, 3.0)
    worn: tuple[Worn, ...] = field(default_factory=lambda: chest_and_side())
    left_handed: bool = False

    def rotation(self, turn_deg):
        """Return the right-hander's rotation since setup: lead end (+x) toward the camera (-z)."""
        lean = np.radians(self.lean_deg)
        spine = np.array([0.0, np.cos(lean), np.sin(lean)])  # down and away from the camera
        return Rotation.from_rotvec(np.radians(turn_deg) * spine).as_matrix()

    def sheets(self, turn_deg, *, moved_m=(0.0, 0.0, 0.0), slipped=None, printed=1.0):
        """Return the sheets as they lie at a turn; ``slipped``: number -> rotation on the body."""
        lean = turned(0, self.lean_deg, 0)
        rotation = self.rotation(turn_deg)
        sheets = []
        for tag in self.worn:
            on_body = (slipped or {}).get(tag.number, np.eye(3))
            attitude = rotation @ lean @ on_body @ tag.rotation
            place = np.array(self.middle_m) + moved_m + rotation @ lean @ tag.arm_m
            if self.left_handed:
                # A mirrored golfer wears true tags: mirrored across, and again within the sheet.
                attitude, place = MIRROR @ attitude @ MIRROR, MIRROR @ place
            sheets.append(
                Sheet(
                    number=tag.number,
                    rotation=attitude,
                    place_m=tuple(place),
                    size_m=tag.size_m,
                    printed=printed,
                )
            )
        return sheets


def chest_and_side(*, size_m=0.16):
    """Return a chest tag, a little crooked, and one on the lead side."""
    return (
        Worn(number=0, rotation=turned(3, 0, 4), arm_m=np.array([0.0, 0.0, -0.12]), size_m=size_m),
        Worn(number=1, rotation=turned(-88, 0, -6), arm_m=np.array([0.16, 0, 0.0]), size_m=size_m),
    )
