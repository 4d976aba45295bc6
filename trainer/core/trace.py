"""A trace: poses and what was decided from them, as lines of text. No files are opened here.

The first line is the header, then one line a reading, and last a line that says the trace is
whole. Numbers are written so that reading them back gives the very same numbers, so a trace
plays through the core to the same result, bit for bit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.records import Outline, Pose, Step
from trainer.core.tag_pose import TagPose, TagsRead
from trainer.core.tag_tilt import LEVEL_SE_DEG

FloatArray = NDArray[np.float64]

SCHEMA: Final = 2
_OUTLINE: Final = ("row_px", "left_px", "right_px")
#: The upper half of a tag's spread, row by row; the lower one is the same.
_HALF: Final = np.triu_indices(6)


class TraceFault(ValueError):
    """A line that cannot be part of a trace; the message says which and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceLine:
    """One reading of a trace, and what was decided from it when it was recorded."""

    t_s: float
    pose: Pose | None
    result: dict[str, Any]
    action: str | None = None  #: something the player asked for just before this reading


def quantise(pose: Pose) -> Pose:
    """Return ``pose`` on a grid far finer than its noise, so that traces stay small.

    1/64 px and 1/8192 m (0.12 mm), 1/8 px for the outline, 1/32 of a degree for the trunk: powers
    of two, so nothing is lost in writing them down. Tags are few and keep what they are; only their
    spread, whose sizes differ by thousands, is cut to so many digits.
    """
    outline = pose.outline
    if outline is not None:
        outline = Outline(
            row_px=np.rint(outline.row_px * 8) / 8,
            left_px=np.rint(outline.left_px * 8) / 8,
            right_px=np.rint(outline.right_px * 8) / 8,
        )
    return replace(
        pose,
        outline=outline,
        hand_motion=None if pose.hand_motion is None else round(pose.hand_motion * 4096) / 4096,
        trunk_deg=None if pose.trunk_deg is None else np.rint(pose.trunk_deg * 32) / 32,
        image_px=np.rint(pose.image_px * 64) / 64,
        depth_px=np.rint(pose.depth_px * 64) / 64,
        world_m=np.rint(pose.world_m * 8192) / 8192,
        visibility=np.rint(pose.visibility * 256) / 256,
        tags=None if pose.tags is None else _short(pose.tags),
    )


def _short(tags: TagsRead) -> TagsRead:
    def digits(values: FloatArray) -> FloatArray:
        # NB: both halves of a spread are cut alike, so it stays symmetric.
        cut = [float(f"{value:.8g}") for value in values.ravel().tolist()]
        return np.array(cut).reshape(values.shape)

    return TagsRead(
        focal_px=float(f"{tags.focal_px:.8g}"),
        tilt_se_deg=tags.tilt_se_deg,
        poses=tuple(
            replace(
                pose,
                rotation=np.round(pose.rotation, 9),
                place_m=np.round(pose.place_m, 7),
                spread=digits((pose.spread + pose.spread.T) / 2),
            )
            for pose in tags.poses
        ),
    )


def header_line(rules: dict[str, Any], source: str) -> str:
    """Return the first line of a trace: schema, rules as plain values, and where it came from."""
    return _dump({"pose_trace": SCHEMA, "source": source, "rules": rules})


def reading_line(t_s: float, pose: Pose | None, step: Step, action: str | None) -> str:
    """Return one reading as a line."""
    line: dict[str, Any] = {"t_s": t_s}
    if action is not None:
        line["action"] = action
    if pose is not None:
        line["size_wh"] = list(pose.size_wh)
        line["image_px"] = pose.image_px.ravel().tolist()
        line["depth_px"] = pose.depth_px.tolist()
        line["world_m"] = pose.world_m.ravel().tolist()
        line["visibility"] = pose.visibility.tolist()
        if pose.outline is not None:
            line["outline"] = {name: _without_nan(getattr(pose.outline, name)) for name in _OUTLINE}
        if pose.tags is not None:
            line["tags"] = {
                "focal_px": pose.tags.focal_px,
                "tilt_se_deg": pose.tags.tilt_se_deg,
                "poses": [_tag_values(tag) for tag in pose.tags.poses],
            }
        if pose.trunk_deg is not None:
            line["trunk_deg"] = _without_nan(pose.trunk_deg)
        if pose.hand_motion is not None:
            line["hand_motion"] = pose.hand_motion
    line["result"] = result_of(step)
    return _dump(line)


def _without_nan(values: FloatArray) -> list[float | None]:
    """Return the numbers one after another, None for NaN: the format has no word for it."""
    return [None if np.isnan(x) else x for x in values.ravel().tolist()]


def end_line(count: int) -> str:
    """Return the last line: the trace is whole and holds ``count`` readings."""
    return _dump({"end": count})


def result_of(step: Step) -> dict[str, Any]:
    """Return what was decided at ``step`` as plain values; equal results are equal dicts."""
    result: dict[str, Any] = {"phase": step.phase.value}
    measures = {k: v for k, v in asdict(step.measures).items() if v is not None and k != "t_s"}
    if measures:
        result["measures"] = measures
    if step.changes:
        result["changes"] = [asdict(change) for change in step.changes]
    if step.cues:
        result["cues"] = [asdict(cue) for cue in step.cues]
    if step.told != step.cues:
        result["told"] = [asdict(cue) for cue in step.told]
    if step.signals:
        result["signals"] = list(step.signals)
    if step.rep is not None:
        result["rep"] = asdict(step.rep)
    loaded: dict[str, Any] = json.loads(_dump(result))
    return loaded


def parse_header(line: str) -> dict[str, Any]:
    """Return the header's values. Raises TraceFault for anything but a trace of this schema."""
    values = _load(line, 1)
    schema = values.get("pose_trace")
    if schema is None:
        raise TraceFault("line 1 is no trace header")
    if schema != SCHEMA:
        raise TraceFault(f"the trace has schema {schema}, this program reads schema {SCHEMA}")
    if not isinstance(values.get("rules"), dict):
        raise TraceFault("line 1 has no rules")
    return values


def parse_lines(lines: Iterable[str]) -> Iterator[TraceLine | int]:
    """Yield each reading of a trace's lines after the header, and last its count.

    Raises TraceFault at the first damaged line. A trace that was cut off has no count.
    """
    last_s = -np.inf
    for number, line in enumerate(lines, start=2):
        values = _load(line, number)
        if "end" in values:
            yield int(values["end"])
            return
        reading = _reading(values, number)
        if not reading.t_s > last_s:
            raise TraceFault(f"line {number}: time does not increase")
        last_s = reading.t_s
        yield reading


def _reading(values: dict[str, Any], number: int) -> TraceLine:
    try:
        t_s = float(values["t_s"])
        result = dict(values["result"])
        action = values.get("action")
        pose = None
        if "image_px" in values:
            width, height = values["size_wh"]
            pose = Pose(
                t_s=t_s,
                size_wh=(int(width), int(height)),
                image_px=_array(values["image_px"], 2),
                depth_px=_array(values["depth_px"], 1).ravel(),
                world_m=_array(values["world_m"], 3),
                visibility=_array(values["visibility"], 1).ravel(),
                outline=_outline(values.get("outline")),
                tags=_tags(values.get("tags")),
                trunk_deg=_trunk(values.get("trunk_deg")),
                hand_motion=_motion(values.get("hand_motion")),
            )
    except (KeyError, TypeError, ValueError) as error:
        raise TraceFault(f"line {number} is no reading of a trace: {error}") from None
    if not np.isfinite(t_s):
        raise TraceFault(f"line {number}: the time is not a number")
    return TraceLine(t_s=t_s, pose=pose, result=result, action=action)


def _outline(values: dict[str, Any] | None) -> Outline | None:
    if values is None:
        return None
    row, left, right = (np.array(values[name], dtype=np.float64) for name in _OUTLINE)
    if not row.shape == left.shape == right.shape:
        raise ValueError("the outline's rows and ends are not equally many")
    return Outline(row_px=row, left_px=left, right_px=right)


def _tag_values(tag: TagPose) -> dict[str, Any]:
    return {
        "number": tag.number,
        "rotation": tag.rotation.ravel().tolist(),
        "place_m": tag.place_m.tolist(),
        "spread": tag.spread[_HALF].tolist(),
        "ambiguous": tag.ambiguous,
    }


def _tags(values: dict[str, Any] | None) -> TagsRead | None:
    if values is None:
        return None
    return TagsRead(
        focal_px=float(values["focal_px"]),
        poses=tuple(_tag(one) for one in values["poses"]),
        tilt_se_deg=float(values.get("tilt_se_deg", LEVEL_SE_DEG)),  # older ones do not tell it
    )


def _tag(values: dict[str, Any]) -> TagPose:
    spread = np.zeros((6, 6))
    spread[_HALF] = values["spread"]
    return TagPose(
        number=int(values["number"]),
        rotation=np.array(values["rotation"], dtype=np.float64).reshape(3, 3),
        place_m=np.array(values["place_m"], dtype=np.float64).reshape(3),
        spread=np.triu(spread) + np.triu(spread, 1).T,
        ambiguous=bool(values["ambiguous"]),
    )


def _trunk(values: list[float | None] | None) -> np.ndarray | None:
    return None if values is None else np.array(values, dtype=np.float64).reshape(2, 3)


def _motion(value: float | None) -> float | None:
    return None if value is None else float(value)


def _array(values: list[float], columns: int) -> np.ndarray:
    return np.array(values, dtype=np.float64).reshape(LANDMARK_COUNT, columns)


def _load(line: str, number: int) -> dict[str, Any]:
    try:
        values = json.loads(line)
    except ValueError:
        raise TraceFault(f"line {number} is cut off or damaged") from None
    if not isinstance(values, dict):
        raise TraceFault(f"line {number} is no part of a trace")
    return values


def _dump(values: dict[str, Any]) -> str:
    return json.dumps(values, separators=(",", ":"), allow_nan=False)
