"""A pinhole camera in the lab's world axes (see trainer.lab.body). Pure numpy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Where the camera is and what it sees. Pixels are (right, down) from the top left corner.

    At rest it stands ``distance_m`` in front of the stance, ``height_m`` up, looking level along
    -z. ``yaw_deg`` walks it round the player towards picture right (+x) while it keeps looking
    at the upright through the stance; ``pitch_deg`` tips it down; ``roll_deg`` turns the camera
    clockwise as seen from behind it. No lens distortion; the axis meets the middle of the image.
    """

    size_wh: tuple[int, int] = (1280, 720)
    hfov_deg: float = 70.0
    distance_m: float = 3.0
    height_m: float = 0.95
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0

    @property
    def focal_px(self) -> float:
        """Focal length in pixels: (W / 2) / tan(hfov / 2)."""
        return self.size_wh[0] / 2.0 / float(np.tan(np.radians(self.hfov_deg / 2.0)))

    @property
    def place_m(self) -> Floats:
        """Optical centre in the world (3,)."""
        yaw = np.radians(self.yaw_deg)
        flat = self.distance_m * np.array([np.sin(yaw), 0.0, np.cos(yaw)])
        return flat + np.array([0.0, self.height_m, 0.0])

    @property
    def axes(self) -> Floats:
        """Rows are the camera's right, down and forward directions in the world (3, 3)."""
        turn = rot.about_y(self.yaw_deg) @ rot.about_x(self.pitch_deg * -1.0)
        turn = turn @ rot.about_z(-self.roll_deg)
        right, up, back = turn[:, 0], turn[:, 1], turn[:, 2]
        return np.stack([right, -up, -back])

    def project(self, points_m: Floats) -> Floats:
        """Return the pixels (..., 2) of world points (..., 3). Points behind come out as NaN."""
        seen = (points_m - self.place_m) @ self.axes.T
        depth = np.where(seen[..., 2:] > 1e-6, seen[..., 2:], np.nan)
        middle = np.array([self.size_wh[0] / 2.0, self.size_wh[1] / 2.0])
        return seen[..., :2] / depth * self.focal_px + middle
