"""Whole sessions as the pose model reads them, kept small: a trace each, its truth beside it.

A trace holds what ``trainer live --record`` would have written of the pictures, but nothing of
what was decided from them: that is for the tests that play it to find.
"""

from __future__ import annotations

import argparse
import json
import lzma
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.core.records import Handed, Measures, Phase, Pose, Step
from trainer.core.rules import Rules
from trainer.core.trace import end_line, header_line, reading_line
from trainer.lab.exam_poses import Seen, load_poses, read_poses
from trainer.settings import rules_to_values

#: Kept of a rep's truth, besides when things happened; all zero at the rep's own setup.
_AT_TOP: Final = ("shoulder_turn_deg", "thorax_turn_deg", "hip_turn_deg", "hip_drift_cm")


def add_command(commands: argparse._SubParsersAction) -> None:
    """Add ``walked`` to the lab's commands."""
    walked = commands.add_parser("walked", help="traces and truth of rendered sessions, for tests")
    walked.add_argument(
        "--clips", type=Path, required=True, metavar="DIR", help="rendered sessions"
    )
    walked.add_argument("--model", type=Path, required=True, metavar="FILE", help="pose model")
    walked.add_argument("--out", type=Path, required=True, metavar="DIR")
    walked.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    options.out.mkdir(parents=True, exist_ok=True)
    for told in sorted(options.clips.glob("*.truth.json")):
        stem = told.name.removesuffix(".truth.json")
        seen = load_poses(read_poses(told.with_name(f"{stem}.mp4"), options.model))
        truth = json.loads(told.read_text(encoding="utf-8"))
        text = "\n".join([*trace_of(seen, truth, options.model.name), ""])
        target = options.out / f"{stem}.trace.xz"
        target.write_bytes(lzma.compress(text.encode("ascii"), preset=9 | lzma.PRESET_EXTREME))
        short = json.dumps(short_truth(truth), indent=1)
        (options.out / f"{stem}.truth.json").write_text(short + "\n", encoding="utf-8")
        print(f"{target}: {len(seen.t_s)} readings, {target.stat().st_size / 1024:.0f} KiB")
    return 0


def trace_of(seen: Seen, truth: Mapping[str, Any], model: str) -> list[str]:
    """Return the lines of a trace of what was seen."""
    rules = Rules(handed=Handed(truth["handed"]), stature_cm=float(truth["stature_cm"]))
    lines = [header_line(rules_to_values(rules), f"rendered {truth['clip']}, {model}")]
    for t_s, pose in zip(seen.t_s, seen.poses, strict=True):
        step = Step(t_s=t_s, pose=None, measures=Measures(t_s=t_s), phase=Phase.NOBODY, reps=0)
        bare = None if pose is None else _short(pose)
        values = json.loads(reading_line(t_s, bare, step, None))
        values["result"] = {}
        lines.append(json.dumps(values, separators=(",", ":")))
    return [*lines, end_line(len(seen.t_s))]


def _short(pose: Pose) -> Pose:
    """Return the pose without its silhouette, on a decimal grid: a third of the size.

    0.1 px and 1 mm are about a quarter of what the model's points jump by from picture to picture.
    """
    return replace(
        pose,
        outline=None,
        image_px=np.round(pose.image_px, 1),
        depth_px=np.round(pose.depth_px, 1),
        world_m=np.round(pose.world_m, 3),
        visibility=np.round(pose.visibility, 2),
        trunk_deg=None if pose.trunk_deg is None else np.round(pose.trunk_deg, 1),
    )


def short_truth(truth: Mapping[str, Any]) -> dict[str, Any]:
    """Return who and what was rendered, and each rep's events and figures."""
    frames = truth["frames"]
    t_s = np.array([frame["t_s"] for frame in frames])
    curves = {name: np.array([frame[name] for frame in frames]) for name in _AT_TOP}
    head = np.array([frame["head_drift_cm"] for frame in frames])
    reps = []
    for events in truth["reps"]:
        setup = (t_s >= events["setup_s"]) & (t_s <= events["takeaway_s"])
        swing = (t_s >= events["takeaway_s"]) & (t_s <= events["top_end_s"])
        top = int(np.argmin(np.abs(t_s - (events["top_s"] + events["top_end_s"]) / 2)))
        figures = {
            name: round(float(curve[top] - curve[setup].mean()), 1)
            for name, curve in curves.items()
        }
        moved = head[swing] - head[setup].mean(axis=0)
        for row, name in enumerate(("max_head_lateral_cm", "max_head_up_cm")):
            figures[name] = round(float(moved[np.abs(moved[:, row]).argmax(), row]), 1)
        reps.append({**{name: round(value, 2) for name, value in events.items()}, **figures})
    spans = [
        {**span, "from_s": round(span["from_s"], 2), "to_s": round(span["to_s"], 2)}
        for span in truth["about"]["others"]
    ]
    kept = {name: truth[name] for name in ("clip", "fps", "size_wh", "handed", "stature_cm")}
    return {**kept, "what": truth["about"]["what"], "reps": reps, "others": spans}
