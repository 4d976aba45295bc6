"""The estimator's coefficients as a file; the one that comes with the program."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.core.estimate import Estimator, Fitted
from trainer.core.trunk_network import Layer, Network, checked
from trainer.errors import TrainerError

#: Fitted by ``python -m trainer.lab fit``; docs/accuracy.md tells how and how well.
SHIPPED: Final = Path(__file__).resolve().parent / "data" / "estimator.npz"
#: Grows when the file's arrays or the features they belong to change.
LAYOUT: Final = 4


@lru_cache(maxsize=1)
def shipped() -> Fitted:
    """Return the coefficients that come with the program, read once."""
    return load(SHIPPED)[0]


@lru_cache(maxsize=1)
def shipped_print() -> str:
    """Return the beginning of the shipped file's SHA-256: it tells one fit from another."""
    return hashlib.sha256(SHIPPED.read_bytes()).hexdigest()[:16]


def load(path: Path) -> tuple[Fitted, dict[str, Any]]:
    """Return coefficients and the notes kept with them. Raises TrainerError for a bad file."""
    try:
        with np.load(path, allow_pickle=False) as data:
            about: dict[str, Any] = json.loads(str(data["about"]))
            if about.get("layout") != LAYOUT:
                raise ValueError(f"layout {about.get('layout')}, wanted {LAYOUT}")
            fitted = Fitted(
                name=str(about["name"]),
                pose_model=str(about["pose_model"]),
                points=_machine(data, "points"),
                outline=_machine(data, "outline"),
                trunk=_machine(data, "trunk"),
                network=read_network(data),
            )
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise TrainerError(
            f"the coefficients {path} could not be read ({error}). The file that comes with the "
            "program was wanted. Install the program again."
        ) from None
    return fitted, about


def save(fitted: Fitted, path: Path, notes: Mapping[str, Any]) -> None:
    """Write coefficients as one npz, with notes on data, programs and scores.

    Raises ValueError without coefficients for outline and trunk, and what reads the trunk.
    """
    if fitted.outline is None or fitted.trunk is None or fitted.network is None:
        raise ValueError("coefficients for outline and trunk, and the trunk's network, were wanted")
    about = {
        **notes,
        "layout": LAYOUT,
        "name": fitted.name,
        "pose_model": fitted.pose_model,
    }
    arrays: dict[str, Any] = {"about": np.array(json.dumps(about, sort_keys=True))}
    for part, machine in (
        ("points", fitted.points),
        ("outline", fitted.outline),
        ("trunk", fitted.trunk),
    ):
        arrays[f"{part}_outputs"] = np.array(machine.outputs)
        arrays[f"{part}_width"] = np.float64(machine.width)
        arrays[f"{part}_centres"] = machine.centres.astype(np.float16)
        for name in ("mean", "scale", "relevance", "weights", "offset"):
            arrays[f"{part}_{name}"] = getattr(machine, name).astype(np.float32)
    np.savez_compressed(path, **arrays, **network_arrays(fitted.network))


def network_arrays(network: Network) -> dict[str, Any]:
    """Return the trunk's network as named arrays for an npz file."""
    arrays: dict[str, Any] = {
        "network_layers": np.array(
            [(layer.step, layer.margin, layer.rectified) for layer in network], dtype=np.int64
        )
    }
    for number, layer in enumerate(network):
        arrays[f"network_{number}_weights"] = layer.weights.astype(np.float32)
        arrays[f"network_{number}_bias"] = layer.bias.astype(np.float32)
    return arrays


def read_network(data: Mapping[str, Any]) -> Network:
    """Return the network of ``network_arrays``. Raises KeyError or ValueError for a bad one."""
    return checked(
        tuple(
            Layer(
                weights=data[f"network_{number}_weights"],
                bias=data[f"network_{number}_bias"],
                step=int(step),
                margin=int(margin),
                rectified=bool(rectified),
            )
            for number, (step, margin, rectified) in enumerate(data["network_layers"])
        )
    )


def _machine(data: Mapping[str, Any], part: str) -> Estimator:
    def numbers(name: str) -> Any:  # noqa: ANN401 -- an array of the file
        return data[f"{part}_{name}"].astype(np.float64)

    return Estimator(
        outputs=tuple(str(name) for name in data[f"{part}_outputs"]),
        mean=numbers("mean"),
        scale=numbers("scale"),
        relevance=numbers("relevance"),
        centres=data[f"{part}_centres"].astype(np.float32),
        width=float(data[f"{part}_width"]),
        weights=numbers("weights"),
        offset=numbers("offset"),
    )
