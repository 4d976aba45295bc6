"""What the results of a clip say of worn tags: values a frame, both sides by side, and words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from trainer.core.records import Measures, Step
from trainer.core.tag_reading import PartReading
from trainer.settings import TagSettings
from trainer.tag_setup import tag_size_mm

#: What the mirror would have said without tags, beside what it says with them.
_MARKERLESS: Final = (
    "shoulder_turn_deg",
    "hip_turn_deg",
    "chest_pitch_deg",
    "hip_lateral_cm",
    "head_lateral_cm",
    "head_vertical_cm",
)
#: The results' names of the fields they call otherwise.
_CALLED: Final = {
    "hip_lateral": "hip_drift",
    "head_lateral": "head_drift_lateral",
    "head_vertical": "head_drift_vertical",
}
_PARTS: Final = ("thorax", "pelvis", "head")
#: Columns of a CSV that come of ``frames[].tags``.
_PART_COLUMNS: Final = ("turn_deg", "turn_se_deg", "pitch_deg", "pitch_se_deg", "away_cm")


def rounded(value: float | None, digits: int) -> float | None:
    """Round for the file; -0.0 becomes 0.0 so that equal readings are equal bytes."""
    return None if value is None else round(value, digits) + 0.0


def joined_values(now: Measures) -> dict[str, Any]:
    """Return what there is only with tags, and what each value rests on; {} without tags."""
    if now.sources is None:
        return {}
    return {**_only_with_tags(now), "sources": _sources(now)}


def frame_values(step: Step) -> dict[str, Any]:
    """Return what a frame's values have more while tags are worn."""
    markerless = step.markerless or Measures(t_s=step.t_s)
    parts = {name: getattr(step.tags, name, None) for name in _PARTS}
    tags = {name: None if part is None else _part(part) for name, part in parts.items()}
    opened = None if step.tags is None else step.tags.extension
    if tags["thorax"] is not None:
        tags["thorax"] |= {
            "extension_deg": rounded(None if opened is None else opened.deg, 2),
            "extension_se_deg": rounded(None if opened is None else opened.se_deg, 2),
        }
    return {
        **_only_with_tags(step.measures),
        "sources": _sources(step.measures),
        "markerless": {
            called(name): rounded(getattr(markerless, name), 2)
            for field in _MARKERLESS
            for name in (field, _se(field))
        },
        "tags": tags,
    }


def called(field: str) -> str:
    """Return what the results call a field of ``Measures``."""
    for ours, theirs in _CALLED.items():
        if field.startswith(ours):
            return theirs + field.removeprefix(ours)
    return field


def tags_result(tags: TagSettings, steps: Iterable[Step], said: Iterable[str]) -> dict[str, Any]:
    """Return what holds for the whole clip: size, how still the tags sat, and every word said."""
    notices, quality = dict.fromkeys(said), dict[int, float]()
    for step in steps:
        notices.update(dict.fromkeys(step.notices))
        if step.tags is not None:
            quality.update(step.tags.quality_deg)
    return {
        "size_mm": rounded(tag_size_mm(tags), 2),
        "holds_still_deg": {str(n): rounded(deg, 2) for n, deg in sorted(quality.items())},
        "notices": list(notices),
    }


def flat(frame: dict[str, Any]) -> dict[str, Any]:
    """Return a frame's values with those of worn tags spread over columns of their own."""
    row = {k: v for k, v in frame.items() if k not in ("sources", "markerless", "tags")}
    if "markerless" not in frame:
        return row
    row.update({f"{name}_source": source for name, source in frame["sources"].items()})
    row.update({f"markerless_{name}": value for name, value in frame["markerless"].items()})
    for part, values in frame["tags"].items():
        for name in _PART_COLUMNS:
            row[f"tag_{part}_{name}"] = None if values is None else values[name]
    return row


def _se(field: str) -> str:
    stem, unit = field.rsplit("_", 1)
    return f"{stem}_se_{unit}"


def _only_with_tags(now: Measures) -> dict[str, Any]:
    return {
        name: rounded(getattr(now, name), 2)
        for field in ("thorax_turn_deg", "chest_extension_deg", "side_bend_deg")
        for name in (field, _se(field))
    }


def _sources(now: Measures) -> dict[str, str | None]:
    sources = now.sources or {}
    return {
        called(name): sources[name].value if name in sources else None
        for name in ("thorax_turn_deg", "chest_extension_deg", *_MARKERLESS)
    }


def _part(part: PartReading) -> dict[str, Any]:
    return {
        "numbers": list(part.numbers),
        "turn_deg": rounded(part.turn.deg, 2),
        "turn_se_deg": rounded(part.turn.se_deg, 2),
        "pitch_deg": rounded(part.pitch.deg, 2),
        "pitch_se_deg": rounded(part.pitch.se_deg, 2),
        "pitch_change_deg": rounded(part.pitch_change_deg, 2),
        "side_bend_deg": rounded(part.side_bend.deg, 2),
        "side_bend_se_deg": rounded(part.side_bend.se_deg, 2),
        "away_cm": rounded(part.away_cm, 2),
        "away_se_cm": rounded(part.away_se_cm, 2),
        "up_cm": rounded(part.up_cm, 2),
        "up_se_cm": rounded(part.up_se_cm, 2),
        "near_cm": rounded(part.near_cm, 2),
    }
