"""What a player who agrees may give away of a session with tags: body points and tags' angles.

One npz without pictures, names, days or cameras, so that several can be pooled and fitted on
(``trainer/lab/pooled.py`` reads it).
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.compare_read import SETUP_S, SWINGING, Read
from trainer.core.records import Phase, Pose, Step
from trainer.core.tag_session import moved_se_cm
from trainer.errors import CompareError

Floats = NDArray[np.float64]

#: Grows when the arrays or their meaning change.
LAYOUT: Final = 1
#: What the tags told, by array: NaN where they did not. ``_se`` beside each.
TOLD: Final = (
    "thorax_deg",
    "hip_deg",
    "extension_deg",
    "hip_away_cm",
    "head_away_cm",
    "head_up_cm",
)
WHAT_IS_IN_IT: Final = (
    "In it: where 33 points of the body and the ends of its outline were in each picture of the "
    "swings, what the tags told, which way the player swings, and stature in whole cm. Not in it: "
    "pictures, names, days, cameras. A way of moving can be a person's own: give it away only if "
    "that is all right with the player."
)


def write_export(reads: Iterable[Read], path: Path) -> int:
    """Write the swings of all traces to the new file ``path``; return how many pictures.

    Raises CompareError when there is no trace among them, when they do not fit together, and
    when the file is there already or cannot be written.
    """
    rows: list[tuple[int, bool, Pose, Step]] = []
    about: set[tuple[Any, ...]] = set()
    number = 0
    for one in reads:
        if one.rules is None:
            continue
        about.add((one.rules.handed.value, one.rules.stature_cm, *one.values["size_wh"]))
        for rep in one.values["reps"]:
            found = _rep(one, rep)
            if found:
                number += 1
                rows += [(number, *row) for row in found]
    if not rows:
        raise _refused("no swing of a trace is in it, and clips' results hold no body points")
    if len(about) > 1:
        raise _refused("the traces differ in the player's hand, stature or the pictures' size")
    handed, stature_cm, width, height = about.pop()
    if stature_cm is None:
        raise _refused("the traces do not tell the stature, which sets the centimetres")
    poses = [pose for _, _, pose, _ in rows]
    arrays = {
        "layout": np.array(LAYOUT),
        "handed": np.array(handed),
        "stature_cm": np.array(round(stature_cm)),
        "size_wh": np.array([width, height]),
        "rep": np.array([one[0] for one in rows]),
        "still": np.array([one[1] for one in rows]),
        **{
            name: np.array([getattr(pose, name) for pose in poses], dtype=np.float32)
            for name in ("image_px", "depth_px", "world_m")
        },
        "trunk_deg": np.array([_trunk(pose, handed) for pose in poses], dtype=np.float32),
        **_outlines(poses),
        **_told([step for *_, step in rows]),
    }
    try:
        with path.open("xb") as file:
            np.savez_compressed(file, **arrays)
    except FileExistsError:
        raise _refused(f"{path} is there already and is not written over") from None
    except OSError as error:
        raise _refused(f"{path} cannot be written ({error.strerror or error})") from None
    return len(rows)


def _rep(one: Read, rep: dict[str, Any]) -> list[tuple[bool, Pose, Step]]:
    """Return the still pictures before a complete rep and those of its swing; [] without tags."""
    if not rep["complete"] or rep["top_end_t_s"] is None:
        return []
    away_s, end_s = rep["takeaway_t_s"], rep["top_end_t_s"]
    found, by_tags = [], 0
    for step, frame in zip(one.steps, one.values["frames"], strict=False):
        still = away_s - SETUP_S <= step.t_s < away_s and frame["phase"] == Phase.SETUP.value
        swing = away_s <= step.t_s <= end_s and frame["phase"] in SWINGING
        if step.pose is None or not (still or swing):
            continue
        found.append((still, step.pose, step))
        said = step.tags
        by_tags += swing and said is not None and (said.thorax or said.pelvis) is not None
    return found if by_tags else []


def _trunk(pose: Pose, handed: str) -> Floats:
    """Return what the trunk's picture said for a swing of that hand, (3,); NaN: not looked at."""
    if pose.trunk_deg is None:
        return np.full(3, np.nan)
    own: Floats = pose.trunk_deg[0 if handed == "right" else 1]
    return own


def _outlines(poses: list[Pose]) -> dict[str, Any]:
    """Return the outlines' rows (R,) and ends (N, R, 2), NaN where there is none."""
    known = [pose.outline for pose in poses if pose.outline is not None]
    row_px = known[0].row_px if known else np.empty(0)
    none = np.full((len(row_px), 2), np.nan)
    ends = []
    for pose in poses:
        outline = pose.outline
        if outline is None or not np.array_equal(outline.row_px, row_px):
            ends.append(none)
        else:
            ends.append(np.column_stack([outline.left_px, outline.right_px]))
    return {"row_px": row_px, "ends_px": np.array(ends, dtype=np.float32)}


def _told(steps: list[Step]) -> dict[str, Any]:
    table = np.full((len(steps), len(TOLD), 2), np.nan)
    for row, step in enumerate(steps):
        said = step.tags
        if said is None:
            continue
        if said.thorax is not None:
            table[row, 0] = said.thorax.turn.deg, said.thorax.turn.se_deg
        if said.pelvis is not None:
            turn, away_cm = said.pelvis.turn, said.pelvis.away_cm
            table[row, 1] = turn.deg, turn.se_deg
            if not said.cm_doubtful:
                table[row, 3] = away_cm, moved_se_cm(said.pelvis.away_se_cm)
        if said.extension is not None:
            table[row, 2] = said.extension.deg, said.extension.se_deg
        head = said.head
        if head is not None and not said.cm_doubtful:
            table[row, 4] = head.away_cm, moved_se_cm(head.away_se_cm)
            table[row, 5] = head.up_cm, moved_se_cm(head.up_se_cm)
    values: dict[str, Any] = {}
    for column, name in enumerate(TOLD):
        values[name] = table[:, column, 0].astype(np.float32)
        values[f"{name}_se"] = table[:, column, 1].astype(np.float32)
    return values


def _refused(why: str) -> CompareError:
    return CompareError(
        f"nothing was exported: {why}. Traces of one player and set-up, recorded with --tags and "
        "--stature-cm, and the name of a new file in a folder that can be written, were wanted. "
        "Give those, or leave --export out."
    )
