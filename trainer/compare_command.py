"""The command `trainer compare`: its options, and what it does."""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any


def add_compare(commands: Any, say: Callable[[str], None]) -> argparse.ArgumentParser:  # noqa: ANN401 -- argparse keeps the type of its groups to itself
    """Add the command to ``commands``; ``say`` takes its lines."""
    compare: argparse.ArgumentParser = commands.add_parser(
        "compare", help="score printed tags against the camera alone"
    )
    compare.add_argument("files", nargs="+", type=Path, metavar="FILE", help="trace or JSON")
    compare.add_argument("--out", type=Path, required=True, metavar="DIR")
    compare.add_argument("--player", metavar="NAME", help="whose session it was")
    compare.add_argument("--camera", metavar="NAME", help="what the mirror calls the clips' camera")
    compare.add_argument(
        "--export", type=Path, metavar="FILE.npz", help="agree to share body points and tags"
    )
    compare.set_defaults(run=lambda args: _run(args, say))
    return compare


def _run(args: argparse.Namespace, say: Callable[[str], None]) -> int:
    from trainer.compare import run_compare
    from trainer.keeping import open_keeper
    from trainer.players import DEFAULT_NAME
    from trainer.settings import load, player_name

    settings, named = load(args.settings), args.player
    name = settings.player if named is None else player_name(named, "--player")
    keeper = None
    if settings.keep:
        keeper = open_keeper(name or DEFAULT_NAME, settings)[1]
        if keeper.trouble:
            say(keeper.trouble)
    run_compare(
        args.files,
        args.out,
        camera=args.camera,
        export=args.export,
        keeper=keeper,
        today=datetime.date.today(),
        say=say,
    )
    if keeper is None:
        say("Not kept with a player's record: the settings say keep = false.")
    elif keeper.trouble:
        say(keeper.trouble)
        return 1
    return 0
