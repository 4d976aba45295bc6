"""The small network that reads the trunk's picture, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

#: The picture's side in pixels; it has two layers, grey and silhouette.
SIDE_PX = 96
#: What the network says: shoulder line, hip line and chest, in degrees.
SAID = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One convolution: out = sum of weights x in + bias, and nothing below 0 if ``rectified``.

    A dense layer is one as large as the picture that comes in.
    """

    weights: NDArray[np.float32]  #: (O, I, S, S) of O layers out, I layers in
    bias: NDArray[np.float32]  #: (O,)
    step: int  #: pixels from one place to the next
    margin: int  #: pixels of 0 put round the picture that comes in
    rectified: bool


Network: TypeAlias = tuple[Layer, ...]


def checked(network: Network) -> Network:
    """Return the network. Raises ValueError when its layers do not fit on each other."""
    comes_in, side = 2, SIDE_PX
    for number, layer in enumerate(network):
        out, into, high, wide = layer.weights.shape
        side = (side + 2 * layer.margin - high) // layer.step + 1
        if into != comes_in or high != wide or layer.bias.shape != (out,) or side < 1:
            raise ValueError(
                f"layer {number} of the trunk's network does not fit on the one before"
            )
        if not (np.isfinite(layer.weights).all() and np.isfinite(layer.bias).all()):
            raise ValueError(f"layer {number} of the trunk's network holds what is no number")
        comes_in = out
    if comes_in != SAID or side != 1:
        raise ValueError(
            f"the trunk's network gives {comes_in} numbers in {side} places, not {SAID}"
        )
    return network
