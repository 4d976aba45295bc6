"""Where the camera stands to a rod on the floor, and what that and the body say together.

A straight line on a level floor is seen in a plane through the camera's eye. Where that plane
meets the floor the rod lies, so with ``n`` square to the plane and ``d`` straight down, both as
the camera sees them, the rod runs along ``n x d``. Down is known from the camera's pitch and
roll, which the body tells. Near the picture's middle and with a level camera ``h`` above the
floor and ``z`` away, a rod turned by ``psi`` is seen with a slope of about (h / z) tan(psi), so
an error of the roll counts z / h times, three to four times, in the angle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.lens import Lens, undistorted
from trainer.core.placement_view import CameraView, focal_of, under_deg
from trainer.core.records import Pose

FloatArray = NDArray[np.float64]

#: Standard errors of what the body tells, on the rendered people of
#: docs/how-to/place-the-camera.md: of the yaw; of the roll, a little above the 0.5 degrees that
#: hold for 95 in 100 of them; and of how steeply the floor is seen.
BODY_SD_DEG: Final = 2.7
ROLL_SD_DEG: Final = 0.6
STEEP_SD_DEG: Final = 3.8
#: Players stand open or closed by so much, one standard deviation; chosen, for 10 degrees to be
#: rare and possible.
STANCE_SD_DEG: Final = 5.0
#: A club's shaft lies higher at its head; a rod may lie on uneven ground: 1 cm over its length.
TILT_SD_DEG: Final = 0.5
#: Share by which the focal length may be off: of a lens that is known, and of the one assumed.
FOCAL_SD: Final = 0.015
ASSUMED_FOCAL_SD: Final = 0.10
#: Bending (k1) of a lens that was not calibrated; chosen.
BEND_SD: Final = 0.05
#: A rod that contradicts the body by so many standard errors was not laid along the target line.
CONTRADICTS: Final = 3.0
#: A rod counts when so many searches found it, with both ends' rows no further apart than this.
LEAST_FOUND: Final = 2
SAME_PX: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RodLine:
    """A rod as it is seen, by two points on its middle line."""

    ends_px: FloatArray  #: (2, 2): the end on the picture's left first, columns then rows
    se_px: float  #: one standard error of either end, across the rod

    def rows_at(self, other: RodLine) -> FloatArray:
        """Return the rows (2,) of this line, drawn on, at the columns of the other's ends."""
        (x0, y0), (x1, y1) = self.ends_px
        rows: FloatArray = y0 + (y1 - y0) / (x1 - x0) * (other.ends_px[:, 0] - x0)
        return rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RodSeen:
    """What one search of a picture brought."""

    t_s: float
    rod: RodLine | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """What turns a rod's pixels into an angle."""

    steep_deg: float  #: how steeply the floor is seen at the feet
    roll_deg: float  #: + the camera leans clockwise, as seen from behind it
    feet_px: tuple[float, float]  #: the middle of the stance
    size_wh: tuple[int, int]
    focal_px: float
    focal_sd: float = FOCAL_SD  #: share by which that may be off
    lens: Lens | None = None  #: a calibrated one, for that size; its focal length counts then


def rod_yaw_deg(rod: RodLine, eye: Eye) -> float:
    """Return how far the camera is off square to the rod; + too far toward the player's left.

    It is the angle on the floor between the line of sight to the feet and the square to the rod.
    """
    points = np.vstack([rod.ends_px, eye.feet_px])
    if eye.lens is None:
        middle = (np.array(eye.size_wh) - 1) / 2
        rays = np.column_stack([(points - middle) / eye.focal_px, np.ones(3)])
    else:
        rays = np.column_stack([undistorted(eye.lens, points), np.ones(3)])
    under_deg = math.degrees(math.atan(rays[2, 1]))
    pitch, roll = math.radians(eye.steep_deg - under_deg), math.radians(eye.roll_deg)
    down = np.array(
        [math.sin(roll) * math.cos(pitch), math.cos(roll) * math.cos(pitch), math.sin(pitch)]
    )
    sight = rays[2] - (rays[2] @ down) * down
    right = np.cross(down, sight)
    along = np.cross(np.cross(rays[0], rays[1]), down)
    across, away = float(along @ right), float(along @ sight)
    if across < 0:
        across, away = -across, -away
    return math.degrees(math.atan2(-away, across))


def rod_sd_deg(rod: RodLine, eye: Eye) -> float:
    """Return one standard error of ``rod_yaw_deg``, from line, body's level and lens."""
    at = rod_yaw_deg(rod, eye)
    # Both ways, because the angle changes more for a floor seen flatter than for a steeper one.
    return math.sqrt(
        sum((told - at) ** 2 for way in (1.0, -1.0) for told in _moved(rod, eye, way)) / 2.0
    )


def _moved(rod: RodLine, eye: Eye, way: float) -> list[float]:
    """Return the angle with each thing it rests on off by a standard error, + or -."""

    def shifted(first_px: float, last_px: float) -> RodLine:
        rows = np.column_stack([[0.0, 0.0], [first_px, last_px]])
        return replace(rod, ends_px=rod.ends_px + way * rows)

    roll_sd = way * math.hypot(ROLL_SD_DEG, TILT_SD_DEG)
    told = [
        rod_yaw_deg(shifted(rod.se_px, 0.0), eye),
        rod_yaw_deg(shifted(0.0, rod.se_px), eye),
        rod_yaw_deg(rod, replace(eye, roll_deg=eye.roll_deg + roll_sd)),
        rod_yaw_deg(rod, replace(eye, steep_deg=eye.steep_deg + way * STEEP_SD_DEG)),
    ]
    if eye.lens is None:
        told.append(
            rod_yaw_deg(rod, replace(eye, focal_px=eye.focal_px * (1 + way * eye.focal_sd)))
        )
        told.append(rod_yaw_deg(replace(rod, ends_px=_bent(rod.ends_px, eye, way)), eye))
    return told


def _bent(points: FloatArray, eye: Eye, way: float) -> FloatArray:
    """Return the points as a lens that bends a little more, or less, shows them."""
    middle = (np.array(eye.size_wh) - 1) / 2
    out = points - middle
    bent: FloatArray = middle + out * (
        1 + way * BEND_SD * (out**2).sum(axis=1, keepdims=True) / eye.focal_px**2
    )
    return bent


def with_rod(
    view: CameraView,
    rod: RodLine,
    pose: Pose,
    field_of_view_deg: float | None = None,
    lens: Lens | None = None,
) -> CameraView:
    """Return the view with its yaw told by rod and body, each counting by its variance.

    It is returned as it is where the rod contradicts the body: then the rod was not laid along
    the target line. ``field_of_view_deg`` and ``lens``: None where not known.
    """
    focal_px = focal_of(pose.size_wh, field_of_view_deg)
    feet = geo.middle(pose.image_px, "ankle")
    eye = Eye(
        steep_deg=view.pitch_deg + under_deg(pose.image_px, pose.size_wh, focal_px),
        roll_deg=view.roll_deg,
        feet_px=(float(feet[0]), float(feet[1])),
        size_wh=pose.size_wh,
        focal_px=focal_px,
        focal_sd=ASSUMED_FOCAL_SD if field_of_view_deg is None else FOCAL_SD,
        lens=lens,
    )
    told, sd = rod_yaw_deg(rod, eye), rod_sd_deg(rod, eye)
    body_sd = math.hypot(BODY_SD_DEG, STANCE_SD_DEG)
    if abs(told - view.yaw_deg) > CONTRADICTS * math.hypot(sd, body_sd):
        return view
    share = body_sd**2 / (body_sd**2 + sd**2)
    return replace(view, yaw_deg=share * told + (1 - share) * view.yaw_deg, by_rod=True)


def agreed(seen: Sequence[RodSeen]) -> RodLine | None:
    """Return the rod of the newest search that found one, if another found it in the same place.

    None for less than ``LEAST_FOUND``, or for two that lie apart.
    """
    found = [one.rod for one in seen if one.rod is not None]
    if len(found) < LEAST_FOUND:
        return None
    apart = [np.abs(one.rows_at(found[-1]) - found[-1].ends_px[:, 1]).max() for one in found[:-1]]
    return found[-1] if min(apart) <= SAME_PX else None
