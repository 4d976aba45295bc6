"""Sessions that players gave away (``trainer compare --export``), as rows to fit on besides films.

The tags tell turns of chest and hips, and moves of hips and head; the chest's turn is made a
shoulder line's, with an error of some 4 degrees near the top that is one person's own. What they
do not tell is taken as the estimator in force tells it, so that it teaches nothing new; where the
chest points, side tilt and back are left out, and with them these rows do not bear on what counts
or on the errors told.
"""

from __future__ import annotations

import zipfile
from dataclasses import fields
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.compare_export import LAYOUT, TOLD
from trainer.core import estimate as est
from trainer.core.asked_turn import LINE_PER_CHEST
from trainer.errors import CompareError
from trainer.estimator_file import shipped
from trainer.lab import fit
from trainer.lab.table import Table, person_table

Floats = NDArray[np.float64]

#: A tag's reading less sure than this teaches nothing.
MOST_SE: Final = {"deg": 4.0, "cm": 0.8}
_MOST_BYTES: Final = 1_000_000_000
_MOST_POSES, _MOST_ROWS = 200_000, 4_000
#: Shapes but for the number of pictures, and the largest size there may be.
_POINTS: Final[dict[str, tuple[tuple[int, ...], float]]] = {
    "image_px": ((33, 2), 1e5),
    "depth_px": ((33,), 1e5),
    "world_m": ((33, 3), 100.0),
}


def load(paths: list[Path]) -> Table | None:
    """Return the rows of all exports, each its own person; None for none.

    Raises CompareError for a file that is no whole export, or holds no swing that can be used.
    """
    if not paths:
        return None
    tables = [_one(path, -1 - number) for number, path in enumerate(paths)]
    return _stacked(tables)


def joined(people: Table, more: Table | None) -> Table:
    """Return the rows of both."""
    return people if more is None else _stacked([people, more])


def _stacked(tables: list[Table]) -> Table:
    names = [item.name for item in fields(Table)]
    return Table(*(np.concatenate([getattr(one, name) for one in tables]) for name in names))


def _one(path: Path, person: int) -> Table:
    data = _read(path)
    count = len(data["rep"])
    truth = {name: _sure(data, name) for name in TOLD}
    nothing = np.full(count, np.nan)
    film: dict[str, Any] = {
        "smooth": True,
        "found": np.ones(count, dtype=bool),
        "piece": (~data["still"]).astype(np.int64),
        "kind": np.where(data["still"], "address", "natural"),
        **{name: data[name].astype(np.float64) for name in _POINTS},
        "rows_px": data["ends_px"],
        "trunk_deg": data["trunk_deg"],
        "shoulder_turn_deg": LINE_PER_CHEST * truth["thorax_deg"],
        "hip_turn_deg": truth["hip_deg"],
        "hip_drift_cm": truth["hip_away_cm"],
        "head_lateral_cm": truth["head_away_cm"],
        "head_up_cm": truth["head_up_cm"],
        "chest_pitch_deg": nothing,
        "side_tilt_deg": nothing,
        "back_px": nothing,
        "joints_px": np.full((count, 2, 2), np.nan),
    }
    about: dict[str, Any] = {
        "seed": person,
        "handed": data["handed"],
        "stature_cm": data["stature_cm"],
        "size_wh": data["size_wh"],
        "row_px": data["row_px"],
        "joint_names": np.array(["left_shoulder", "right_shoulder"]),
        "true_cm_per_px": np.nan,
    }
    parts = []
    for rep in np.unique(data["rep"]):
        rows = data["rep"] == rep
        part = person_table(
            {n: v if n == "smooth" else v[rows] for n, v in film.items()} | about,
        )
        if part is not None:
            parts.append(part)
    if not parts:
        raise _refused(path, "no swing in it begins with an address that can be read")
    table = _stacked(parts)
    told = ~np.isnan(table.truth[:, :2]).all(axis=1)
    if not told.any():
        raise _refused(path, "its tags tell no turn")
    return _filled(table.where(told))


def _filled(table: Table) -> Table:
    """Fill what is 0 at setup and was not told with what the estimator in force says."""
    said, _ = fit.read(shipped(), table, est.WITH_TRUNK)
    for column, name in enumerate(est.OUTPUTS):
        missing = np.isnan(table.targets[:, column])
        if name not in est.AS_IT_IS:
            table.targets[missing, column] = said[missing, column]
    return table


def _sure(data: dict[str, Any], name: str) -> Floats:
    values: Floats = data[name].astype(np.float64)
    values[~(data[f"{name}_se"] <= MOST_SE[name.rsplit("_", 1)[1]])] = np.nan
    return values


def _read(path: Path) -> dict[str, Any]:
    """Return the arrays of an export, checked. Raises CompareError."""
    try:
        with zipfile.ZipFile(path) as parts:
            if sum(part.file_size for part in parts.infolist()) > _MOST_BYTES:
                raise ValueError("it is far too large")
        with np.load(path, allow_pickle=False) as held:
            data = {name: held[name] for name in held.files}
        _check(data)
    except OSError as error:
        raise _refused(path, f"it could not be read ({error.strerror or error})") from None
    except (KeyError, TypeError, ValueError, EOFError, MemoryError, zipfile.BadZipFile) as error:
        raise _refused(path, f"it is no whole export ({type(error).__name__}: {error})") from None
    return data


def _check(data: dict[str, Any]) -> None:
    if int(data["layout"]) != LAYOUT:
        raise ValueError(f"layout {int(data['layout'])}, wanted {LAYOUT}")
    if str(data["handed"]) not in ("left", "right"):
        raise ValueError("handed is neither left nor right")
    if not 100.0 <= float(data["stature_cm"]) <= 230.0:
        raise ValueError("no stature of a person")
    count, rows = len(data["rep"]), len(data["row_px"])
    if not 0 < count <= _MOST_POSES or rows > _MOST_ROWS:
        raise ValueError(f"{count} pictures with {rows} rows")
    if data["still"].dtype != np.bool_ or data["rep"].dtype.kind not in "iu":
        raise TypeError("still or rep is of another kind")
    _shaped(data, "size_wh", (2,), 1e5, whole=True)
    for name, (shape, most) in _POINTS.items():
        _shaped(data, name, (count, *shape), most, whole=True)
    for name, more, most in (
        ("rep", (), 1e9),
        ("still", (), 2.0),
        ("ends_px", (rows, 2), 1e5),
        ("trunk_deg", (3,), 360.0),
        *((told, (), 360.0) for told in TOLD),
        *((f"{told}_se", (), 360.0) for told in TOLD),
    ):
        _shaped(data, name, (count, *more), most)
    _shaped(data, "row_px", (rows,), 1e5, whole=True)
    if rows > 1 and not (np.diff(data["row_px"]) > 0).all():
        raise ValueError("row_px does not increase")


def _shaped(
    data: dict[str, Any], name: str, shape: tuple[int, ...], most: float, *, whole: bool = False
) -> None:
    """Raise unless the array is so shaped, of numbers of that size; ``whole``: none missing."""
    values = data[name]
    if values.shape != shape or values.dtype.kind not in "fiub":
        raise ValueError(f"{name} is of shape {values.shape}, {shape} was wanted")
    known = values[~np.isnan(values)] if values.dtype.kind == "f" else values
    if (whole and known.size < values.size) or (known.size and np.abs(known).max() > most):
        raise ValueError(f"{name} holds what can be no reading")


def _refused(path: Path, why: str) -> CompareError:
    return CompareError(
        f"{path} cannot be fitted on: {why}. A file written by trainer compare --export was "
        "wanted. Leave it out, or have it made again."
    )
