"""What is wrong with how tags were printed and put on, in plain words."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Handed
from trainer.core.tag_axes import Axes
from trainer.core.tag_mount import Mount
from trainer.core.tag_pose import TagPose
from trainer.core.tag_roles import BY_NUMBER

FloatArray = NDArray[np.float64]

#: Which way each tag looks at setup: shares of lead, up and near. Along the body, by its name.
_LOOKS: Final = {
    0: (0.0, 0.0, 1.0),
    1: (1.0, 0.0, 0.0),
    2: (0.7, 0.0, -0.7),
    3: (-1.0, 0.0, 0.0),
    10: (0.0, 0.0, 1.0),
    11: (0.7, 0.0, 0.7),
    20: (0.0, 0.0, 1.0),
}
#: Further than this from where it ought to look, in the level plane, a tag sits elsewhere.
_ELSEWHERE_DEG: Final = 85.0
#: A tag this much nearer or farther than the body, for so many pictures, has another size.
_SIZE_RATIO: Final = 1.3
_SIZE_PICTURES: Final = 15


def placing_words(mounts: Mapping[int, Mount], axes: Axes, handed: Handed) -> tuple[str, ...]:
    """Return what the mounts say of tags put on elsewhere or upside down."""
    words = []
    for number, mount in mounts.items():
        if not mount.known:
            continue
        name = BY_NUMBER[number].name
        lead, _, near = _LOOKS[number]
        normal = -mount.rotation[:, 2]
        level = np.array([-float(normal @ axes.away), float(normal @ axes.near)])
        if float(np.linalg.norm(level)) > 0.4:
            ought = np.array([lead, near])
            cosine = float(level @ ought) / float(np.linalg.norm(level) * np.linalg.norm(ought))
            if cosine < np.cos(np.radians(_ELSEWHERE_DEG)):
                words.append(
                    f"the {name} tag sits where another belongs: it was expected to look another "
                    f"way on a {handed.value}-hander. Swap the tags, or press the key for the "
                    "other hand. The turn is right all the same"
                )
        if float(mount.rotation[:, 1] @ axes.up) > 0.7:
            words.append(f"the {name} tag is upside down: it is read all the same")
    return tuple(words)


class SizeWatch:
    """Holds each tag's distance against the body's, over some time."""

    def __init__(self) -> None:
        self._ratios: dict[int, deque[float]] = {}
        self.doubtful: set[int] = set()  #: the tags whose size cannot be as told, just now

    def see(self, poses: Sequence[TagPose], distance_m: float | None) -> tuple[str, ...]:
        """Return words about tags whose size cannot be as told; () while nothing is known.

        A tag told larger than it is seems farther away than the body that wears it. Body size is
        known to some 5 to 10 %, so an error of printing of a few per cent is not noticed here.
        """
        if distance_m is None or not distance_m > 0:
            return ()
        words = []
        for pose in poses:
            ratios = self._ratios.setdefault(pose.number, deque(maxlen=_SIZE_PICTURES))
            ratios.append(distance_m / float(pose.place_m[2]))
            if len(ratios) < _SIZE_PICTURES:
                continue
            ratio = float(np.median(ratios))
            self.doubtful.discard(pose.number)
            if not 1 / _SIZE_RATIO < ratio < _SIZE_RATIO:
                self.doubtful.add(pose.number)
                name = BY_NUMBER[pose.number].name
                compared = (
                    f"about {ratio:.1f} times as large as"
                    if ratio > 1
                    else (f"about {ratio:.1f} times the size")
                )
                words.append(
                    f"the {name} tag looks {compared} told: measure its black square and set the "
                    "size. Turn is right all the same, centimetres are not"
                )
        return tuple(words)
