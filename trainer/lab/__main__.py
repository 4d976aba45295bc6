"""``python -m trainer.lab``: rendered players with known truth, for demos, tests and the fit."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from functools import partial
from pathlib import Path

from trainer.lab import accuracy, place, rods_scores, signs, study, tagged, walked
from trainer.lab.cards import Worn
from trainer.lab.scenarios import SCENARIOS, Clip, adjusted
from trainer.lab.session_clips import SESSIONS

EXIT_OK, EXIT_USAGE, EXIT_NO_LAB = 0, 2, 3


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    options = _parser().parse_args(argv)
    if options.command in ("fit", "place", "signs", "trunk", "walked"):
        return int(options.run(options))  # needs no renderer
    try:
        import anny  # noqa: F401
        import av  # noqa: F401
        import vtk  # noqa: F401
    except ImportError as error:
        print(
            f"The lab needs packages that are not installed ({error.name}). Wanted: the lab extra. "
            "Try: pip install 'backswing-mirror[lab]'",
            file=sys.stderr,
        )
        return EXIT_NO_LAB
    if options.command in ("films", "sheet", "accuracy", "tagged", "rods"):
        return int(options.run(options))
    names = [options.scenario] if options.scenario != "all" else list(SCENARIOS)
    clips = [_clip(name, options.seed, options) for name in names]
    return _render_all(clips, options)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m trainer.lab", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    study.add_commands(commands)
    accuracy.add_command(commands)
    place.add_command(commands)
    rods_scores.add_command(commands)
    signs.add_command(commands)
    tagged.add_command(commands)
    walked.add_command(commands)
    render = commands.add_parser("render", help="render clips with their truth files")
    render.add_argument("--out", type=Path, required=True, metavar="DIR")
    render.add_argument(
        "--scenario",
        choices=[*SCENARIOS, *SESSIONS, "all"],
        default="full-turn-right",
        metavar="NAME",
        help=(
            f"one of: {', '.join(SCENARIOS)}, all; or a whole session, whose swings stay as they "
            f"are: {', '.join(SESSIONS)}"
        ),
    )
    render.add_argument("--name", help="name of the files, without ending (one scenario only)")
    render.add_argument("--handed", choices=["left", "right"], help="play the scenario so handed")
    render.add_argument("--seed", type=int, default=1)
    render.add_argument("--size", type=_size, metavar="WxH", help="default 1280x720")
    render.add_argument("--fps", type=float, default=30.0)
    render.add_argument("--jobs", type=int, default=1, metavar="N", help="clips rendered at once")
    render.add_argument("--again", action="store_true", help="render clips that are already there")
    render.add_argument("--tags", action="store_true", help="let the player wear printed tags")
    render.add_argument("--print-scale", type=float, metavar="SHARE", help="of the tags: 0.96")
    render.add_argument(
        "--upside-down", type=int, nargs="+", default=(), metavar="NUMBER", help="tags worn so"
    )
    for name, unit, what in (
        ("shoulder-turn", "deg", "shoulder turn at the top"),
        ("hip-turn", "deg", "hip turn at the top"),
        ("head-drift", "cm", "head sideways at the top, + away from the target"),
        ("hip-drift", "cm", "hips sideways at the top, + away from the target"),
        ("lead-bend", "deg", "bend of the lead elbow at the top"),
        ("backswing", "s", "length of the backswing"),
        ("hold", "s", "pause at the top"),
        ("stature", "cm", "height of the player"),
        ("distance", "m", "camera to stance"),
        ("lens-height", "m", "camera above the floor"),
        ("yaw", "deg", "camera walked round the player"),
        ("pitch", "deg", "camera tipped down"),
        ("roll", "deg", "camera turned clockwise"),
    ):
        render.add_argument(f"--{name}", type=float, metavar=unit.upper(), help=f"{what} ({unit})")
    return parser


def _size(text: str) -> tuple[int, int]:
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not like 1280x720") from None
    if width < 64 or height < 64 or width % 2 or height % 2:
        raise argparse.ArgumentTypeError("width and height must be even and 64 or more")
    return width, height


def _clip(name: str, seed: int, options: argparse.Namespace) -> Clip:
    swing = {
        "shoulder_turn_deg": options.shoulder_turn,
        "hip_turn_deg": options.hip_turn,
        "head_drift_cm": options.head_drift,
        "hip_drift_cm": options.hip_drift,
        "lead_bend_deg": options.lead_bend,
        "backswing_s": options.backswing,
        "hold_s": options.hold,
    }
    camera = {
        "size_wh": options.size,
        "distance_m": options.distance,
        "height_m": options.lens_height,
        "yaw_deg": options.yaw,
        "pitch_deg": options.pitch,
        "roll_deg": options.roll,
    }
    asked = {key: value for key, value in swing.items() if value is not None}
    if name in SESSIONS:
        clip = SESSIONS[name](seed, options.fps)
    else:
        clip = adjusted(SCENARIOS[name], seed, options.fps, asked)
    seen = {key: value for key, value in camera.items() if value is not None}
    clip = replace(clip, camera=replace(clip.camera, **seen))
    if options.handed:
        clip = replace(clip, handed=options.handed)
    if options.stature:
        clip = replace(clip, shape=replace(clip.shape, stature_cm=options.stature))
    if options.tags or options.print_scale or options.upside_down:
        worn = clip.worn or Worn(seed=seed)
        scale = options.print_scale or worn.print_scale
        worn = replace(worn, print_scale=scale, upside_down=tuple(options.upside_down))
        clip = replace(clip, worn=worn)
    if options.name and options.scenario != "all":
        clip = replace(clip, name=options.name)
    return clip


def _render_all(clips: list[Clip], options: argparse.Namespace) -> int:
    from tqdm import tqdm

    from trainer.lab.render import render

    if options.jobs > 1 and len(clips) > 1:
        work = partial(render, out_dir=options.out, seed=options.seed, again=options.again)
        with (
            ProcessPoolExecutor(options.jobs) as pool,
            tqdm(total=len(clips), unit="clip", file=sys.stderr) as bar,
        ):
            for done in as_completed([pool.submit(work, clip) for clip in clips]):
                print(done.result())
                bar.update()
        return EXIT_OK
    for clip in clips:
        with tqdm(total=len(clip.motion.t_s), unit="frame", desc=clip.name, file=sys.stderr) as bar:
            print(render(clip, options.out, options.seed, tick=bar.update, again=options.again))
    return EXIT_OK


if __name__ == "__main__":
    sys.exit(main())
