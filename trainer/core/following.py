"""Decides which of several people is the player, and keeps to them.

Two kinds of evidence come in: the tracked pose of nearly every frame (``see_pose``), and about
once a second a look at everybody in the picture (``see_people``). The player has a home: where
they stand. A golfer's hips stay there through a swing, so a tracked pose that leaves home is
either the player walking or the tracker carried off by a passer-by; the next look at everybody,
asked for at once (``wants_look``), tells which. While more than one person is about, home moves
only with somebody seen at it, and ``visible_box`` gives the part of the picture the tracker may
see, so that it cannot leave with the other one. Pure functions; lengths are in pixels, or in
body heights where a name ends in ``_bh``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark
from trainer.core.plausible import Box

LOOK_EVERY_S: Final = 1.0
#: A look asked for out of turn comes no sooner than this after the last.
LOOK_AGAIN_S: Final = 0.4
#: Somebody hidden behind another, or missed by the model, still counts as there this long.
CROWD_HOLD_S: Final = 2.5
#: Hips this far from home are no swing: hip drift in a backswing stays under 0.1 of the height.
ASTRAY_BH: Final = 0.25
CROWD_ASTRAY_BH: Final = 0.18
AT_HOME_BH: Final = 0.35
#: Home follows the tracked hips with this time constant: slow enough that a walker leaves it.
HOME_TAU_S: Final = 1.5
#: Nobody at home for this long, with people elsewhere: the player is one of those.
HOME_EMPTY_S: Final = 1.5
#: The same with only one person about, whom a passer-by may be hiding for a moment.
ALONE_EMPTY_S: Final = 0.7
#: Two detections this close are one person.
SAME_PERSON_BH: Final = 0.2
#: Side reach of the arms from the hips: half a shoulder breadth and an arm are 0.57 (Drillis and
#: Contini 1966, in Winter; from memory), the rest is for sway.
REACH_BH: Final = 0.7
MIN_REACH_BH: Final = 0.5
HALF_BODY_BH: Final = 0.15
ABOVE_BH: Final = 0.35
BELOW_BH: Final = 0.15
MIN_HEIGHT: Final = 0.15  # of the picture's; the same as a trusted pose needs
AMBIGUOUS_SCORE: Final = 0.1
#: Another so much larger and nearer the middle, for so long, is the player: a coach who was
#: alone in the picture must not keep the mirror when the next player steps up.
BETTER_SCORE: Final = 0.25
BETTER_S: Final = 0.9
#: So much more like the player is who stands as at address; chosen.
ADDRESS_SCORE: Final = 0.3
#: At address both hands are on one grip: near each other, and in front of the lower trunk.
HANDS_APART_BH: Final = 0.12
HANDS_ASIDE_BH: Final = 0.15
HANDS_ABOVE_HIPS_BH: Final = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Where somebody stands in the picture."""

    hips_px: tuple[float, float]
    top_px: float  #: y of the highest head point
    bottom_px: float  #: y of the lowest foot point
    address: bool = False  #: the hands are together, low and in front, as on a club

    @property
    def height_px(self) -> float:
        """Body height in the picture, at least one pixel."""
        return max(self.bottom_px - self.top_px, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """Who is followed. ``Following()`` is a fresh start."""

    home: Person | None = None
    others: tuple[Person, ...] = field(default=())  #: seen at the last look that saw several
    crowd_t_s: float | None = None  #: when several people were last seen; None: not lately
    home_seen_s: float = -math.inf  #: when somebody was last seen at home
    looked_s: float = -math.inf
    astray: bool = False  #: the tracked pose is away from home
    settled: bool = False  #: home was chosen or confirmed by a look at everybody
    better_t_s: float | None = None  #: since when another has looked much more like the player
    ambiguous: bool = False  #: the player was chosen from several, and it was a near thing


def person(image_px: NDArray[np.float64]) -> Person:
    """Return where the person of a (33, 2) pose stands."""
    points: list[list[float]] = image_px.tolist()  # single numbers are quicker out of a list
    (left_x, left_y), (right_x, right_y) = points[Landmark.LEFT_HIP], points[Landmark.RIGHT_HIP]
    hips_px = (left_x + right_x) / 2, (left_y + right_y) / 2
    top_px = min(y for _, y in points[: Landmark.MOUTH_RIGHT + 1])
    bottom_px = max(y for _, y in points[Landmark.LEFT_ANKLE :])
    unit = max(bottom_px - top_px, 1.0)
    (one_x, one_y), (two_x, two_y) = points[Landmark.LEFT_WRIST], points[Landmark.RIGHT_WRIST]
    together = math.hypot(one_x - two_x, one_y - two_y) <= HANDS_APART_BH * unit
    aside = abs((one_x + two_x) / 2 - hips_px[0]) <= HANDS_ASIDE_BH * unit
    low = (one_y + two_y) / 2 >= hips_px[1] - HANDS_ABOVE_HIPS_BH * unit
    return Person(
        hips_px=hips_px, top_px=top_px, bottom_px=bottom_px, address=together and aside and low
    )


def wants_look(state: Following, t_s: float) -> bool:
    """Tell whether it is time to look at everybody in the picture."""
    wait = LOOK_AGAIN_S if state.astray else LOOK_EVERY_S
    return not 0 <= t_s - state.looked_s < wait


def looked(state: Following, t_s: float) -> Following:
    """Return the state after a look was begun at ``t_s``."""
    return replace(state, looked_s=t_s)


def see_pose(state: Following, seen: Person, t_s: float) -> Following:
    """Take in the tracked pose: home goes along with it, unless it leaves or others are about."""
    if state.home is None:
        return replace(state, home=seen, home_seen_s=t_s)
    limit_bh = ASTRAY_BH if state.crowd_t_s is None else CROWD_ASTRAY_BH
    if _apart_bh(state.home, seen) > limit_bh:
        return state if state.astray else replace(state, astray=True)
    if state.crowd_t_s is not None:
        return replace(state, home_seen_s=t_s, astray=False)
    share = 1.0 - math.exp(-max(t_s - state.home_seen_s, 0.0) / HOME_TAU_S)
    return replace(state, home=_toward(state.home, seen, share), home_seen_s=t_s, astray=False)


def see_people(
    state: Following,
    people: Sequence[Person],
    t_s: float,
    size_wh: tuple[int, int],
    *,
    locked: bool = False,
) -> Following:
    """Take in a look at everybody, at ``t_s``; ``people`` best first, as the model gives them.

    Nobody takes over from who stands at address but another at address; ``locked``: the player
    swings, and nobody takes over at all.
    """
    those = _distinct([p for p in people if p.height_px >= MIN_HEIGHT * size_wh[1]])
    crowd = len(those) > 1
    held = not crowd and state.crowd_t_s is not None and 0 <= t_s - state.crowd_t_s < CROWD_HOLD_S
    if not those:
        return state if held else replace(state, others=(), crowd_t_s=None, ambiguous=False)
    home = state.home if state.settled else None
    nearest = min(those, key=lambda p: _apart_bh(home, p)) if home is not None else those[0]
    best, near_thing = _choose(those, size_wh)
    better_t_s = None
    if home is not None and _apart_bh(home, nearest) <= AT_HOME_BH:
        # Somebody at home alone may be the other one, passing in front: home stays where it is.
        chosen = home if held else nearest
        ambiguous, seen_s = state.ambiguous and (crowd or held), t_s
        better = _score(best, size_wh) - _score(nearest, size_wh) > BETTER_SCORE
        if better and not locked and (best.address or not nearest.address):
            better_t_s = t_s if state.better_t_s is None else state.better_t_s
            if t_s - better_t_s >= BETTER_S:
                chosen, ambiguous, better_t_s = best, near_thing, None
    elif home is not None and t_s - state.home_seen_s < (
        HOME_EMPTY_S if crowd or held else ALONE_EMPTY_S
    ):
        # The player may be hidden behind the other one for a moment.
        chosen, ambiguous, seen_s = home, state.ambiguous, state.home_seen_s
    else:
        chosen, ambiguous, seen_s = best, near_thing, t_s
    return replace(
        state,
        home=chosen,
        others=_others(those, chosen) if crowd else state.others * held,
        crowd_t_s=t_s if crowd else (state.crowd_t_s if held else None),
        home_seen_s=seen_s,
        astray=state.astray and seen_s < t_s,
        settled=True,
        better_t_s=better_t_s,
        ambiguous=ambiguous,
    )


def visible_box(state: Following, size_wh: tuple[int, int]) -> Box | None:
    """Return the part of the picture the tracker may see; None is all of it.

    On the side of another person the box ends at their body, but never so near that the
    player's own arms would be cut.
    """
    if state.home is None or state.crowd_t_s is None:
        return None
    unit, (x, _) = state.home.height_px, state.home.hips_px
    left, right = x - REACH_BH * unit, x + REACH_BH * unit
    for other in state.others:
        near = other.hips_px[0]
        body = HALF_BODY_BH * other.height_px
        if near > x:
            right = min(right, max(near - body, x + MIN_REACH_BH * unit))
        else:
            left = max(left, min(near + body, x - MIN_REACH_BH * unit))
    width, height = size_wh
    return (
        max(left, 0.0),
        max(state.home.top_px - ABOVE_BH * unit, 0.0),
        min(right, width - 1.0),
        min(state.home.bottom_px + BELOW_BH * unit, height - 1.0),
    )


def notice(state: Following, size_wh: tuple[int, int]) -> str:
    """Return plain words for the player while more than one person is about; else empty."""
    if state.home is None or state.crowd_t_s is None:
        return ""
    count = len(state.others) + 1
    number = {2: "two", 3: "three"}.get(count, "several")
    third = size_wh[0] / 3
    x = state.home.hips_px[0]
    where = "in the middle" if third <= x <= 2 * third else "at the side"
    words = f"{number} people in view: following the one {where}"
    return f"{words}; if that is wrong, the other steps out" if state.ambiguous else words


def _choose(people: Sequence[Person], size_wh: tuple[int, int]) -> tuple[Person, bool]:
    """Return the likeliest player (large, near the middle) and whether it was a near thing."""
    ranked = sorted(people, key=lambda who: _score(who, size_wh), reverse=True)
    gap = _score(ranked[0], size_wh) - _score(ranked[1], size_wh) if len(ranked) > 1 else 1.0
    return ranked[0], gap < AMBIGUOUS_SCORE


def _score(who: Person, size_wh: tuple[int, int]) -> float:
    """Return how much like the player somebody looks. Weights chosen by eye."""
    width, height = size_wh
    middling = who.height_px / height - 1.5 * abs(who.hips_px[0] - width / 2) / width
    return middling + ADDRESS_SCORE * who.address


def _distinct(people: Sequence[Person]) -> list[Person]:
    kept: list[Person] = []
    for one in people:
        if all(_apart_bh(other, one) > SAME_PERSON_BH for other in kept):
            kept.append(one)
    return kept


def _others(people: Sequence[Person], chosen: Person) -> tuple[Person, ...]:
    return tuple(one for one in people if _apart_bh(chosen, one) > SAME_PERSON_BH)


def _apart_bh(home: Person, other: Person) -> float:
    """Return the distance between two people's hips in ``home``'s body heights."""
    return math.dist(home.hips_px, other.hips_px) / home.height_px


def _toward(home: Person, seen: Person, share: float) -> Person:
    """Return ``home`` moved a share of the way; the crouch of a swing must not shrink it."""
    mix = [old + share * (new - old) for old, new in zip(home.hips_px, seen.hips_px, strict=True)]
    return Person(
        hips_px=(mix[0], mix[1]),
        top_px=home.top_px + share * (seen.top_px - home.top_px),
        bottom_px=home.bottom_px + share * (seen.bottom_px - home.bottom_px),
        address=seen.address,
    )
