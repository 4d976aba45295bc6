"""Finds the files that come with the program, in a checkout and in an installed copy."""

from __future__ import annotations

from pathlib import Path

from trainer.errors import TrainerError

_PACKAGE = Path(__file__).resolve().parent


def resource_dir(name: str, *, package: Path = _PACKAGE) -> Path:
    """Return the folder ``name`` ("sounds" or "demo_data") that came with the program.

    An installed copy keeps it inside the package, under ``data``; a checkout keeps it beside
    the package. ``package`` is where the package lies (tests give another place).

    Raises TrainerError when the folder is missing.
    """
    installed = package / "data" / name
    if installed.is_dir():
        return installed
    checkout = package.parent
    # A folder of that name beside an installed package would be somebody else's, so the
    # project's own file has to be there too.
    if (checkout / "pyproject.toml").is_file() and (checkout / name).is_dir():
        return checkout / name
    raise TrainerError(
        f"the folder {name!r} that comes with the program is missing; "
        f"looked for {installed} and {checkout / name}. "
        "Reinstall it: pip install --force-reinstall --no-deps backswing-mirror, "
        "or in a checkout: git checkout -- " + name
    )
