"""Where the middle of the hip joints lies behind the cards of a belt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.tag_axes import Axes
from trainer.core.tag_mount import Mount

FloatArray = NDArray[np.float64]

#: By number: how far the middle of the hip joints lies from the card's middle at address - away
#: from the target, up and near - as shares of the stature, and its spread between people in cm.
#: On 26 rendered people in shirts, trousers and skirts, stature 146 to 188 cm.
_HIPS: Final = {
    10: ((0.003, -0.003, -0.0987), (1.5, 2.2, 1.5)),
    11: ((0.103, -0.022, -0.0673), (1.6, 1.7, 2.0)),
}
#: Taken where nobody told a stature, and how far people are from it.
_STATURE_CM: Final = 170.0
_STATURE_SPREAD: Final = 0.07
#: How well a middle is known along each axis that only a tag's depth tells of.
_UNSURE_M: Final = 0.025


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Middle:
    """Where a part's middle lies beside one of its tags at the setup, in the camera's axes."""

    from_tag_m: FloatArray  #: (3,)
    spread: FloatArray  #: (3, 3) covariance, m^2


def hip_middles(axes: Axes, stature_cm: float | None) -> dict[int, Middle]:
    """Return by number where the hip joints' middle lies beside each belt card at the setup."""
    ours = np.stack([axes.away, axes.up, axes.near])
    found = {}
    for number, (shares, spread_cm) in _HIPS.items():
        way_cm = np.array(shares) * (_STATURE_CM if stature_cm is None else stature_cm)
        own_cm = np.array(spread_cm)
        if stature_cm is None:
            own_cm = np.hypot(own_cm, _STATURE_SPREAD * way_cm)
        spread = ours.T @ np.diag((own_cm / 100.0) ** 2) @ ours
        found[number] = Middle(from_tag_m=ours.T @ way_cm / 100.0, spread=spread)
    return found


def middle_of(
    middles: Mapping[int, Middle], mounts: Mapping[int, Mount]
) -> tuple[FloatArray, FloatArray]:
    """Return where a part's middle lies from its origin at the setup, (3,), and its covariance.

    ``mounts`` are those of the known tags. Several tags' middles are weighted by how sure each is.
    Without any the origin is the middle.
    """
    says, pulls = np.zeros((3, 3)), np.zeros(3)
    for number, middle in middles.items():
        mount = mounts.get(number)
        if mount is not None:
            say = np.linalg.inv(middle.spread + np.eye(3) * mount.place_var_m2)
            says += say
            pulls += say @ (mount.place_m + middle.from_tag_m)
    if not says.any():
        return np.zeros(3), np.eye(3) * _UNSURE_M**2
    unsure = np.asarray(np.linalg.inv(says), np.float64)
    return unsure @ pulls, unsure
