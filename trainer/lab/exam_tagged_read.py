"""Measures the tag report's clips as ``trainer measure --tags`` does, beside the truth.

What is scored is a clip's last backswing. The truth of turns and drifts is taken against the
still address before it, as the program takes its own anew at every setup.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Handed
from trainer.core.rules import Rules

Floats = NDArray[np.float64]

#: What is laid beside the truth, picture by picture, as ``measure`` calls it.
FIELDS: Final = ("thorax_turn_deg", "shoulder_turn_deg", "hip_turn_deg", "hip_drift_cm")
#: What a tag-based reading rests on (docs/measures.md).
BY_TAG: Final = ("tag", "tag+pose")
#: The setup's end also counts for the share of pictures read by tags.
BEFORE_S: Final = 0.5
#: Pairs of readings and the tag of whose card the perfect reading would be.
CARDS: Final = {"0": "thorax_turn_deg", "1": "thorax_turn_deg", "10": "pelvis_turn_deg",
                "11": "pelvis_turn_deg"}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tagged:
    """One clip: N pictures of its last backswing, K measures as in FIELDS; NaN is no reading."""

    name: str
    kind: str
    t_s: Floats  #: (N,)
    true: Floats  #: (N, K)
    said: Floats  #: (N, K) by tags and body points
    se: Floats  #: (N, K) as stated
    bare: Floats  #: (N, K) by the body points alone; NaN for the thorax
    by_tag: dict[str, NDArray[np.bool_]]  #: thorax and pelvis: (M,) from ``BEFORE_S`` on
    found: bool  #: the rep was found
    opened: tuple[float, float]  #: chest extension at the top: true, said
    pitch: tuple[float, float]  #: chest pitch at the top: true, said
    #: by number: how much further than its part a card itself had turned at the top
    cards_off_deg: dict[str, float]
    notices: tuple[str, ...]


def measured(video: Path, model: Path, out_dir: Path) -> dict[str, Any]:
    """Measure a clip with the program's own path and return what it wrote.

    The program is told what a careful user tells it: side, stature, the tags' true size, the
    camera's angle of view, and its tilt to a whole degree, as a telephone's level tells it.
    """
    from trainer.measure import ClipJob, measure_clip
    from trainer.settings import TagSettings

    told = _truth(video)
    worn = told["about"]["worn"]
    job = ClipJob(
        clip=video,
        out_dir=out_dir,
        rules=Rules(handed=Handed(told["handed"]), stature_cm=told["stature_cm"]),
        model=model,
        tags=TagSettings(
            worn=True,
            size_mm=10.0 * worn["size_cm"] * worn["print_scale"],
            field_of_view_deg=told["camera"]["hfov_deg"],
            tilt_deg=float(round(told["camera"]["pitch_deg"])),
        ),
    )
    measure_clip(job)
    wrote: dict[str, Any] = json.loads((out_dir / f"{video.stem}.json").read_text("utf-8"))
    return wrote


def read_clip(video: Path, wrote: dict[str, Any]) -> Tagged:
    """Return a clip's readings, as ``measured`` wrote them, beside its truth."""
    told = _truth(video)
    rep, frames = told["reps"][-1], told["frames"][: len(wrote["frames"])]
    said = wrote["frames"][: len(frames)]
    t_s = np.array([frame["t_s"] for frame in frames])
    still = (t_s >= rep["setup_s"]) & (t_s <= rep["takeaway_s"])
    rows = (t_s >= rep["takeaway_s"]) & (t_s <= rep["top_end_s"] + 1e-6)
    wide = (t_s >= rep["takeaway_s"] - BEFORE_S) & (t_s <= rep["top_end_s"] + 1e-6)
    top = (t_s >= rep["top_s"] - 1e-6) & (t_s <= rep["top_end_s"] + 1e-6)
    if not top.any():
        top[np.abs(t_s - rep["top_s"]).argmin()] = True
    true = np.array([[frame[name] for name in FIELDS] for frame in frames])
    true = true - true[still].mean(axis=0)
    pitch = np.array([frame["chest_pitch_deg"] for frame in frames])
    bare = [frame["markerless"] for frame in said]
    found = [
        one for one in wrote["reps"]
        if one["complete"] and rep["takeaway_s"] < one["top_t_s"] < rep["top_end_s"] + 0.5
    ]  # fmt: skip
    at_top = found[-1]["at_top"] if found and found[-1]["at_top"] is not None else {}
    sources = {
        part: np.array([frame["sources"][name] in BY_TAG for frame in said])[wide]
        for part, name in (("thorax", "thorax_turn_deg"), ("pelvis", "hip_turn_deg"))
    }
    return Tagged(
        name=video.stem,
        kind=video.stem.rsplit("-", 1)[0],
        t_s=t_s[rows],
        true=true[rows],
        said=_values(said, FIELDS)[rows],
        se=_values(said, tuple(_se(name) for name in FIELDS))[rows],
        bare=_values(bare, FIELDS)[rows],
        by_tag=sources,
        found=bool(found),
        opened=(
            float(pitch[top].mean() - pitch[still].mean()),
            _number(at_top.get("chest_extension_deg")),
        ),
        pitch=(float(pitch[top].mean()), _number(at_top.get("chest_pitch_deg"))),
        cards_off_deg=_cards_off(frames, still, top, told["handed"]),
        notices=tuple(wrote["tags"]["notices"]),
    )


def turned_deg(rotation_since: Floats, away: float) -> float:
    """Return the turn of a level side axis after a rotation (3, 3) in the world's axes.

    As the truth's turns: seen from above, + away from the target. ``away`` is -1 for a
    right-hander, whose target is at +x, else 1.
    """
    lead = rotation_since @ np.array([-away, 0.0, 0.0])
    return float(np.degrees(np.arctan2(lead[2], -away * lead[0])))


def _cards_off(
    frames: list[dict[str, Any]], still: NDArray[np.bool_], top: NDArray[np.bool_], handed: str
) -> dict[str, float]:
    away = -1.0 if handed == "right" else 1.0
    off = {}
    first = int(np.flatnonzero(still)[0])
    last = int(np.flatnonzero(top)[0])
    for number, part in CARDS.items():
        if number not in frames[first]["tags"]:
            continue
        then, now = (_axes(frames[k]["tags"][number]) for k in (first, last))
        true = frames[last][part] - frames[first][part]
        off[number] = turned_deg(now @ then.T, away) - true
    return off


def _axes(tag: dict[str, Any]) -> Floats:
    facing, up = np.array(tag["facing"]), np.array(tag["up"])
    left, _, right = np.linalg.svd(np.stack([np.cross(up, facing), up, facing], axis=1))
    return np.asarray(left @ right)


def _truth(video: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(video.with_suffix(".truth.json").read_text("utf-8"))
    return told


def _se(name: str) -> str:
    stem, unit = name.rsplit("_", 1)
    return f"{stem}_se_{unit}"


def _values(frames: list[dict[str, Any]], names: tuple[str, ...]) -> Floats:
    return np.array([[_number(frame.get(name)) for name in names] for frame in frames])


def _number(value: float | None) -> float:
    return float("nan") if value is None else value
