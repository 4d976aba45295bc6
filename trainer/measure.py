"""Files through the same core as the live mirror, as fast as the machine allows.

Each clip gives one JSON and one CSV (docs/measure-format.md). Phases of the frames are as known
afterwards: back-dated, unlike on the live screen. The same clip with the same settings gives
the same bytes every time.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trainer.core.cues import SWINGING
from trainer.core.records import Measures, Phase, PhaseChange, Rep, Step
from trainer.core.repeat import Spread, turn_spread
from trainer.core.rules import Rules
from trainer.core.summary import words_for
from trainer.engine import Engine
from trainer.errors import CameraError, TrainerError
from trainer.estimator_file import shipped, shipped_print
from trainer.settings import TagSettings
from trainer.store.clips import ClipReps, clip_session
from trainer.store.records import KeptRep, KeptSession, Motion
from trainer.tag_result import flat, frame_values, joined_values, rounded, tags_result
from trainer.tag_setup import open_tags

if TYPE_CHECKING:
    from trainer.ports import PoseEstimator, TagSight

SCHEMA: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipJob:
    """One clip to measure, and how."""

    clip: Path
    out_dir: Path
    rules: Rules
    model: Path
    rotate: int = 0
    mirrored: bool = False
    recorded_fps: float | None = None
    tags: TagSettings | None = None  #: None: no tags are worn
    model_name: str = "standard"  #: what to call the pose model in a record of reps
    player: str | None = None  #: whose reps they are, where they are to be kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What one clip gave."""

    reps: tuple[Rep, ...]
    good: int  #: reps the program called good
    cut_short: str = ""  #: plain words where the file ends long before its stated end
    session: KeptSession | None = None  #: the clip as a session of its player, if it is to be kept
    kept: tuple[tuple[KeptRep, Motion], ...] = ()


def measure_clip(job: ClipJob, progress: Callable[[int], None] = lambda done: None) -> Measured:
    """Measure one clip and write its JSON and CSV; return what it gave.

    ``progress`` is told how many frames were done since it was last told. Raises CameraError
    when the clip cannot be read or holds no picture, TrainerError when the results cannot be
    written. Either both files are written or none.
    """
    from trainer.adapters.clips import ClipReader
    from trainer.adapters.picture_memory import PictureMemory
    from trainer.adapters.pose import MediapipePose

    gathered = _gathered(job)
    sight = None if job.tags is None else open_tags(job.tags, job.clip.name, synchronous=True)
    memory = PictureMemory()
    trunk = shipped().network
    estimator = MediapipePose(job.model, synchronous=True, trunk=trunk, memory=memory)
    try:
        with ClipReader(
            job.clip,
            rotate=job.rotate,
            mirrored=job.mirrored,
            recorded_fps=job.recorded_fps,
            memory=memory,
        ) as reader:
            steps, reps = run_frames(reader, estimator, job.rules, progress, sight, gathered)
            facts, cut_short = reader.facts, reader.cut_short
    finally:
        estimator.close()
    if not steps:
        raise CameraError(
            f"{job.clip} holds no picture. A video file was wanted. "
            "Play it in another program to see if it is whole."
        )
    result = clip_result(
        steps,
        reps,
        clip=job.clip.name,
        fps=facts.recorded_fps or facts.played_fps,
        size_wh=facts.size_wh,
        rules=job.rules,
        cut_short=bool(cut_short),
    )
    if job.tags is not None and sight is not None:
        result["tags"] = tags_result(job.tags, steps, sight.said)
    write_results(job.out_dir, job.clip.stem, result)
    return Measured(
        reps=tuple(reps),
        good=sum(words_for(rep, job.rules).good is True for rep in reps),
        cut_short=cut_short,
        session=None if gathered is None else gathered.session,
        kept=() if gathered is None else tuple(gathered.found),
    )


def _gathered(job: ClipJob) -> ClipReps | None:
    if job.player is None:
        return None
    return ClipReps(
        session=clip_session(
            job.clip,
            job.player,
            model=job.model_name,
            model_fitted=job.rules.se_factor == 1.0,
        )
    )


def run_frames(
    frames: Iterable[Any],
    estimator: PoseEstimator,
    rules: Rules,
    progress: Callable[[int], None] = lambda done: None,
    tags: TagSight | None = None,
    gathered: ClipReps | None = None,
) -> tuple[list[Step], list[Rep]]:
    """Run every frame through the core; return all steps and reps.

    ``tags`` reads worn tags; the reps are put in ``gathered`` too.
    """
    engine = Engine(rules)
    steps: list[Step] = []
    reps: list[Rep] = []
    for frame in frames:
        if tags is not None:
            tags.begin(frame, engine.tag_hints(frame.t_s))
        estimator.swings(engine.rules.handed)
        pose = estimator.estimate(frame)
        if tags is not None:
            pose = tags.take(frame, pose)
        fed = engine.feed(frame.t_s, pose)
        progress(1)
        if fed is None:
            continue
        step = fed[1]
        estimator.hold(step.phase in SWINGING)
        steps.append(step)
        if gathered is not None:
            gathered.follow(step, engine.reference)
        if step.rep is not None:
            reps.append(step.rep)
            if gathered is not None:
                gathered.add(step.rep, rules)
    cut = engine.finish()
    if cut is not None:
        reps.append(cut)
        if gathered is not None:
            gathered.add(cut, rules)
    return steps, reps


def clip_result(
    steps: list[Step],
    reps: list[Rep],
    *,
    clip: str,
    fps: float | None,
    size_wh: tuple[int, int],
    rules: Rules,
    cut_short: bool = False,
) -> dict[str, Any]:
    """Return the JSON's values of one clip."""
    phases = phases_afterwards(steps, reps)
    worn = any(step.tags is not None for step in steps)
    return {
        "schema": SCHEMA,
        "clip": clip,
        "fps": rounded(fps, 3),
        "size_wh": list(size_wh),
        "cut_short": cut_short,
        "handed": rules.handed.value,
        "stature_cm": rules.stature_cm,
        "ball_line_cm": rounded(rules.ball_line_cm, 2),
        "pose_model_fitted": rules.se_factor == 1.0,
        "estimator": shipped_print(),
        "frames": [
            {
                "t_s": rounded(step.t_s, 6),
                "phase": phase.value,
                **_measures(step.measures),
                **(frame_values(step) if worn else {}),
            }
            for step, phase in zip(steps, phases, strict=True)
        ],
        "reps": [_rep(rep, rules) for rep in reps],
        "spread": _spread(turn_spread(reps)),
    }


def phases_afterwards(steps: list[Step], reps: list[Rep]) -> list[Phase]:
    """Return each step's phase as known at the end: every move at its back-dated time."""
    times = [step.t_s for step in steps]
    phases = [Phase.NOBODY] * len(steps)

    def fill(phase: Phase, from_s: float, to_s: float = float("inf")) -> None:
        for row, t_s in enumerate(times):
            if from_s - 1e-9 <= t_s < to_s:
                phases[row] = phase

    changes: list[PhaseChange] = [change for step in steps for change in step.changes]
    for change in changes:
        fill(change.phase, change.t_s)
    for rep in reps:
        # A rep's own instants are the last word: they were read when the whole top was known.
        if rep.top_t_s is None or rep.top_end_t_s is None:
            continue
        top_s, end_s = rep.top_t_s, rep.top_end_t_s
        begun = [
            change.t_s
            for change in changes
            if change.phase is Phase.BACKSWING and rep.takeaway_t_s <= change.t_s <= top_s
        ]
        if begun:
            fill(Phase.BACKSWING, min(begun), top_s)
        fill(Phase.TOP, top_s, end_s + 1e-9)
        if not any(top_s <= t <= end_s for t in times):
            # A turn between two pictures: the nearest one shows the top.
            nearest = int(np.argmin(np.abs(np.array(times) - top_s)))
            phases[nearest] = Phase.TOP
    return phases


def write_results(out_dir: Path, stem: str, result: dict[str, Any]) -> None:
    """Write ``<stem>.json`` and ``<stem>.csv``, both whole or neither.

    Raises TrainerError when they cannot be written; older results of that name may then be gone.
    """
    texts = {
        out_dir / f"{stem}.csv": csv_text(result["frames"]),
        out_dir / f"{stem}.json": json.dumps(result, indent=1, allow_nan=False) + "\n",
    }
    write_texts(out_dir, texts, f"the results of {stem}")


def write_texts(out_dir: Path, texts: dict[Path, str], what: str) -> None:
    """Write files into ``out_dir``, all whole or none. Raises TrainerError if that cannot be."""
    try:
        make_out_dir(out_dir)
        _write_all(texts)
    except OSError as error:
        raise TrainerError(
            f"{what} could not be written to {out_dir} "
            f"({error.strerror or error}). A folder that can be written, on a disk with space, "
            "was wanted. Give another one to --out."
        ) from None


def make_out_dir(out_dir: Path) -> None:
    """Make the folder for results if it is missing. Raises TrainerError when it cannot be."""
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise TrainerError(
            f"the folder {out_dir} could not be made ({error.strerror or error}). A folder that "
            "can be written was wanted. Give another one to --out."
        ) from None


def csv_text(frames: list[dict[str, Any]]) -> str:
    """Return the CSV: a header and one row a frame; a reading not made is an empty cell."""
    rows = []
    for frame in frames:
        row = flat(frame)
        for ending in ("cm", "se_cm"):
            lateral, vertical = row.pop(f"head_drift_{ending}")
            row[f"head_drift_lateral_{ending}"] = lateral
            row[f"head_drift_vertical_{ending}"] = vertical
        rows.append(row)
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _write_all(texts: dict[Path, str]) -> None:
    halves = {path: path.with_name(f".{path.name}.{os.getpid()}.part") for path in texts}
    done: list[Path] = []
    try:
        for path, half in halves.items():
            half.write_text(texts[path], encoding="utf-8", newline="\n")
        for path, half in halves.items():
            os.replace(half, path)
            done.append(path)
    except BaseException:
        # Half a result would pass for a whole one.
        for path in done:
            path.unlink(missing_ok=True)
        raise
    finally:
        for half in halves.values():
            half.unlink(missing_ok=True)


def _measures(now: Measures) -> dict[str, Any]:
    return {
        "shoulder_turn_deg": rounded(now.shoulder_turn_deg, 2),
        "hip_turn_deg": rounded(now.hip_turn_deg, 2),
        "separation_deg": rounded(now.separation_deg, 2),
        "head_drift_cm": [rounded(now.head_lateral_cm, 2), rounded(now.head_vertical_cm, 2)],
        "hip_drift_cm": rounded(now.hip_lateral_cm, 2),
        "chest_pitch_deg": rounded(now.chest_pitch_deg, 2),
        "side_tilt_deg": rounded(now.side_tilt_deg, 2),
        "back_gap_cm": rounded(now.back_gap_cm, 2),
        "hand_height_cm": rounded(now.hand_height_cm, 2),
        "shoulder_turn_se_deg": rounded(now.shoulder_turn_se_deg, 2),
        "hip_turn_se_deg": rounded(now.hip_turn_se_deg, 2),
        "separation_se_deg": rounded(now.separation_se_deg, 2),
        "head_drift_se_cm": [
            rounded(now.head_lateral_se_cm, 2),
            rounded(now.head_vertical_se_cm, 2),
        ],
        "hip_drift_se_cm": rounded(now.hip_lateral_se_cm, 2),
        "chest_pitch_se_deg": rounded(now.chest_pitch_se_deg, 2),
        "side_tilt_se_deg": rounded(now.side_tilt_se_deg, 2),
        "back_gap_se_cm": rounded(now.back_gap_se_cm, 2),
    }


def _spread(spread: Spread | None) -> dict[str, Any] | None:
    """Return how alike the clip's complete reps are; None for fewer than three."""
    if spread is None:
        return None
    return {"reps": spread.reps, "shoulder_turn_sd_deg": rounded(spread.turn_sd_deg, 2)}


def _rep(rep: Rep, rules: Rules) -> dict[str, Any]:
    return {
        "setup_t_s": rounded(rep.setup_t_s, 4),
        "takeaway_t_s": rounded(rep.takeaway_t_s, 4),
        "top_t_s": rounded(rep.top_t_s, 4),
        "top_end_t_s": rounded(rep.top_end_t_s, 4),
        "complete": rep.complete,
        "good": words_for(rep, rules).good,
        "at_top": None
        if rep.at_top is None
        else {**_measures(rep.at_top), **joined_values(rep.at_top)},
        "max": {
            "shoulder_turn_deg": rounded(rep.max_shoulder_turn_deg, 2),
            "head_drift_cm": [
                rounded(rep.max_head_lateral_cm, 2),
                rounded(rep.max_head_vertical_cm, 2),
            ],
            "hip_drift_cm": rounded(rep.max_hip_lateral_cm, 2),
        },
        "cues": [
            {
                "t_s": rounded(cue.t_s, 4),
                "decided_t_s": rounded(cue.decided_t_s, 4),
                "kind": cue.kind.value,
                "side": None if cue.side is None else cue.side.value,
            }
            for cue in rep.cues
        ],
    }
