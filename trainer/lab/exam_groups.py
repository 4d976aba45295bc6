"""The groups of people, clothes, places and speeds by which the shoulder turn's error is split."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab.exam_read import Readings
from trainer.lab.exam_results import Pool

#: A sleeve is counted as long from here: shares of the upper arm, above 1 on the forearm.
LONG_SLEEVE: Final = 1.0
#: A shirt that stands off the body by less is tight, by more loose.
TIGHT_CM, LOOSE_CM = 1.0, 3.0
#: Backswings of these lengths in seconds: full speed, practice, slow.
SPEED_S: Final = ((0.0, 1.0), (1.0, 2.0), (2.0, math.inf))


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Some of the clips, under a name."""

    heading: str
    name: str
    holds: Callable[[Readings], bool]


def groups(clips: list[Readings]) -> list[Group]:
    """Return the groups, heading by heading; together those of a heading are all clips.

    What an older clip's scene does not tell is left out.
    """
    told = set(clips[0].scene) if clips else set()
    out = [*_camera(clips), *_light(clips), *_clothes(told), *_body(clips, told)]
    return [*out, *_speed()]


def in_group(part: Pool, group: Group) -> NDArray[np.bool_]:
    """Return which pictures belong to a group."""
    holds = np.array([group.holds(one) for one in part.clips])
    return holds[part.clip]


def length_s(one: Readings) -> float:
    """Return how long the true backswing took."""
    return one.events["top_s"] - one.events["takeaway_s"]


def _split(
    clips: list[Readings], heading: str, name: str, limit: float, unit: str, digits: int = 0
) -> Iterator[Group]:
    """Yield those under a limit and those not; the value's own name is in the scene."""
    words = f"{limit:.{digits}f}{unit}"
    yield Group(heading=heading, name=f"under {words}", holds=lambda c: abs(_told(c, name)) < limit)
    yield Group(
        heading=heading, name=f"{words} and more", holds=lambda c: abs(_told(c, name)) >= limit
    )


def _told(one: Readings, name: str) -> float:
    return float(one.scene[name] if name in one.scene else one.scene["camera"][name])


def _middle(clips: list[Readings], name: str) -> float:
    return float(np.median([_told(one, name) for one in clips]))


def _camera(clips: list[Readings]) -> Iterator[Group]:
    yield from _split(clips, "camera round the player", "yaw_deg", 5.0, "°")
    names = set(clips[0].scene) | set(clips[0].scene["camera"])
    for heading, name in (("camera's height", "height_m"), ("distance", "distance_m")):
        if name in names:
            yield from _split(clips, heading, name, round(_middle(clips, name), 1), " m", 1)
    if "size_wh" in clips[0].scene:
        wide = _by_size(lambda width, height: width > height)
        tall = _by_size(lambda width, height: width <= height)
        yield Group(heading="picture", name="landscape", holds=wide)
        yield Group(heading="picture", name="portrait", holds=tall)


def _by_size(test: Callable[[float, float], bool]) -> Callable[[Readings], bool]:
    return lambda one: test(*one.scene["size_wh"])


def _light(clips: list[Readings]) -> Iterator[Group]:
    light = _middle(clips, "light")
    yield Group(
        heading="light", name="the brighter half", holds=lambda c: _told(c, "light") >= light
    )
    yield Group(heading="light", name="the darker half", holds=lambda c: _told(c, "light") < light)
    if "place" in clips[0].scene:
        yield _is("place", "range", "outdoors")
        yield _is("place", "bay", "in a bay")
        yield Group(
            heading="place",
            name="indoors",
            holds=lambda c: c.scene["place"] not in ("range", "bay"),
        )


def _is(heading: str, value: Any, name: str, key: str = "") -> Group:
    return Group(heading=heading, name=name, holds=lambda c: c.scene[key or heading] == value)


def _clothes(told: set[str]) -> Iterator[Group]:
    shirts = ((-math.inf, TIGHT_CM), (TIGHT_CM, LOOSE_CM), (LOOSE_CM, math.inf))
    names = (f"tight (under {TIGHT_CM:g} cm)", "between", f"loose (over {LOOSE_CM:g} cm)")
    for (low, high), name in zip(shirts, names, strict=True):
        yield Group(heading="shirt", name=name, holds=_between("loose_cm", low, high))
    yield Group(heading="sleeves", name="short", holds=_between("sleeve", -1.0, LONG_SLEEVE))
    yield Group(heading="sleeves", name="long", holds=_between("sleeve", LONG_SLEEVE, math.inf))
    for name in ("jacket", "skirt"):
        if name in told:
            yield _is(name, True, "worn")
            yield _is(name, False, "not worn")


def _between(name: str, low: float, high: float) -> Callable[[Readings], bool]:
    return lambda one: low <= _told(one, name) < high


def _body(clips: list[Readings], told: set[str]) -> Iterator[Group]:
    yield Group(heading="body", name="women", holds=_between("female", 0.5, math.inf))
    yield Group(heading="body", name="men", holds=_between("female", -1.0, 0.5))
    yield from _split(clips, "stature", "stature_cm", round(_middle(clips, "stature_cm")), " cm")
    if "weight" in told:
        middle = _middle(clips, "weight")
        yield Group(
            heading="weight", name="the lighter half", holds=_between("weight", -1.0, middle)
        )
        yield Group(
            heading="weight", name="the heavier half", holds=_between("weight", middle, math.inf)
        )
    for hand in ("right", "left"):
        yield _is("hand", hand, hand, "handed")


def _speed() -> Iterator[Group]:
    names = ("full speed (under 1 s, swung through)", "normal (1 to 2 s)", "slow (2 s and more)")
    for (low, high), name in zip(SPEED_S, names, strict=True):
        yield Group(heading="backswing", name=name, holds=_took(low, high))


def _took(low: float, high: float) -> Callable[[Readings], bool]:
    return lambda one: one.kind != "decoupled" and low <= length_s(one) < high
