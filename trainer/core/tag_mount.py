"""How a tag sits on its part of the body, learned from seeing it.

A part's axes are the camera's at the setup, its origin a point inside the body behind the tag
that leads it. A tag seen at the setup is known from it. Another is learned in the frames in
which it is seen beside a known one: each such frame is one sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot
from trainer.core.tag_pose import TagPose

FloatArray = NDArray[np.float64]

#: Samples of neighbouring frames share their errors: so many count as one. Chosen by eye.
ALIKE: Final = 5.0
#: A sheet on clothes gives this much against the part under it: as it hangs, and more in a quarter
#: turn of the part. Chosen. A card on the buckle goes along with the belly's skin.
CLOTHES_DEG: Final = 0.4
CLOTHES_TURNED_DEG: Final = 1.5
BUCKLE: Final = 10
BUCKLE_TURNED_DEG: Final = 5.0
#: The surest a setup can tell a tag, about any axis: its pictures err alike, and near square by
#: more than their corners show. On rendered people 1.6 degrees about the weak axis for 0.4 told.
_FLOOR_DEG: Final = 1.0
#: From so many samples, and this surety, a learned tag may tell of its part. Its error is told with
#: what it tells, so an unsure one does no harm beside the body points.
_ENOUGH: Final = 3
_SURE_DEG: Final = 8.0
#: The variance of a place that nothing is known of.
_ANYWHERE_M2: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mount:
    """One tag on its part."""

    rotation: FloatArray  #: (3, 3) from the tag's axes to the part's
    place_m: FloatArray  #: (3,) of the tag's middle in the part's axes
    spread: FloatArray  #: (3, 3) covariance of ``rotation``, small rotation from the left, rad^2
    place_var_m2: float  #: variance of each coordinate of ``place_m``
    samples: int
    scatter_deg: float  #: root mean square of the samples from the mean: how well it holds still
    at_setup: bool  #: seen at the setup, not learned beside another

    @property
    def known(self) -> bool:
        """Whether it may tell of its part."""
        se_deg = float(np.degrees(np.sqrt(np.trace(self.spread) / 3)))
        return self.at_setup or (self.samples >= _ENOUGH and se_deg < _SURE_DEG)


def at_setup(poses: Sequence[TagPose], origin_m: FloatArray, *, alike: float = ALIKE) -> Mount:
    """Return the mount of a tag from its poses over the setup, at least one.

    So many poses count as one: ``alike``. Where the corners leave open which of the two attitudes
    of a square it is, they do so in every picture alike: the mean between both is taken, and their
    spread is not made less by many pictures.
    """
    first = min(poses, key=lambda pose: float(np.trace(pose.spread[:3, :3])))
    mean, spread = rot.weighted_mean(
        [_nearer(pose, first.rotation) for pose in poses],
        [pose.spread[:3, :3] * alike for pose in poses],
    )
    apart = rot.to_vector(mirrored(mean, first.place_m) @ mean.T)
    other = float(np.mean([pose.ambiguous for pose in poses])) / 2
    mean = rot.from_vector(other * apart) @ mean
    spread = spread + other * (1.0 - other) * np.outer(apart, apart)
    places = np.array([pose.place_m for pose in poses])
    variances = np.array([float(np.trace(pose.spread[3:, 3:])) / 3 for pose in poses])
    place, variance = _mean_place(places, variances, alike)
    return Mount(
        rotation=mean,
        place_m=place - origin_m,
        spread=spread + np.eye(3) * np.radians(_FLOOR_DEG) ** 2,
        place_var_m2=variance,
        samples=len(poses),
        scatter_deg=_scatter_deg(mean, poses),
        at_setup=True,
    )


def mirrored(rotation: FloatArray, place_m: FloatArray) -> FloatArray:
    """Return the other attitude (3, 3) that a small square's picture allows.

    It is the mirror image in depth along the line of sight to ``place_m`` (3,): exact without
    perspective (D. Oberkampf, D. F. DeMenthon, L. S. Davis, Comput Vis Image Underst 63, 1996).
    """
    sight = place_m / float(np.linalg.norm(place_m))
    flip = np.eye(3) - 2.0 * np.outer(sight, sight)
    other: FloatArray = flip @ rotation @ np.diag([1.0, 1.0, -1.0])
    return other


def _nearer(pose: TagPose, to: FloatArray) -> FloatArray:
    """Return a pose's rotation, or where that is open its other one, whichever is nearer ``to``."""
    if not pose.ambiguous:
        return pose.rotation
    other = mirrored(pose.rotation, pose.place_m)
    near = rot.angle_deg(to, pose.rotation) <= rot.angle_deg(to, other)
    return pose.rotation if near else other


def gives_deg(number: int, part_rotation: FloatArray) -> float:
    """Return by how much a tag gives on its part, about any axis, after a rotation (3, 3)."""
    quarter_deg = BUCKLE_TURNED_DEG if number == BUCKLE else CLOTHES_TURNED_DEG
    turned_deg = float(np.degrees(np.linalg.norm(rot.to_vector(part_rotation))))
    return float(np.hypot(CLOTHES_DEG, quarter_deg * turned_deg / 90.0))


def begun(rotation: FloatArray, place_m: FloatArray, spread: FloatArray) -> Mount:
    """Return the mount of a tag not seen at the setup, before its first sample counts."""
    return Mount(
        rotation=rotation,
        place_m=place_m,
        spread=spread,
        place_var_m2=_ANYWHERE_M2,
        samples=0,
        scatter_deg=0.0,
        at_setup=False,
    )


def learned(before: Mount, pose: TagPose, part_rotation: FloatArray, origin_m: FloatArray) -> Mount:
    """Return the mount after one more picture in which the part's own attitude is known.

    How it is turned and how sure that is comes of ``tag_ties``; here its place and its scatter.
    ``part_rotation`` (3, 3) is the part's, ``origin_m`` (3,) where its origin is now.
    """
    off_deg = rot.angle_deg(before.rotation, part_rotation.T @ pose.rotation)
    count = before.samples + 1
    scatter = before.scatter_deg**2 + (off_deg**2 - before.scatter_deg**2) / min(count, 100)
    if count == 1:
        scatter = 0.0
    place = part_rotation.T @ (pose.place_m - origin_m)
    variance = float(np.trace(pose.spread[3:, 3:])) / 3 * ALIKE + 1e-6
    share = before.place_var_m2 / (before.place_var_m2 + variance)
    return replace(
        before,
        place_m=before.place_m + share * (place - before.place_m),
        place_var_m2=before.place_var_m2 * (1 - share),
        samples=count,
        scatter_deg=float(np.sqrt(scatter)),
    )


def moved_to(mount: Mount, rotation: FloatArray, shift_m: FloatArray) -> Mount:
    """Return a mount in the axes of a new setup.

    ``rotation`` (3, 3) is the part's at the new setup since the old one; ``shift_m`` (3,) leads
    from the new origin to the old one there.
    """
    return Mount(
        rotation=rotation @ mount.rotation,
        place_m=rotation @ mount.place_m + shift_m,
        spread=mount.spread,
        place_var_m2=mount.place_var_m2,
        samples=mount.samples,
        scatter_deg=mount.scatter_deg,
        at_setup=False,
    )


def _mean_place(
    places: FloatArray, variances: FloatArray, alike: float
) -> tuple[FloatArray, float]:
    says = 1.0 / np.maximum(variances, 1e-10)
    mean: FloatArray = (places * says[:, None]).sum(axis=0) / says.sum()
    return mean, float(alike / says.sum())


def _scatter_deg(mean: FloatArray, poses: Sequence[TagPose]) -> float:
    off = [rot.angle_deg(mean, pose.rotation) for pose in poses]
    return float(np.sqrt(np.mean(np.square(off))))
