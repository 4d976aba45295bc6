"""The options that several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path

from trainer.core.practice_rules import CueSchedule, PracticeKind, TurnOf


def camera_options(
    parser: argparse.ArgumentParser, within: argparse._ActionsContainer | None = None
) -> None:
    """Add which camera to use, and how its picture is treated."""
    (within or parser).add_argument(
        "--camera",
        metavar="N|URL|FILE",
        help="camera number, network camera address or video file (default: first camera found)",
    )
    picture_options(parser)


def picture_options(parser: argparse.ArgumentParser) -> None:
    """Add how a picture is treated."""
    parser.add_argument(
        "--rotate", type=int, choices=(0, 90, 180, 270), help="turn the picture clockwise"
    )
    parser.add_argument(
        "--mirrored", action="store_true", help="the source already mirrors its picture"
    )
    parser.add_argument(
        "--recorded-fps", type=float, metavar="F", help="rate a slow-motion clip was recorded at"
    )


def player_options(parser: argparse.ArgumentParser) -> None:
    """Add who is practising."""
    parser.add_argument("--player", metavar="NAME", help="whose record is used and kept")
    parser.add_argument(
        "--handed", choices=("left", "right"), help="default: as in the record, else right"
    )
    parser.add_argument("--stature-cm", type=float, metavar="H", help="body height; sets the scale")


def tolerance_options(parser: argparse.ArgumentParser) -> None:
    """Add targets and tolerances."""
    parser.add_argument(
        "--comfort-deg", type=float, metavar="M", help="comfortable maximum of the turn"
    )
    parser.add_argument("--target-deg", type=float, metavar="T", help="shoulder turn (default 85)")
    parser.add_argument(
        "--confidence",
        metavar="C",
        help="how sure before it sounds: even-odds (default), likely, surely, or 50 to 99 per cent",
    )
    parser.add_argument("--head-tol-cm", type=float, metavar="X", help="head drift (default 5)")
    parser.add_argument("--hip-tol-cm", type=float, metavar="Y", help="hip drift (default 4)")


def practice_options(parser: argparse.ArgumentParser) -> None:
    """Add what is practised and how it is told."""
    parser.add_argument(
        "--practice", choices=[kind.value for kind in PracticeKind], help="default: free"
    )
    parser.add_argument(
        "--cues", choices=[cues.value for cues in CueSchedule], help="which reps are told"
    )
    parser.add_argument(
        "--guess-first", action="store_true", help="say how far it was before the figure shows"
    )


def tag_options(parser: argparse.ArgumentParser) -> None:
    """Add whether printed tags are worn, how large they are, and the lens they are seen by."""
    parser.add_argument("--tags", action="store_true", help="printed tags are worn: read them")
    parser.add_argument(
        "--tag-size-mm", type=float, metavar="S", help="black square's side (default: as kept)"
    )
    parser.add_argument("--lens", metavar="NAME", help="name of the calibrated camera")
    parser.add_argument(
        "--field-of-view-deg", type=float, metavar="A", help="of a camera not calibrated"
    )
    parser.add_argument(
        "--camera-tilt-deg", type=float, metavar="A", help="how far it looks down (default: level)"
    )
    parser.add_argument(
        "--turn-of", choices=[of.value for of in TurnOf], help="what the target is about"
    )


def live_options(parser: argparse.ArgumentParser) -> None:
    """Add what is kept and written of a practice, and whether the first run is gone through."""
    parser.add_argument(
        "--no-keep", action="store_true", help="keep nothing: no rep, no change of the record"
    )
    parser.add_argument(
        "--film", action="store_true", help="keep pictures round each rep too (no sound)"
    )
    parser.add_argument("--record", type=Path, metavar="TRACE", help="write the poses to this file")
    first = parser.add_mutually_exclusive_group()
    first.add_argument(
        "--first-run",
        action="store_true",
        default=None,
        help="choose the camera and say who you are once more (F3 in the mirror)",
    )
    first.add_argument(
        "--skip-first-run",
        action="store_false",
        dest="first_run",
        help="begin with the mirror, also the first time",
    )


def stage_options(parser: argparse.ArgumentParser) -> None:
    """Add sound and screen."""
    parser.add_argument(
        "--sound", choices=("auto", "pygame", "simpleaudio", "off"), help="default: auto"
    )
    parser.add_argument("--screen", choices=("auto", "window", "none"), default="auto")
    parser.add_argument("--large-text", action="store_true", help="larger letters and figures")
    parser.add_argument(
        "--no-figures", action="store_true", help="tones only: no figure, bar or verdict shown"
    )


def measure_options(parser: argparse.ArgumentParser) -> None:
    """Add the clips to be measured, where to, and how many at once."""
    parser.add_argument("clips", nargs="+", type=Path, metavar="CLIP", help="a file or a folder")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="clips at once")
    parser.add_argument("--engine", metavar="ADDRESS", help="a Dask scheduler whose workers do it")
    parser.add_argument("--resume", action="store_true", help="leave out clips measured before")
    parser.add_argument("--keep", action="store_true", help="keep the reps as the player's")
