"""Arguments and exit codes; commands about kept reps: ``store.commands``, ``report.command``.

Exit code 0: done. 1: something went wrong, said in one message. 2: the words of the command
were off. 130: stopped with Ctrl-C.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from trainer import __version__
from trainer.caution import CAUTION_LINES, CAUTION_TITLE
from trainer.cli_options import (
    camera_options,
    live_options,
    measure_options,
    picture_options,
    player_options,
    practice_options,
    stage_options,
    tag_options,
    tolerance_options,
)
from trainer.compare_command import add_compare
from trainer.core.counted import counted
from trainer.core.practice_rules import PracticeRules
from trainer.errors import SettingsError, TrainerError
from trainer.report.command import add_report
from trainer.store.commands import add_commands
from trainer.volume_command import add_volume

if TYPE_CHECKING:
    from trainer.core.records import Step
    from trainer.core.rules import Rules
    from trainer.keeping import Keeper
    from trainer.settings import Settings


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code."""
    args = _parser().parse_args(argv)
    try:
        code: int = args.run(args)
    except TrainerError as error:
        if args.debug:
            raise
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        if args.debug:
            raise
        print("Stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our text went away (a pager was closed); that is no fault of ours.
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="trainer",
        description="A live mirror for the golf driver backswing, seen face-on by one camera.",
        epilog="Every command has its own --help. The caution: docs/safety.md.",
    )
    parser.add_argument("--version", action="version", version=f"trainer {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    live = commands.add_parser("live", help="the mirror, on a camera")
    camera_options(live)
    player_options(live)
    tolerance_options(live)
    practice_options(live)
    tag_options(live)
    stage_options(live)
    live_options(live)
    live.set_defaults(run=_live)

    demo = commands.add_parser("demo", help="the mirror, on the clips that come with it")
    tolerance_options(demo)
    practice_options(demo)
    stage_options(demo)
    demo.add_argument("--save", type=Path, metavar="DIR", help="write pictures and sound there")
    demo.set_defaults(run=_demo)

    measure = commands.add_parser("measure", help="measure video files")
    measure_options(measure)
    player_options(measure)
    tolerance_options(measure)
    picture_options(measure)
    tag_options(measure)
    measure.set_defaults(run=_measure)

    report = add_report(commands, _say)
    compare = add_compare(commands, _say)

    replay = commands.add_parser("replay", help="play a trace written by live --record")
    replay.add_argument("trace", type=Path, metavar="TRACE")
    replay.set_defaults(run=_replay)

    players = commands.add_parser("players", help="list the players with a record")
    players.set_defaults(run=_players)

    tags = commands.add_parser("tags", help="make a PDF of tags to print and wear")
    tags.add_argument("--out", type=Path, metavar="FILE.pdf", help="where to write the sheets")
    tags.add_argument("--size-cm", type=float, metavar="S", help="8 to 16 (default 12)")
    tags.add_argument("--paper", choices=("a4", "letter"), default="a4")
    tags.add_argument(
        "--printed-ruler-mm", type=float, metavar="L", help="what the printed 100 mm bar measures"
    )
    tags.set_defaults(run=_tags)

    calibrate = commands.add_parser("calibrate", help="work out a camera's lens from a sheet")
    kind = calibrate.add_mutually_exclusive_group(required=True)
    kind.add_argument("--sheet", type=Path, metavar="FILE.pdf", help="write the sheet to print")
    kind.add_argument("--pictures", type=Path, metavar="DIR|CLIP", help="views taken before")
    camera_options(calibrate, within=kind)
    calibrate.add_argument("--paper", choices=("a4", "letter"), default="a4")
    calibrate.add_argument("--name", help="what to call the camera (default: the source's name)")
    calibrate.set_defaults(run=_calibrate)

    doctor = commands.add_parser("doctor", help="say what is here, and what to do about the rest")
    camera_options(doctor)
    doctor.set_defaults(run=_doctor)

    kept = (*add_commands(commands, _say), add_volume(commands, _say))

    for command in commands.choices.values():
        command.add_argument("--settings", type=Path, metavar="FILE", help="a TOML settings file")
        command.add_argument("--debug", action="store_true", help="show the whole of an error")
        if command not in (report, compare, replay, players, tags, calibrate, *kept):
            command.add_argument(
                "--model", type=Path, metavar="FILE", help="another PoseLandmarker .task file"
            )
    return parser


def _settings(args: argparse.Namespace, read: Settings | None = None) -> Settings:
    """Return the settings with the options over them; ``read`` in place of the file's."""
    from trainer.settings import load, with_options, with_tag_options
    from trainer.settings_pictures import with_picture_options

    settings = with_options(
        load(args.settings) if read is None else read,
        handed=getattr(args, "handed", None),
        stature_cm=getattr(args, "stature_cm", None),
        target_deg=getattr(args, "target_deg", None),
        head_tol_cm=getattr(args, "head_tol_cm", None),
        hip_tol_cm=getattr(args, "hip_tol_cm", None),
        turn_confidence=getattr(args, "confidence", None),
        comfort_deg=getattr(args, "comfort_deg", None),
        practice=getattr(args, "practice", None),
        cue_schedule=getattr(args, "cues", None),
        guess_first=getattr(args, "guess_first", False),
        turn_of=getattr(args, "turn_of", None),
        large_text=getattr(args, "large_text", False),
        no_figures=getattr(args, "no_figures", False),
    )
    camera = settings.camera
    if getattr(args, "camera", None) is not None:
        camera = replace(camera, source=args.camera)
    if getattr(args, "rotate", None) is not None:
        camera = replace(camera, rotate=args.rotate)
    if getattr(args, "mirrored", False):
        camera = replace(camera, mirrored=True)
    recorded_fps = getattr(args, "recorded_fps", None)
    if recorded_fps is not None:
        if not 1.0 <= recorded_fps <= 2000.0:
            raise SettingsError(
                f"--recorded-fps is {recorded_fps:g}. Pictures a second, 1 to 2000, were wanted. "
                "Give what the camera was set to, such as 240."
            )
        camera = replace(camera, recorded_fps=recorded_fps)
    if getattr(args, "no_keep", False):
        settings = replace(settings, keep=False)
    settings = with_picture_options(settings, film=getattr(args, "film", False))
    if getattr(args, "sound", None) is not None:
        settings = replace(settings, sound=args.sound)
    tags = with_tag_options(
        settings.tags,
        worn=getattr(args, "tags", False),
        size_mm=getattr(args, "tag_size_mm", None),
        lens=getattr(args, "lens", None),
        field_of_view_deg=getattr(args, "field_of_view_deg", None),
        tilt_deg=getattr(args, "camera_tilt_deg", None),
    )
    return replace(settings, camera=camera, tags=tags)


def _player(args: argparse.Namespace, default: str | None) -> tuple[Settings, Keeper | None]:
    """Return the settings file with the player's record over it, and what keeps that record."""
    from trainer.keeping import open_keeper
    from trainer.settings import load, player_name
    from trainer.words import player_line

    settings = load(args.settings)
    name = settings.player if args.player is None else player_name(args.player, "--player")
    name = default if name is None else name
    if name is None:
        return settings, None
    read_only = getattr(args, "no_keep", False) or not settings.keep
    settings, keeper = open_keeper(name, settings, read_only=read_only)
    if keeper.trouble:
        print(keeper.trouble, file=sys.stderr)
    _say(player_line(name, settings.rules))
    return settings, keeper


def _say(line: str) -> None:
    print(line, flush=True)


def _live(args: argparse.Namespace) -> int:
    from trainer.live import stage_for
    from trainer.live_runs import run_guided
    from trainer.players import DEFAULT_NAME
    from trainer.words import sittings_lines

    read, keeper = _player(args, DEFAULT_NAME)
    settings = _settings(args, read)
    if settings.show_caution:
        _print_caution()
    with stage_for(settings, args.screen, _say) as stage:
        result = run_guided(
            settings,
            stage=stage,
            model=args.model,
            record=args.record,
            say=_say,
            keeper=keeper,
            first=args.first_run,
            settings_file=args.settings,
        )
    for line in sittings_lines(result.sittings, each_rep=stage.screen.name != "no screen"):
        _say(line)
    for trouble in {k.trouble for one in result.sittings if (k := one.keeper) and k.trouble}:
        print(trouble, file=sys.stderr)
    _say(f"{counted(sum(rep.complete for rep in result.reps), 'rep')}.")
    return 0


def _demo(args: argparse.Namespace) -> int:
    from trainer.live import run_demo, stage_for

    settings = _settings(args)
    if settings.show_caution:
        _print_caution()
    with stage_for(settings, args.screen, _say) as stage:
        reps = run_demo(settings, stage=stage, model=args.model, save=args.save, say=_say)
    _say(f"{counted(reps, 'rep')}. Now before your own camera: trainer live")
    return 0


def _measure(args: argparse.Namespace) -> int:
    from trainer.measure_many import measure_clips

    # Unasked, nothing that is kept of anybody may change what a clip measures.
    read, keeper = _player(args, None)
    settings = _settings(args, read)
    if args.keep and keeper is None:
        raise SettingsError(
            "--keep was given and no player. A player whose reps they are was wanted. "
            "Give --player NAME."
        )
    if args.jobs < 1:
        raise SettingsError(
            f"--jobs is {args.jobs}. One or more clips at once were wanted. Give --jobs 1."
        )
    camera = settings.camera
    failed = measure_clips(
        args.clips,
        args.out,
        replace(settings.rules, practice=PracticeRules()),  # a clip is measured, not practised
        model=args.model,
        jobs=args.jobs,
        rotate=camera.rotate,
        mirrored=camera.mirrored,
        recorded_fps=camera.recorded_fps,
        resume=args.resume,
        engine=args.engine,
        player=keeper.record.name if args.keep and keeper is not None else None,
        tags=settings.tags,
        say=_say,
    )
    for error in failed:
        print(error, file=sys.stderr)
    return 1 if failed else 0


def _replay(args: argparse.Namespace) -> int:
    from trainer.replay import replay
    from trainer.words import rep_line, step_lines

    seen: set[str] = set()

    def on_step(step: Step, rules: Rules) -> None:
        for line in step_lines(step, rules, seen_notices=seen):
            _say(line)

    result = replay(args.trace, on_step)
    for rep in result.reps:
        if not rep.complete:
            _say(rep_line(rep, result.rules))
    complete = sum(rep.complete for rep in result.reps)
    _say(f"{counted(result.readings, 'reading')}, {counted(complete, 'rep')}.")
    if not result.whole:
        _say(f"The trace is not whole ({result.cut}); what is whole was played.")
    if result.first_difference_s is not None:
        print(
            f"The result differs from the recorded one from {result.first_difference_s:.3f} s on. "
            "The same result was wanted; the trace was recorded by another version.",
            file=sys.stderr,
        )
        return 1
    _say("Same result as when it was recorded, to the last bit.")
    return 0


def _players(args: argparse.Namespace) -> int:
    from trainer.roster import players_lines

    lines, troubles = players_lines()
    for line in lines:
        _say(line)
    for trouble in troubles:
        print(trouble, file=sys.stderr)
    return 1 if troubles else 0


def _tags(args: argparse.Namespace) -> int:
    from trainer.tag_sheets import make_tags

    make_tags(
        args.out,
        size_cm=args.size_cm,
        paper=args.paper,
        ruler_mm=args.printed_ruler_mm,
        today=datetime.date.today(),
        say=_say,
    )
    return 0


def _calibrate(args: argparse.Namespace) -> int:
    from trainer.calibrate import run_calibrate
    from trainer.tag_sheets import write_board_sheet

    if args.sheet is not None:
        write_board_sheet(args.sheet, paper=args.paper)
        _say(f"Written: {args.sheet}. Print it at 100 % and glue it on something flat and stiff.")
        return 0
    run_calibrate(
        _settings(args).camera,
        pictures=args.pictures,
        name=args.name,
        today=datetime.date.today(),
        say=_say,
    )
    return 0


def _doctor(args: argparse.Namespace) -> int:
    from trainer.doctor import Finding, can_run, findings

    settings = _settings(args)
    found: list[Finding] = []
    for finding in findings(camera=settings.camera, model=args.model):
        found.append(finding)
        mark = "ok     " if finding.ok else "MISSING" if finding.needed else "note   "
        _say(f"{mark} {finding.what}: {finding.text}")
        if finding.remedy:
            _say(f"        -> {finding.remedy}")
    ready = can_run(found)
    _say("The live mirror can run." if ready else "The live mirror cannot run yet: see MISSING.")
    return 0 if ready else 1


def _print_caution() -> None:
    _say(f"{CAUTION_TITLE}:")
    for line in CAUTION_LINES:
        _say(f"  - {line}")
