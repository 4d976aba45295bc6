"""The picture of the trunk -> how far it looks turned, by a small network of our own.

The body points lose a trunk that is twisted behind its own arms; the picture and the silhouette
still show it. The network was trained on rendered people (``trainer/lab/trunk_net.py``); what it
says of the player is one more thing the estimator reads.
"""

from __future__ import annotations

import struct
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.core import geometry as geo
from trainer.core.records import Handed
from trainer.core.trunk_network import SAID, SIDE_PX, Network
from trainer.errors import PoseError

Floats = NDArray[np.float64]

#: Its side, and how far above mid-hip its middle lies, in lengths from mid-shoulder to mid-ankle:
#: a length in the picture that a backswing changes by a few per cent only.
SIDE_LENGTHS: Final = 0.8
UP_LENGTHS: Final = 0.27
_SMALLEST_PX: Final = 8
_INSIDE: Final = 0.5


class TrunkReader:
    """Reads the trunk's picture. One thread at a time; 2.5 ms a picture, 1.6 for one hand only."""

    def __init__(self, network: Network) -> None:
        """Build the network. Raises PoseError when OpenCV cannot."""
        cv2 = load_cv2()
        plan, numbers = _described(network)
        try:
            self._network = cv2.dnn.readNetFromDarknet(plan, numbers)
        except (AttributeError, cv2.error) as error:
            raise PoseError(
                f"OpenCV {cv2.__version__} could not build the network that reads the trunk "
                f"({error}); the version that the program asks for was wanted. Install the program "
                "again."
            ) from None

    def read(
        self,
        image_rgb: NDArray[np.uint8],
        mask: NDArray[np.float32],
        points_px: Floats,
        handed: Handed | None = None,
    ) -> Floats | None:
        """Return what the network says of the player with body points (33, 2): (2, 3) degrees.

        The rows are for a player who swings right-handed, and left-handed; the columns how far
        shoulder line and hip line are turned from facing the camera, + away from the target, and
        the chest's pitch, + up. Raw: turns fall short, and the camera's own angle is in them; the
        estimator learns what they are worth. With ``handed`` only that row is read, the other is
        NaN. None when the trunk is not in the picture.
        """
        box = trunk_box(points_px)
        grey, inside = cut(image_rgb, box), cut(mask, box)
        if grey is None or inside is None:
            return None
        one = prepared(grey, inside)
        shown = {Handed.RIGHT: one, Handed.LEFT: one[..., ::-1]}
        asked = list(shown) if handed is None else [handed]
        self._network.setInput(np.stack([shown[hand] for hand in asked]))
        said = np.full((2, SAID), np.nan)
        rows = [0 if hand is Handed.RIGHT else 1 for hand in asked]
        said[rows] = self._network.forward().reshape(-1, SAID)
        return said


def _described(network: Network) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return a network as OpenCV takes it from memory: a text of its layers, and their numbers.

    The one way there is to hand OpenCV a network that is in no file: Darknet's two files, of which
    the second is a head of version and count, then each layer's biases and weights.
    """
    plan = [f"[net]\nbatch=2\nchannels=2\nheight={SIDE_PX}\nwidth={SIDE_PX}"]
    numbers = [struct.pack("<iiiq", 0, 2, 0, 0)]
    for layer in network:
        out, _, size, _ = layer.weights.shape
        bent = "relu" if layer.rectified else "linear"
        plan.append(
            f"[convolutional]\nfilters={out}\nsize={size}\nstride={layer.step}\n"
            f"padding={layer.margin}\nactivation={bent}"
        )
        numbers += [part.astype("<f4").tobytes() for part in (layer.bias, layer.weights)]
    return (
        np.frombuffer("\n".join(plan).encode() + b"\n", dtype=np.uint8),
        np.frombuffer(b"".join(numbers), dtype=np.uint8),
    )


def trunk_box(points_px: Floats, side_lengths: float = SIDE_LENGTHS) -> tuple[int, int, int]:
    """Return (left, top, side) in pixels of the square round the trunk; 0 for no side."""
    hips = geo.middle(points_px, "hip")
    length = float(
        np.linalg.norm(geo.middle(points_px, "shoulder") - geo.middle(points_px, "ankle"))
    )
    side = round(side_lengths * length)
    return (
        round(hips[0] - side / 2),
        round(hips[1] - UP_LENGTHS * length - side / 2),
        side,
    )


def cut(
    image: NDArray[Any], box: tuple[int, int, int], side_px: int = SIDE_PX
) -> NDArray[Any] | None:
    """Return the box of a picture (H, W, 3) in grey, or of a mask (H, W), side_px square.

    Beyond the picture's edge its last pixels go on. None for a box with next to nothing of the
    picture in it.
    """
    cv2 = load_cv2()
    left, top, side = box
    height, width = image.shape[:2]
    from_x, from_y = max(left, 0), max(top, 0)
    to_x, to_y = min(left + side, width), min(top + side, height)
    if to_x - from_x < _SMALLEST_PX or to_y - from_y < _SMALLEST_PX:
        return None
    part = image[from_y:to_y, from_x:to_x]
    if part.ndim == 3:
        part = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
    beyond = (from_y - top, top + side - to_y, from_x - left, left + side - to_x)
    if any(beyond):
        part = cv2.copyMakeBorder(part, *beyond, cv2.BORDER_REPLICATE)
    small: NDArray[Any] = cv2.resize(part, (side_px, side_px), interpolation=cv2.INTER_AREA)
    return small


def prepared(grey: NDArray[np.uint8], mask: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the network's input (2, S, S) of a small grey picture and a mask of likelihoods.

    Grey is told in standard deviations from the mean inside the silhouette, so that light and
    exposure do not count; the silhouette is +1 inside and -1 outside.
    """
    inside = (mask > _INSIDE).astype(np.float32)
    light = grey.astype(np.float32) / 255
    weight = inside + 1e-3
    total = float(weight.sum())
    mean = float((light * weight).sum()) / total
    spread = (float(((light - mean) ** 2 * weight).sum()) / total) ** 0.5 + 0.02
    return np.stack([np.clip((light - mean) / spread, -4, 4), inside * 2 - 1])
