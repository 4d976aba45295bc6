"""The stick golfer wearing tags: true tags on a true trunk, and a pose that misreads the turn.

The picture's axes are those of the camera: x right, y down, z away; the golfer's own (``golfer``)
have y up from the floor and z toward the camera, which stands at a height of 0.95 m.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from golfer import View, pose_of, poses
from scipy.spatial.transform import Rotation
from tag_golfers import Worn, chest_and_side
from tag_pictures import Sheet, focal_px, turned

from trainer.core import rotation as rot
from trainer.core.records import Handed
from trainer.core.tag_pose import TagPose, TagsRead

LEAN_DEG = 30.0
MIRROR = np.diag([-1.0, 1.0, 1.0])
BELT = (Worn(number=10, rotation=turned(2, 0, 3), arm_m=np.array([0.0, 0.0, -0.168])),)
FRONT = View()
NOISE_DEG, NOISE_M = 0.4, 0.002


@dataclass(frozen=True, kw_only=True)
class Dressed:
    """A golfer with tags; ``reads`` is what the pose shows of each true turn."""

    chest: tuple[Worn, ...] = chest_and_side()
    belt: tuple[Worn, ...] = BELT
    reads: float = 0.88
    slipped: dict | None = None  # number -> rotation on the body, from ``slipped_s`` on
    slipped_s: float = float("inf")
    size: float = 1.0  # true size over the size told
    hidden: tuple = ()  # (number, from_s, to_s) during which a tag is behind an arm

    def sheets(self, body, view, t_s=0.0):
        """Return every tag as it lies, facing the camera or not."""
        h = view.stature_m
        hips = np.array([-(body.walk_cm + body.hips_cm) / 100, 0.52 * h, 0.0])
        lean = np.radians(LEAN_DEG)
        along = np.array([0.0, np.cos(lean), np.sin(lean)])
        # Down the spine and away from the camera: positive brings the lead end (+x) nearer.
        spine = Rotation.from_rotvec(np.radians(body.turn_deg) * along).as_matrix()
        upright = np.radians(body.hip_turn_deg) * np.array([0.0, 1.0, 0.0])
        pelvis = Rotation.from_rotvec(upright).as_matrix()
        parts = (
            (self.chest, hips + 0.22 * h * along, spine @ turned(0, LEAN_DEG, 0)),
            (self.belt, hips, pelvis),
        )
        found = []
        for worn, middle, rotation in parts:
            seen = np.array([middle[0], 0.95 - middle[1], view.distance_m - middle[2]])
            for tag in worn:
                own = (self.slipped or {}).get(tag.number) if t_s >= self.slipped_s else None
                attitude = rotation @ (np.eye(3) if own is None else own) @ tag.rotation
                place = seen + rotation @ tag.arm_m
                if view.handed is Handed.LEFT:
                    attitude, place = MIRROR @ attitude @ MIRROR, MIRROR @ place
                found.append(
                    Sheet(
                        number=tag.number,
                        rotation=attitude,
                        place_m=tuple(place),
                        size_m=tag.size_m,
                        printed=self.size,
                    )
                )
        return found

    def is_hidden(self, number, t_s):
        return any(n == number and a <= t_s < b for n, a, b in self.hidden)

    def pose(self, body, view, t_s, rng=None):
        """Return the pose as it is misread."""
        misread = replace(
            body, turn_deg=body.turn_deg * self.reads, hip_turn_deg=body.hip_turn_deg * self.reads
        )
        return pose_of(misread, view, t_s, rng)


def true_turn(turn_deg, lean_deg=LEAN_DEG):
    """Return the level turn of a line that turns about a trunk leaning to the camera."""
    a, lean = np.radians(turn_deg), np.radians(lean_deg)
    return float(np.degrees(np.arctan2(np.cos(lean) * np.sin(a), np.cos(a))))


def as_read(sheet, rng, noise=1.0):
    """Return a tag's pose as a reader would give it, with its noise."""
    vector = np.radians(rng.normal(0, NOISE_DEG * noise, 3))
    told = 1.0 / sheet.printed  # a tag larger than told seems nearer than it is
    return TagPose(
        number=sheet.number,
        rotation=rot.from_vector(vector) @ sheet.rotation,
        place_m=(np.array(sheet.place_m) + rng.normal(0, NOISE_M * noise, 3)) * told,
        spread=np.diag([np.radians(NOISE_DEG) ** 2] * 3 + [NOISE_M**2] * 3),
        ambiguous=False,
    )


def in_sight(sheet, most_deg=70.0):
    place = np.array(sheet.place_m)
    facing = float(np.asarray(sheet.rotation)[:, 2] @ place) / float(np.linalg.norm(place))
    return facing > np.cos(np.radians(most_deg))


def worn_poses(script, view=FRONT, dressed=None, *, noise=1.0, seed=3):
    """Return (t_s, pose with tags) over the script, tags seen up to 70 degrees from the camera."""
    dressed, rng = dressed or Dressed(), np.random.default_rng(seed)
    pairs = []
    for t_s, plain in poses(script, view):
        if plain is None:
            pairs.append((t_s, None))
            continue
        body = script.at(t_s - view.start_s)
        read = tuple(
            as_read(sheet, rng, noise)
            for sheet in sorted(dressed.sheets(body, view, t_s), key=lambda s: s.number)
            if in_sight(sheet) and not dressed.is_hidden(sheet.number, t_s)
        )
        tags = TagsRead(focal_px=focal_px(view.size_wh), poses=read)
        pairs.append((t_s, replace(dressed.pose(body, view, t_s), tags=tags)))
    return pairs
