"""Learns how much each feature counts, so that what is learnt from some people holds for others.

Each step splits the people in two, fits the regression on a sample of the one part in closed
form, and moves the features' weights so that it does better on the other. That is the idea of
automatic relevance determination (Rasmussen & Williams 2006, Gaussian Processes for Machine
Learning, section 5.1), with the error on unseen people in place of the likelihood, because a
person's poses are not independent. Needs torch, for the derivatives.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est

if TYPE_CHECKING:
    from trainer.lab.fit import Choice

Floats = NDArray[np.float64]

_CENTRES: Final = 400
_FITTED, _JUDGED = 2500, 1500  # rows a step
_PART: Final = 0.7  #: of the people are fitted on, the rest judge
_RATE: Final = 0.04
#: The shoulder turn is what the program is for.
_COUNTS: Final = {"shoulder_turn_deg": 4.0, "hip_turn_deg": 2.0}


def learn(
    features: Floats,
    targets: Floats,
    person: NDArray[np.int64],
    outputs: tuple[str, ...],
    choice: Choice,
    seed: int,
) -> Floats:
    """Return the weight (F,) of each scaled feature; 1 counts as all did before."""
    import torch

    rng = np.random.default_rng([seed, 3])
    known = np.isfinite(targets).all(axis=1)
    features, targets, person = features[known], targets[known], person[known]
    mean, scale = features.mean(axis=0), features.std(axis=0) + 1e-3

    def scaled(rows: Floats) -> Any:
        return torch.tensor(np.clip((rows - mean) / scale, -est.LIMIT, est.LIMIT))

    now, still = scaled(features), scaled(est.at_setup(features))
    as_is = [name in est.AS_IT_IS for name in outputs]
    level = np.where(as_is, targets.mean(axis=0), 0.0)
    spread = targets.std(axis=0)
    wanted = torch.tensor((targets - level) / spread)
    counts = torch.tensor([_COUNTS.get(name, 1.0) for name in outputs])
    keep = torch.tensor([float(one) for one in as_is])  # 1: not taken from the setup
    log_weight = torch.zeros(features.shape[1], dtype=torch.float64, requires_grad=True)
    walker = torch.optim.Adam([log_weight], lr=_RATE)
    fading = torch.optim.lr_scheduler.CosineAnnealingLR(walker, choice.steps)
    people = np.unique(person)
    for _ in range(choice.steps):
        order = rng.permutation(people)
        fitted = np.isin(person, order[: round(len(order) * _PART)])
        learnt = rng.permutation(np.nonzero(fitted)[0])[:_FITTED]
        judged = rng.permutation(np.nonzero(~fitted)[0])[:_JUDGED]
        weight = log_weight.exp()
        centres = now[learnt[:_CENTRES]] * weight
        among = _kernel(centres, centres, choice.width)
        moving, base = (
            tuple(_kernel(part[rows] * weight, centres, choice.width) for part in (now, still))
            for rows in (learnt, judged)
        )
        error = 0.0
        for setting, less in ((1 - keep, 1.0), (keep, 0.0)):
            if not bool(setting.any()):
                continue
            across = moving[0] - less * moving[1]
            left = across.T @ across + choice.ridge * among
            left = left + 1e-5 * torch.eye(len(among), dtype=torch.float64)
            solved = torch.linalg.solve(left, across.T @ wanted[learnt])
            off = (base[0] - less * base[1]) @ solved - wanted[judged]
            each = torch.nn.functional.smooth_l1_loss(
                off, torch.zeros_like(off), beta=0.15, reduction="none"
            ).mean(dim=0)
            error = error + (each * counts * setting).sum()
        walker.zero_grad()
        error.backward()
        walker.step()
        fading.step()
    return np.asarray(log_weight.detach().exp().numpy(), dtype=np.float64)


def _kernel(rows: Any, centres: Any, width: float) -> Any:
    squared = rows.pow(2).sum(1)[:, None] - 2.0 * rows @ centres.T + centres.pow(2).sum(1)[None]
    return (-width / rows.shape[1] * squared.clamp_min(0.0)).exp()
