"""The lenses that were calibrated: one small TOML file a camera and picture size."""

from __future__ import annotations

import datetime
import hashlib
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

from trainer.core.lens import Lens, is_same_aspect, scaled
from trainer.errors import LensError
from trainer.kept_file import DamagedError, checked_number, date, kept_dir, number, read_kept
from trainer.kept_file import write_kept as _write_kept

SCHEMA: Final = 1
_BIG: Final = 1e6
_KEYS: Final = {
    "schema", "camera", "date", "size_wh", "focal_px", "centre_px", "distortion", "error_px",
    "focal_se_px", "views",
}  # fmt: skip
_HEAD: Final = (
    "# A camera's lens, worked out from views of the calibration sheet. It may be read or\n"
    "# deleted by hand; what each line means: docs/how-to/calibrate.md.\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LensRecord:
    """A calibrated lens, and where it comes from."""

    camera: str  #: the name of the picture source, or the one given with --name
    date: datetime.date
    lens: Lens
    error_px: float  #: root mean square reprojection error
    focal_se_px: float  #: one standard error of the focal length
    views: int


def lens_dir() -> Path:
    """Return the folder of the lenses, inside the one for all that is kept."""
    return kept_dir() / "lenses"


def lens_path(camera: str, size_wh: tuple[int, int], folder: Path | None = None) -> Path:
    """Return the file of a camera at a size.

    Names that differ only in what a file's name cannot hold are told apart by a short check sum.
    """
    plain = re.sub(r"[^a-z0-9]+", "-", camera.casefold()).strip("-")[:40] or "camera"
    told = hashlib.sha256(camera.encode("utf-8")).hexdigest()[:6]
    return (lens_dir() if folder is None else folder) / (
        f"lens-{plain}-{told}-{size_wh[0]}x{size_wh[1]}.toml"
    )


def save(record: LensRecord, folder: Path | None = None) -> Path:
    """Write the record and return its file. Raises LensError when it cannot be written."""
    path = lens_path(record.camera, record.lens.size_wh, folder)
    lens = record.lens
    values: dict[str, Any] = {
        "schema": SCHEMA,
        "camera": record.camera,
        "date": record.date,
        "size_wh": list(lens.size_wh),
        "focal_px": [round(v, 4) for v in lens.focal_px],
        "centre_px": [round(v, 4) for v in lens.centre_px],
        "distortion": [round(v, 8) for v in lens.distortion],
        "error_px": round(record.error_px, 4),
        "focal_se_px": round(record.focal_se_px, 4),
        "views": record.views,
    }
    _write_kept(path, _HEAD, values, what=f"the lens of {record.camera}", error_class=LensError)
    return path


def load(
    camera: str, size_wh: tuple[int, int], folder: Path | None = None
) -> tuple[LensRecord | None, str]:
    """Return the lens of the camera at exactly this size, and words about what went wrong.

    None without one. A damaged file is set aside. Raises LensError when the file is there but
    cannot be read or set aside.
    """
    path = lens_path(camera, size_wh, folder)

    def understand(values: dict[str, Any]) -> LensRecord:
        record = _from_values(values)
        if record.camera != camera or record.lens.size_wh != size_wh:
            raise DamagedError("camera or size_wh is another than the file's name says")
        return record

    return read_kept(path, understand, what=f"The lens of {camera}", error_class=LensError)


def sizes(camera: str, folder: Path | None = None) -> tuple[tuple[int, int], ...]:
    """Return the picture sizes for which a lens of the camera is kept, the largest first."""
    exact = lens_path(camera, (1, 1), folder)
    stem = exact.name.removesuffix("1x1.toml")
    found = []
    for path in exact.parent.glob(f"{stem}*.toml"):
        size = re.fullmatch(r"(\d+)x(\d+)\.toml", path.name[len(stem) :])
        if size and min(int(size[1]), int(size[2])) > 0:
            found.append((int(size[1]), int(size[2])))
    return tuple(sorted(found, reverse=True))


def cameras(folder: Path | None = None) -> tuple[str, ...]:
    """Return the names of the cameras whose lens is kept, in order; damaged files are left out."""
    names = set()
    for path in (lens_dir() if folder is None else folder).glob("lens-*.toml"):
        try:
            values = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(values.get("camera"), str):
            names.add(values["camera"])
    return tuple(sorted(names))


def find(
    camera: str, size_wh: tuple[int, int], folder: Path | None = None
) -> tuple[Lens | None, str]:
    """Return the camera's lens for pictures of this size, and words about what went wrong.

    Where it was calibrated at another size of the same aspect, the largest of those is scaled.
    None where nothing of use is kept.
    """
    record, trouble = load(camera, size_wh, folder)
    if record is not None:
        return record.lens, trouble
    for other in sizes(camera, folder):
        if is_same_aspect(other, size_wh):
            record, words = load(camera, other, folder)
            trouble = trouble or words
            if record is not None:
                return scaled(record.lens, size_wh), trouble
    return None, trouble


def _from_values(values: dict[str, Any]) -> LensRecord:
    unknown = sorted(set(values) - _KEYS)
    if unknown:
        raise DamagedError(f"the unknown key {unknown[0]!r}")
    if values.get("schema") != SCHEMA:
        raise DamagedError(f"schema is {values.get('schema')!r}, not {SCHEMA}")
    camera = values.get("camera")
    if not isinstance(camera, str):
        raise DamagedError(f"camera is {camera!r}, not a text")
    width, height = _numbers(values, "size_wh", 2, 1.0, _BIG)
    fx, fy = _numbers(values, "focal_px", 2, 1.0, _BIG)
    cx, cy = _numbers(values, "centre_px", 2, -_BIG, _BIG)
    k1, k2, p1, p2, k3 = _numbers(values, "distortion", 5, -_BIG, _BIG)
    return LensRecord(
        camera=camera,
        date=date(values),
        lens=Lens(
            size_wh=(int(width), int(height)),
            focal_px=(fx, fy),
            centre_px=(cx, cy),
            distortion=(k1, k2, p1, p2, k3),
        ),
        error_px=number(values, "error_px", 0.0, _BIG),
        focal_se_px=number(values, "focal_se_px", 0.0, _BIG),
        views=int(number(values, "views", 1.0, _BIG)),
    )


def _numbers(
    values: dict[str, Any], name: str, count: int, low: float, high: float
) -> tuple[float, ...]:
    found = values.get(name)
    if not isinstance(found, list) or len(found) != count:
        raise DamagedError(f"{name} is {found!r}, not {count} numbers in brackets")
    return tuple(checked_number(value, name, low, high) for value in found)
