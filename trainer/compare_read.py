"""Sessions worn with tags, read back: traces of the mirror and results of clips, one as the other.

A trace is played through the core of this version, and with the errors told of people in general,
so that what was compared before does not count twice.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.core.records import Step
from trainer.core.rules import Rules
from trainer.core.setup import scale_cm_per_px
from trainer.core.tag_compare import BANDS, FEWEST_REPS, Pairs
from trainer.core.tag_join import Told
from trainer.core.tag_session import line_from_chest, moved_se_cm
from trainer.errors import CompareError
from trainer.estimator_file import shipped_print
from trainer.measure import SCHEMA, clip_result
from trainer.replay import replay

#: A rep counts for a measure with at least so many pictures by tags, and this share of its own.
FEWEST_POSES: Final = 5
LEAST_SHARE: Final = 0.5
SWINGING: Final = ("backswing", "top")
#: By stem: the part whose tags tell it, and what the results call it.
PARTS: Final = {
    "shoulder_turn": ("thorax", "shoulder_turn_deg"),
    "hip_turn": ("pelvis", "hip_turn_deg"),
    "chest_pitch": ("thorax", "chest_extension_deg"),
    "hip_lateral": ("pelvis", "hip_drift_cm"),
    "head_lateral": ("head", "head_drift_lateral_cm"),
    "head_vertical": ("head", "head_drift_vertical_cm"),
}
#: What is read of the body points, and of each part.
_POINTS: Final = (
    *("shoulder_turn_deg", "shoulder_turn_se_deg", "hip_turn_deg", "hip_turn_se_deg"),
    *("chest_pitch_deg", "chest_pitch_se_deg", "hip_drift_cm", "hip_drift_se_cm"),
    *("head_drift_lateral_cm", "head_drift_lateral_se_cm"),
    *("head_drift_vertical_cm", "head_drift_vertical_se_cm"),
)
_PART: Final = (
    *("turn_deg", "turn_se_deg", "pitch_change_deg", "away_cm", "away_se_cm"),
    *("up_cm", "up_se_cm"),
)
_MOST: Final = 1e6
_MOST_READ: Final = 200.0  # degrees or centimetres
#: How the chest's pitch at setup is read: over the last so many seconds before the takeaway.
SETUP_S: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Read:
    """One file: the values of a clip's results, and what only a trace knows."""

    path: Path
    values: dict[str, Any]  #: as ``measure.clip_result``
    camera: str | None = None  #: None: a clip does not say
    cm_per_px: float | None = None  #: at setup, median over the reps
    steps: tuple[Step, ...] = ()  #: of a trace
    rules: Rules | None = None
    note: str = ""  #: what is wrong with it, though it could be used


def read(path: Path) -> Read:
    """Return a trace or a clip's results. Raises CompareError, TraceError for a bad file."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise _no_use(path, f"it could not be read ({error.strerror or error})") from None
    first = text.split("\n", 1)[0]
    if '"pose_trace"' in first:
        return _trace(path, first)
    try:
        values = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _no_use(path, f"it is neither a trace nor results ({error})") from None
    if not isinstance(values, dict) or values.get("schema") != SCHEMA:
        raise _no_use(path, "it is neither a trace nor results of this version")
    if values.get("estimator") != shipped_print():
        raise _no_use(path, "it was measured by another version; measure the clip again")
    try:
        _check(values)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise _no_use(path, f"its values are damaged ({type(error).__name__}: {error})") from None
    return Read(path=path, values=values)


def pairs_of(reads: Iterable[Read]) -> tuple[dict[str, Pairs], dict[str, int], int]:
    """Return each measure's pairs by stem, how many reps have some of it, and all complete reps.

    Pairs are of reps with enough pictures by tags; the counts are of reps with fewer too.
    """
    rows: dict[str, list[tuple[int, float, float, float, float, float]]] = {n: [] for n in PARTS}
    some = dict.fromkeys(PARTS, 0)
    number = 0
    for one in reads:
        for rep in one.values["reps"]:
            if not rep["complete"] or rep["top_end_t_s"] is None:
                continue
            number += 1
            frames, pitch = swing_of(one.values["frames"], rep)
            for stem in PARTS:
                found = [row for f in frames if (row := _pair(f, stem, pitch)) is not None]
                some[stem] += bool(found)
                if len(found) >= max(FEWEST_POSES, LEAST_SHARE * len(frames)):
                    rows[stem] += [(number, *row) for row in found]
    pairs = {}
    for stem, of_stem in rows.items():
        table = np.array(of_stem, dtype=np.float64).reshape(-1, 6)
        low, high = BANDS[0]
        table = table[(table[:, 1] >= low) & (table[:, 1] < high)]
        pairs[stem] = Pairs(
            rep=table[:, 0].astype(np.int64),
            angle_deg=table[:, 1],
            points=table[:, 2],
            se=table[:, 3],
            tag=table[:, 4],
            tag_se=table[:, 5],
        )
    return pairs, some, number


def is_judged(pairs: Pairs) -> bool:
    """Tell whether there are reps enough."""
    return len(np.unique(pairs.rep)) >= FEWEST_REPS


def line_of(thorax: dict[str, Any]) -> Told:
    """Return the shoulder line's turn by the tags, as sure as they were of the chest."""
    bare = line_from_chest(Told(value=thorax["turn_deg"], se=0.0)).value
    ratio = line_from_chest(Told(value=1.0, se=0.0)).value
    return Told(value=bare, se=thorax["turn_se_deg"] * ratio)


def _trace(path: Path, first: str) -> Read:
    steps: list[Step] = []
    held: list[Rules] = []

    def on_step(step: Step, rules: Rules) -> None:
        steps.append(step)
        held.append(rules)

    result = replay(path, on_step, adjust=lambda rules: replace(rules, own_errors=None))
    sized = [step.pose.size_wh for step in steps if step.pose is not None]
    if not sized:
        raise _no_use(path, "nobody is in it")
    values = clip_result(
        steps,
        list(result.reps),
        clip=path.name,
        fps=None,
        size_wh=sized[-1],
        rules=result.rules,
    )
    source = json.loads(first).get("source")  # played, so it is a header
    return Read(
        path=path,
        values=values if "markerless" in values["frames"][0] else {**values, "frames": []},
        camera=source if isinstance(source, str) and source else "unknown",
        cm_per_px=_scale(steps, [rep.takeaway_t_s for rep in result.reps], result.rules),
        steps=tuple(steps),
        rules=result.rules,
        note="" if result.whole else f"{path.name} is not whole ({result.cut}).",
    )


def _scale(steps: list[Step], takeaways_s: list[float], rules: Rules) -> float | None:
    found = []
    for step in steps:
        if step.pose is None or not any(0.0 < t - step.t_s < SETUP_S for t in takeaways_s):
            continue
        scale, _ = scale_cm_per_px(step.pose.image_px, step.pose.world_m, rules.stature_cm)
        if scale is not None:
            found.append(scale)
    return float(np.median(found)) if found else None


def swing_of(
    frames: list[dict[str, Any]], rep: dict[str, Any]
) -> tuple[list[dict[str, Any]], float | None]:
    """Return the pictures of a rep's backswing and top, and the chest's pitch at its setup."""
    away_s, end_s = rep["takeaway_t_s"], rep["top_end_t_s"]
    swing = [f for f in frames if away_s <= f["t_s"] <= end_s and f["phase"] in SWINGING]
    still = [
        f["markerless"]["chest_pitch_deg"]
        for f in frames
        if away_s - SETUP_S <= f["t_s"] < away_s and f["phase"] == "setup"
    ]
    pitches = [pitch for pitch in still if pitch is not None]
    return swing, float(np.mean(pitches)) if pitches else None


def _pair(
    frame: dict[str, Any], stem: str, pitch_setup: float | None
) -> tuple[float, float, float, float, float] | None:
    """Return (turn, by points, their error, by tags, theirs); None where one side is missing."""
    part_name, told = PARTS[stem]
    part, by_points = frame["tags"][part_name], frame["markerless"]
    # A part that the body points contradict, or a size that cannot be as told, is no truth.
    if part is None or frame["sources"].get(told) not in ("tag", "tag+pose"):
        return None
    unit = "cm" if told.endswith("_cm") else "deg"
    name = "chest_pitch" if stem == "chest_pitch" else told.removesuffix(f"_{unit}")
    value, se = by_points[f"{name}_{unit}"], by_points[f"{name}_se_{unit}"]
    thorax = frame["tags"]["thorax"]
    angle = by_points["shoulder_turn_deg"] if thorax is None else line_of(thorax).value
    if value is None or se is None or se <= 0.0 or angle is None:
        return None
    if stem == "shoulder_turn":
        tag = line_of(part)
    elif stem == "hip_turn":
        tag = Told(value=part["turn_deg"], se=part["turn_se_deg"])
    elif stem == "chest_pitch":
        if pitch_setup is None or part["extension_se_deg"] is None or part["extension_deg"] is None:
            return None
        value -= pitch_setup
        tag = Told(value=part["extension_deg"], se=part["extension_se_deg"])
    else:
        way = "up" if stem == "head_vertical" else "away"
        tag = Told(value=part[f"{way}_cm"], se=moved_se_cm(part[f"{way}_se_cm"]))
    return angle, value, se, tag.value, tag.se


def _check(values: dict[str, Any]) -> None:
    """Raise ValueError, KeyError or TypeError unless everything that is read is as written."""
    width, height = values["size_wh"]
    for size in (width, height):
        _number(size, 1e5)
        if size < 1:
            raise ValueError("a picture has no size")
    if not isinstance(values["pose_model_fitted"], bool):
        raise ValueError("pose_model_fitted is no yes or no")
    for rep in values["reps"]:
        if not isinstance(rep["complete"], bool):
            raise ValueError("complete is no yes or no")
        _number(rep["takeaway_t_s"])
        _maybe(rep["top_end_t_s"])
    if not values["frames"] or "markerless" not in dict(values["frames"][0]):
        values["frames"] = []  # no tags were read
    for frame in values["frames"]:
        _number(frame["t_s"])
        if not isinstance(frame["phase"], str):
            raise TypeError("phase is no word")
        for name in _POINTS:
            _maybe(frame["markerless"][name], _MOST_READ)
        sources = dict(frame["sources"]).values()
        if not all(one is None or isinstance(one, str) for one in sources):
            raise TypeError("a source is no word")
        for name in ("thorax", "pelvis", "head"):
            part = frame["tags"][name]
            for value in _PART if part is not None else ():
                _number(part[value], _MOST_READ)
            if name == "thorax" and part is not None:
                for value in ("extension_deg", "extension_se_deg"):
                    _maybe(part[value], _MOST_READ)


def _number(value: object, most: float = _MOST) -> None:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not abs(value) < most:  # type: ignore[arg-type]
        raise ValueError(f"{str(value)[:40]} is no number that can be")


def _maybe(value: object, most: float = _MOST) -> None:
    if value is not None:
        _number(value, most)


def _no_use(path: Path, why: str) -> CompareError:
    return CompareError(
        f"{path} cannot be compared: {why}. A trace written by trainer live --tags --record, or "
        "the JSON of trainer measure --tags, was wanted. Check the name."
    )
