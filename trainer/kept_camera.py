"""The camera that was chosen on this machine: one small TOML file."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from trainer.errors import CameraError
from trainer.kept_file import DamagedError, kept_dir, read_kept, write_kept

SCHEMA: Final = 1
_HEAD: Final = (
    "# The camera that Backswing mirror takes when none is named. It may be changed or deleted\n"
    "# by hand; docs/how-to/place-the-camera.md.\n"
)
_WHAT: Final = "the choice of the camera"


def camera_path(folder: Path | None = None) -> Path:
    """Return the file, inside the folder for all that is kept."""
    return (kept_dir() if folder is None else folder) / "camera.toml"


def load(folder: Path | None = None) -> tuple[str | None, str]:
    """Return the kept camera's number or address, and words about what went wrong.

    None without one. A damaged file is set aside. Raises CameraError when the file is there but
    cannot be read or set aside.
    """

    def understand(values: dict[str, Any]) -> str:
        source = values.get("source")
        if values.get("schema") != SCHEMA or not isinstance(source, str) or not source:
            raise DamagedError(f"source is {source!r}, not a camera's number or address in quotes")
        return source

    return read_kept(
        camera_path(folder),
        understand,
        what=_WHAT,
        error_class=CameraError,
        then="the first camera found is taken",
    )


def save(source: str, folder: Path | None = None) -> None:
    """Keep the camera. Raises CameraError when the file cannot be written."""
    values = {"schema": SCHEMA, "source": source}
    write_kept(camera_path(folder), _HEAD, values, what=_WHAT, error_class=CameraError)
