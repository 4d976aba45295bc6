"""Turns degrees of freedom into a posed skeleton with a club in its hands. Pure numpy.

All frames are posed at once. The figure is posed right-handed (target at +x); a left-hander is
the mirror image of the finished pose, made by :func:`mirrored`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from trainer.lab import arms, legs
from trainer.lab import rotations as rot
from trainer.lab.body import Body
from trainer.lab.legs import Stance
from trainer.lab.motion import DOFS, Motion, Pose
from trainer.lab.trunk import SOLVE_ALL, Trunk, measures, solved_trunk, trunk_at

Floats = NDArray[np.float64]

__all__ = [
    "SOLVE_ALL",
    "Figure",
    "Posed",
    "Stance",
    "at_frames",
    "flip",
    "mirrored",
]


@dataclass(frozen=True, slots=True)
class Posed:
    """Bones and club over T frames, metres, world axes (see trainer.lab.body)."""

    rotations: Floats  #: (T, B, 3, 3) from rest
    joints: Floats  #: (T, B, 3)
    club: Floats  #: (T, 2, 3): top of the grip, head
    face: Floats  #: (T, 3) way the club face looks
    sole: Floats  #: (T, 3) unit, from heel to toe of the club head
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class _Address:
    """What later frames are measured against."""

    zero: dict[str, Floats]
    wrist: arms.Wrist


@dataclass(slots=True)
class Figure:
    """Poses one body.

    ``solve`` names the measures that are met exactly as asked for: without "shoulders" the thorax
    turns by thorax_turn_deg, without "hips" hip_turn_deg is the turn about the tilted pelvis,
    without "head" the trunk leans by side_bend_deg, and without "height" it bends by
    trunk_bend_deg alone whatever head_rise_cm says.
    """

    body: Body
    stance: Stance = field(default_factory=Stance)
    solve: frozenset[str] = SOLVE_ALL

    def pose(self, motion: Motion) -> Posed:
        """Pose the whole motion."""
        still = {name: np.array([float(getattr(motion.address, name))]) for name in DOFS}
        return self._pose(motion.dofs, self._address(still))

    def pose_one(self, pose: Pose, address: Pose | None = None) -> Posed:
        """Pose a single frame, against its own address unless told otherwise."""
        dofs = {name: np.array([float(getattr(pose, name))]) for name in DOFS}
        return self.pose(Motion(np.zeros(1), dofs, (), address or pose))

    def _address(self, still: Mapping[str, Floats]) -> _Address:
        trunk = trunk_at(
            self.body,
            still,
            legs.hip_height(self.body, self.stance, still),
            turn=still["thorax_turn_deg"],
            hips=still["hip_turn_deg"],
            lean=still["side_bend_deg"],
            bend=still["trunk_bend_deg"],
        )
        zero = measures(trunk, still["stance_turn_deg"])
        return _Address(zero, arms.address_wrist(self.body, self.stance, still, trunk))

    def _pose(self, dofs: Mapping[str, Floats], address: _Address) -> Posed:
        body, stance = self.body, self.stance
        trunk = self._grounded_trunk(dofs, address)
        lead = arms.lead_arm(body, dofs, trunk, address.wrist)
        bones = {**trunk.bones, **lead.bones, **arms.trail_arm(body, dofs, trunk, lead)}
        for side, who in ((".L", "lead"), (".R", "trail")):
            bones.update(legs.leg(body, stance, dofs, trunk, side, who))
        shape = (len(trunk.pelvis), len(body.bone_names))
        turns, joints = np.empty((*shape, 3, 3)), np.empty((*shape, 3))
        for index, name in enumerate(body.bone_names):
            parent = int(body.parents[index])
            turns[:, index] = bones[name] if name in bones else turns[:, parent]
            if parent < 0:
                joints[:, index] = trunk.joints["root"]
            else:
                offset = body.heads[index] - body.heads[parent]
                joints[:, index] = joints[:, parent] + rot.apply(turns[:, parent], offset)
        top = lead.grip - arms.GRIP_DOWN_M * lead.shaft
        return Posed(
            rotations=turns,
            joints=joints,
            club=np.stack([top, top + stance.club_m * lead.shaft], axis=1),
            face=-lead.palm_on_shaft,
            sole=np.cross(lead.shaft, lead.palm_on_shaft),
        )

    def _grounded_trunk(self, dofs: Mapping[str, Floats], address: _Address) -> Trunk:
        """Pose the trunk; the hips come down before a leg is pulled off the floor."""
        height = legs.hip_height(self.body, self.stance, dofs)
        trunk = solved_trunk(self.body, dofs, height, address.zero, self.solve)
        over = legs.overstretch(self.body, self.stance, dofs, trunk)
        if not np.any(over > 0):
            return trunk
        return solved_trunk(self.body, dofs, height - over, address.zero, self.solve)


def mirrored(posed: Posed) -> Posed:
    """Mark a pose to be shown mirrored: a left-hander. Points are flipped when read out."""
    return replace(posed, mirrored=True)


def flip(points: Floats, posed: Posed) -> Floats:
    """Return world points (..., 3) as seen in the scene: x negated for a left-hander."""
    return points * np.array([-1.0, 1.0, 1.0]) if posed.mirrored else points


def at_frames(posed: Posed, at: Floats) -> Posed:
    """Return the pose at frame numbers (K,) that need not be whole, straight between neighbours.

    Rotations are brought back to rotations by the nearest one (singular value decomposition).
    """
    last = len(posed.joints) - 1
    low = np.clip(np.floor(at).astype(np.int64), 0, max(last - 1, 0))
    high, part = np.minimum(low + 1, last), np.clip(at, 0, last) - low

    def between(values: Floats) -> Floats:
        share = part.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray((1 - share) * values[low] + share * values[high])

    left, _, right = np.linalg.svd(between(posed.rotations))
    return replace(
        posed,
        rotations=left @ right,
        joints=between(posed.joints),
        club=between(posed.club),
        face=between(posed.face),
        sole=between(posed.sole),
    )
