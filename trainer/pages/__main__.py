"""``python -m trainer.pages --out DIR``: photographs every page of the window into DIR."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from trainer.adapters.photograph import photograph
from trainer.pages.shots import SHOTS


def main(argv: Sequence[str] | None = None) -> int:
    """Write the photographs; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m trainer.pages", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    parser.add_argument("--only", nargs="+", choices=list(SHOTS), metavar="PAGE")
    args = parser.parse_args(argv)
    for name in args.only or SHOTS:
        shot, path = SHOTS[name], args.out / f"{name}.png"
        photograph(shot.make(), path, page=shot.page, stale=shot.stale, focus=shot.focus)
        sys.stdout.write(f"{path}  {path.stat().st_size / 1000:.0f} kB\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
