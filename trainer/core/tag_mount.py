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
#: A sheet on clothes gives this much against the part under it, per frame. Chosen by eye.
CLOTHES_DEG: Final = 1.0
#: The surest a learned tag can get.
_FLOOR_DEG: Final = 0.3
#: From so many samples, and this surety, a learned tag may tell of its part.
_ENOUGH: Final = 5
_SURE_DEG: Final = 4.0


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

    So many poses count as one: ``alike``.
    """
    mean, spread = rot.weighted_mean(
        [pose.rotation for pose in poses], [pose.spread[:3, :3] * alike for pose in poses]
    )
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


def learned(
    before: Mount | None,
    pose: TagPose,
    part_rotation: FloatArray,
    part_spread: FloatArray,
    origin_m: FloatArray,
) -> Mount:
    """Return the mount after one more frame in which the part's own attitude is known.

    ``part_rotation`` (3, 3) and ``part_spread`` (3, 3) are the part's from its other tags,
    ``origin_m`` (3,) where its origin is now.
    """
    sample = part_rotation.T @ pose.rotation
    clothes = np.eye(3) * np.radians(CLOTHES_DEG) ** 2
    spread = (part_spread + pose.spread[:3, :3] + clothes) * ALIKE
    spread = part_rotation.T @ spread @ part_rotation
    place = part_rotation.T @ (pose.place_m - origin_m)
    variance = float(np.trace(pose.spread[3:, 3:])) / 3 * ALIKE + 1e-6
    if before is None:
        return Mount(
            rotation=sample,
            place_m=place,
            spread=spread,
            place_var_m2=variance,
            samples=1,
            scatter_deg=0.0,
            at_setup=False,
        )
    off = rot.to_vector(sample @ before.rotation.T)
    gain = before.spread @ np.linalg.inv(before.spread + spread)
    count = before.samples + 1
    scatter = before.scatter_deg**2 + (
        float(np.degrees(np.linalg.norm(off))) ** 2 - before.scatter_deg**2
    ) / min(count, 100)
    share = before.place_var_m2 / (before.place_var_m2 + variance)
    now = before.spread - gain @ before.spread
    return Mount(
        rotation=rot.from_vector(gain @ off) @ before.rotation,
        place_m=before.place_m + share * (place - before.place_m),
        spread=(now + now.T) / 2 + np.eye(3) * (np.radians(_FLOOR_DEG) ** 2 / 100),
        place_var_m2=before.place_var_m2 * (1 - share),
        samples=count,
        scatter_deg=float(np.sqrt(scatter)),
        at_setup=False,
    )


def settled(mount: Mount, pose: TagPose, rotation: FloatArray, spread: FloatArray) -> Mount:
    """Return a setup's mount after a picture soon after it, in which the part has hardly moved.

    ``rotation`` (3, 3) is what the part is thought to have turned by since, ``spread`` (3, 3) its
    covariance. A tag square to the camera hardly tells which way it leans; turned a little it does.
    """
    noise = spread + pose.spread[:3, :3] + np.eye(3) * np.radians(CLOTHES_DEG) ** 2
    noise = rotation.T @ noise @ rotation * ALIKE
    off = rot.to_vector(rotation.T @ pose.rotation @ mount.rotation.T)
    gain = mount.spread @ np.linalg.inv(mount.spread + noise)
    now = mount.spread - gain @ mount.spread
    return replace(
        mount, rotation=rot.from_vector(gain @ off) @ mount.rotation, spread=(now + now.T) / 2
    )


def moved_to(mount: Mount, rotation: FloatArray, shift_m: FloatArray) -> Mount:
    """Return a mount in the axes of a new setup.

    ``rotation`` (3, 3) is the part's at the new setup since the old one; ``shift_m`` (3,) leads
    from the new origin to the old one there.
    """
    return Mount(
        rotation=rotation @ mount.rotation,
        place_m=rotation @ mount.place_m + shift_m,
        spread=rotation @ mount.spread @ rotation.T,
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
