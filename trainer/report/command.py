"""The command `trainer report`: its options, and what it does."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any


def add_report(commands: Any, say: Callable[[str], None]) -> argparse.ArgumentParser:  # noqa: ANN401 -- argparse keeps the type of its groups to itself
    """Add the command to ``commands``; ``say`` takes its lines."""
    report: argparse.ArgumentParser = commands.add_parser(
        "report", help="make a page about a session, to show or print"
    )
    report.add_argument("--player", metavar="NAME", help="whose sessions")
    report.add_argument(
        "--session",
        default="last",
        metavar="last|N|FROM..TO",
        help="N counts from the player's first; FROM and TO are such numbers, or days (2026-05-31)",
    )
    report.add_argument("--against", metavar="N", help="another session to compare with")
    report.add_argument(
        "--without-pictures", action="store_true", help="no picture of a rep that was filmed"
    )
    report.add_argument("--out", type=Path, required=True, metavar="FILE.html")
    report.add_argument("--open", action="store_true", help="show it in the browser when done")
    report.set_defaults(run=lambda args: _run(args, say))
    return report


def _run(args: argparse.Namespace, say: Callable[[str], None]) -> int:
    from trainer.players import DEFAULT_NAME
    from trainer.report.write import show, write_report
    from trainer.settings import load, player_name

    named = args.player
    name = load(args.settings).player if named is None else player_name(named, "--player")
    path = write_report(
        args.out,
        name or DEFAULT_NAME,
        args.session,
        against=args.against,
        pictures=not args.without_pictures,
    )
    say(f"Written: {path}")
    if args.open and not show(path):
        say("No browser could be opened here; open that file by hand.")
    return 0
