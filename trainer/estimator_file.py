"""Reads the estimator's coefficients that come with the program."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.core.estimate import Estimator
from trainer.errors import TrainerError

#: Fitted by ``python -m trainer.lab fit``; docs/accuracy.md tells how and how well.
SHIPPED: Final = Path(__file__).resolve().parent / "data" / "estimator.npz"


@lru_cache(maxsize=1)
def shipped() -> Estimator:
    """Return the estimator that comes with the program, read once."""
    return load(SHIPPED)[0]


def load(path: Path) -> tuple[Estimator, dict[str, Any]]:
    """Return an estimator and the notes kept with it. Raises TrainerError for a bad file."""
    try:
        with np.load(path, allow_pickle=False) as data:
            about: dict[str, Any] = json.loads(str(data["about"]))
            estimator = Estimator(
                name=str(about["name"]),
                mean=data["mean"].astype(np.float64),
                scale=data["scale"].astype(np.float64),
                centres=data["centres"].astype(np.float64),
                width=float(data["width"]),
                weights=data["weights"].astype(np.float64),
                offset=data["offset"].astype(np.float64),
            )
    except (OSError, KeyError, ValueError) as error:
        raise TrainerError(
            f"the coefficients {path} could not be read ({error}). The file that comes with the "
            "program was wanted. Install the program again."
        ) from None
    return estimator, about
