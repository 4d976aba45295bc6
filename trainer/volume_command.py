"""The command ``trainer volume``."""

from __future__ import annotations

import argparse
from collections.abc import Callable


def add_volume(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], say: Callable[[str], None]
) -> argparse.ArgumentParser:
    """Add the command; ``say`` prints a line."""
    parser = commands.add_parser("volume", help="play the tones at the level that is set")
    parser.add_argument("--sound", choices=("auto", "pygame", "simpleaudio"), help="default: auto")
    parser.set_defaults(run=lambda args: _run(args, say))
    return parser


def _run(args: argparse.Namespace, say: Callable[[str], None]) -> int:
    from trainer.adapters.sound import open_sounder
    from trainer.resources import resource_dir
    from trainer.settings import load
    from trainer.volume import run_volume

    settings = load(args.settings)
    choice = settings.sound if args.sound is None else args.sound
    sounder = open_sounder(choice, resource_dir("sounds"), settings.level_db)  # type: ignore[arg-type]
    try:
        return 0 if run_volume(sounder, say) else 1
    finally:
        sounder.close()
