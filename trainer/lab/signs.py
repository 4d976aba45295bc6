"""How often a sign by hand is seen where none was given: swings, finishes, waggles, walking."""

from __future__ import annotations

import argparse
from pathlib import Path

from trainer.core import gestures
from trainer.core.gestures import Sign, SignState
from trainer.core.records import Phase
from trainer.lab.exam_poses import load_poses


def add_command(commands: argparse._SubParsersAction) -> None:
    """Add ``signs`` to the lab's commands."""
    signs = commands.add_parser("signs", help="false alarms of the signs by hand on read clips")
    signs.add_argument(
        "--poses", type=Path, nargs="+", required=True, metavar="DIR", help="of *.poses.npz"
    )
    signs.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    """Print alarms as if no phase were known, the longest hold of each sign, and what was read."""
    alarms = dict.fromkeys(Sign, 0)
    longest_s = dict.fromkeys(Sign, 0.0)
    clips, readings, seconds = 0, 0, 0.0
    for path in sorted(path for folder in options.poses for path in folder.glob("*.poses.npz")):
        seen = load_poses(path)
        state = SignState()
        for t_s, pose in zip(seen.t_s, seen.poses, strict=True):
            state, sign = gestures.step(state, t_s, pose, Phase.WAITING, frozenset(Sign))
            if sign is not None:
                alarms[sign] += 1
                print(f"{path.name} {t_s:.2f} s: {sign.value}")
            if state.sign is not None:
                held_s = state.last_s - state.since_s
                longest_s[state.sign] = max(longest_s[state.sign], held_s)
        clips, readings = clips + 1, readings + len(seen.t_s)
        seconds += seen.t_s[-1] - seen.t_s[0]
    print(f"{clips} clips, {readings} readings, {seconds:.0f} s")
    for sign in Sign:
        print(
            f"{sign.value:10} {alarms[sign]} alarms, held {longest_s[sign]:.2f} s at most "
            f"of {gestures.HOLD_S[sign]:.1f} s"
        )
    return 1 if sum(alarms.values()) else 0
