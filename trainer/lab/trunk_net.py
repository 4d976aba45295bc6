"""Trains the small network that reads the picture of the trunk (``adapters/trunk_picture.py``).

It learns from the films' trunk pictures and silhouettes, left-handers mirrored, how far shoulder
line and hip line are turned from facing the camera and where the chest points. What the estimator
is fitted on must be what the network says of people it has not seen: so it is trained several
times with a part of the people left out each time, and each part is read by the network that did
not see it; the one that ships is trained on all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.trunk_picture import prepared
from trainer.core.trunk_network import SIDE_PX, Layer, Network, checked
from trainer.lab.films import CHIP_PX

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: What the outputs are divided by while they are learnt.
_SPREAD: Final = np.array([50.0, 30.0, 20.0])
_MARGIN: Final = (CHIP_PX - SIDE_PX) // 2
_BATCH: Final = 64
#: The rate climbs to this and falls again over the whole training.
_RATE: Final = 4e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the training is free to choose."""

    passes: float = 8.0  #: over all pictures
    folds: int = 3
    width: float = 1.0  #: how many channels, as a share of the usual
    half: bool = True  #: multiply in bfloat16, about twice as quick where the processor can


@dataclass(slots=True)
class Pictures:
    """N small pictures of trunks."""

    chips: Bytes  #: (N, CHIP_PX, CHIP_PX, 2) grey and silhouette, of right-handers or mirrored
    told: Floats  #: (N, 3) what is true; as ``TrunkReader.read`` should say
    seed: NDArray[np.int64]  #: (N,) of the person
    row: NDArray[np.int64]  #: (N,) which picture of that person's film

    def where(self, rows: NDArray[np.bool_]) -> Pictures:
        """Return those."""
        return Pictures(self.chips[rows], self.told[rows], self.seed[rows], self.row[rows])


def load(paths: list[Path]) -> Pictures:
    """Read the trunk pictures of filmed people; those in which nobody was found are left out."""
    parts = [_person(path) for path in paths]
    return Pictures(
        np.concatenate([part.chips for part in parts]),
        np.concatenate([part.told for part in parts]),
        np.concatenate([part.seed for part in parts]),
        np.concatenate([part.row for part in parts]),
    )


def _person(path: Path) -> Pictures:
    import cv2

    with np.load(path) as data:
        found = np.nonzero(data["found"])[0]
        ends, packed, masks = data["chip_ends"], data["chips"], data["mask"]
        left = str(data["handed"]) == "left"
        yaw_deg = float(data["camera"][3]) * (-1 if left else 1)
        told = np.stack(
            [
                data["shoulder_turn_deg"] + yaw_deg,
                data["hip_turn_deg"] + yaw_deg,
                data["chest_pitch_deg"],
            ],
            axis=1,
        )[found]
        seed = int(data["seed"])
    chips = np.empty((len(found), CHIP_PX, CHIP_PX, 2), dtype=np.uint8)
    for chip, index in zip(chips, found, strict=True):
        begin = 0 if index == 0 else ends[index - 1]
        chip[..., 0] = cv2.imdecode(packed[begin : ends[index]], cv2.IMREAD_GRAYSCALE)
        chip[..., 1] = np.unpackbits(masks[index], axis=-1) * 255
    if left:
        chips = chips[:, :, ::-1]
    return Pictures(chips, told, np.full(len(found), seed), found)


def out_of_fold(pictures: Pictures, plan: Plan, fold: int) -> tuple[NDArray[np.bool_], Floats]:
    """Train without one fold of the people; return which rows those are and what it says of them.

    The folds are the same for the same people.
    """
    people = np.random.default_rng(7).permutation(np.unique(pictures.seed))
    out = np.isin(pictures.seed, people[fold :: plan.folds])
    network = train(pictures.where(~out), plan, seed=fold)
    return out, read(network, pictures.chips[out])


def train(pictures: Pictures, plan: Plan, *, seed: int) -> Any:
    """Return the network trained on all of ``pictures``; the same for the same seed."""
    import torch
    from torch.nn.functional import smooth_l1_loss
    from tqdm import tqdm

    torch.set_num_threads(1)  # two trainings at once are quicker than two threads of one
    torch.manual_seed(seed)
    rng = np.random.default_rng([seed, 11])
    network = _network(plan.width).to(memory_format=torch.channels_last)
    each = len(pictures.seed) // _BATCH
    steps = max(1, round(plan.passes * each))
    walker = torch.optim.AdamW(network.parameters(), lr=_RATE, weight_decay=1e-3)
    pace = torch.optim.lr_scheduler.OneCycleLR(walker, _RATE, total_steps=steps + 1)
    wanted = torch.from_numpy((pictures.told / _SPREAD).astype(np.float32))
    order: NDArray[np.intp] = np.empty(0, dtype=np.intp)
    network.train()
    for _ in tqdm(range(steps), unit="step", mininterval=10):
        if len(order) < _BATCH:
            order = rng.permutation(len(pictures.seed))
        rows, order = order[:_BATCH], order[_BATCH:]
        shown = _shown(_shaken(pictures.chips[rows], rng))
        with torch.autocast("cpu", dtype=torch.bfloat16, enabled=plan.half):
            said = network(shown)
        loss = smooth_l1_loss(said.float(), wanted[rows], beta=0.1)
        walker.zero_grad(set_to_none=True)
        loss.backward()
        walker.step()
        pace.step()
    return network.eval()


def read(network: Any, chips: Bytes) -> Floats:
    """Return what the network says of small pictures: (N, 3) degrees."""
    import torch

    middle = slice(_MARGIN, _MARGIN + SIDE_PX)
    said = [np.empty((0, 3))]
    with torch.no_grad():
        for part in np.array_split(chips, max(1, len(chips) // 256)):
            shown = [
                prepared(chip[middle, middle, 0], chip[middle, middle, 1].astype(np.float32) / 255)
                for chip in part
            ]
            told = network(torch.from_numpy(np.stack(shown)))
            said.append(told.numpy().astype(np.float64) * _SPREAD)
    return np.concatenate(said)


def export(network: Any) -> Network:
    """Return a trained network as the program runs it: one convolution a layer, in degrees."""
    import torch
    from torch import nn

    layers: list[Layer] = []
    for part, after in zip(network, [*list(network)[1:], None], strict=True):
        if isinstance(part, nn.Conv2d):
            # In use, a normalisation only scales and shifts what its convolution gives.
            scale = after.weight / torch.sqrt(after.running_var + after.eps)
            weights = part.weight * scale[:, None, None, None]
            bias = after.bias - after.running_mean * scale
            layers.append(_layer(weights, bias, step=part.stride[0], margin=part.padding[0]))
        elif isinstance(part, nn.Linear):
            before = layers[-1].weights.shape[0]
            side = round((part.in_features / before) ** 0.5)
            weights = part.weight.reshape(part.out_features, before, side, side)
            layers.append(_layer(weights, part.bias))
    spread = _SPREAD.astype(np.float32)
    last = layers[-1]
    layers[-1] = replace(
        last,
        weights=last.weights * spread[:, None, None, None],
        bias=last.bias * spread,
        rectified=False,
    )
    return checked(tuple(layers))


def _layer(weights: Any, bias: Any, *, step: int = 1, margin: int = 0) -> Layer:
    return Layer(
        weights=weights.detach().numpy(),
        bias=bias.detach().numpy(),
        step=step,
        margin=margin,
        rectified=True,
    )


def _network(width: float) -> Any:
    from torch import nn

    def layer(before: int, after: int, step: int) -> Any:
        return (
            nn.Conv2d(before, after, 3, step, 1, bias=False),
            nn.BatchNorm2d(after),
            nn.ReLU(inplace=True),
        )

    a, b, c, d = (round(count * width) for count in (16, 32, 64, 128))
    cells = (SIDE_PX // 16) ** 2
    return nn.Sequential(
        *layer(2, a, 2),
        *layer(a, b, 2),
        *layer(b, c, 2),
        *layer(c, c, 1),
        *layer(c, d, 2),
        *layer(d, d, 1),
        nn.Flatten(),
        nn.Linear(d * cells, 64),
        nn.ReLU(),
        nn.Dropout(0.3),
        nn.Linear(64, 3),
    )


def _shaken(chips: Bytes, rng: np.random.Generator) -> Bytes:
    """Return each small picture cut a little elsewhere, turned, nearer or farther, or blurred."""
    import cv2

    out = np.empty((len(chips), SIDE_PX, SIDE_PX, 2), dtype=np.uint8)
    middle = np.full(2, (SIDE_PX - 1) / 2)
    for chip, cut in zip(chips, out, strict=True):
        shown = chip
        if rng.random() < 0.4:
            shown = chip.copy()
            shown[..., 0] = cv2.GaussianBlur(shown[..., 0], (0, 0), rng.uniform(0.4, 1.2))
        angle, scale = rng.uniform(-0.07, 0.07), rng.uniform(0.9, 1.12)
        move = rng.uniform(-0.07, 0.07, 2) * SIDE_PX
        turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        shift = (CHIP_PX - 1) / 2 + move - turn @ middle
        cv2.warpAffine(
            shown,
            np.column_stack([turn, shift]),
            (SIDE_PX, SIDE_PX),
            dst=cut,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out


def _shown(chips: Bytes) -> Any:
    """Return the network's input of shaken pictures, their looks changed at random.

    Light and contrast, light and dark exchanged, grain, another background, or no grey at all:
    what the network is to learn is the body's form, not the renderer's shading.
    """
    import torch

    grey, mask = layers(chips)
    count = len(chips)

    def draw() -> Any:
        return torch.rand(count, 1, 1, 1)

    grey = grey.clamp(1e-3, 1) ** torch.exp((draw() - 0.5) * 0.8) * torch.exp(draw() - 0.5)
    exchanged = (draw() < 0.25).float()
    grey = grey * (1 - exchanged) + (1 - grey) * exchanged
    grey = grey + torch.randn_like(grey) * draw() * 0.06
    behind = (draw() < 0.2).float() * (mask < 0.5).float()
    grey = grey * (1 - behind) + behind * (draw() + torch.randn_like(grey) * draw() * 0.3)
    grey = grey * (draw() >= 0.1).float()
    return normalised(grey, mask)


def layers(chips: Bytes) -> tuple[Any, Any]:
    """Return grey and silhouette (N, 1, S, S), 0 to 1, of small pictures."""
    import torch

    both = torch.from_numpy(chips).permute(0, 3, 1, 2).float().div_(255)
    return both[:, :1], both[:, 1:]


def normalised(grey: Any, mask: Any) -> Any:
    """Return what ``trunk_picture.prepared`` does to one, of many at once."""
    import torch

    inside = (mask > 0.5).float()
    weight = inside + 1e-3
    total = weight.sum((2, 3), keepdim=True)
    mean = (grey * weight).sum((2, 3), keepdim=True) / total
    spread = (((grey - mean) ** 2 * weight).sum((2, 3), keepdim=True) / total).sqrt() + 0.02
    shown = torch.cat([((grey - mean) / spread).clamp(-4, 4), inside * 2 - 1], 1)
    return shown.contiguous(memory_format=torch.channels_last)
