"""Stiff cards with printed tags on a dressed body: where they sit and how they ride. Pure numpy.

A card is put on the body at rest, flat on whatever is outermost there: skin, shirt or skirt. In
the clip's first picture it lies where the surface under it has gone. From there it rides on its
part's bone, and takes along a share (``Worn.soft``) of what the surface under it does beside the
bone; the cloth slips by a few millimetres and degrees as the part turns; and the surface pushes
it outwards where it would go through.

Why a share: the skin of the body model is blended over long stretches of the spine. At the top of
a full turn the skin over the breastbone lags the upper thorax by 9 degrees and that over the
buckle leads the pelvis by 12. A breastbone moves with its ribs, and a belt with the pelvis that
it is tightened round, both within a few degrees. 0.3 makes it 3 and 4 degrees: chosen, no source.

A card's axes are a reader's: x right and y down as it is read, z into the card
(``trainer.core.tag_pose``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.print_sheets import tag_place
from trainer.core.tag_roles import BY_NUMBER, Part
from trainer.lab import clothes
from trainer.lab import rotations as rot
from trainer.lab.body import Body

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Chest, lead side, belt and belt on the lead side: what every player is told to wear.
USUAL: Final = (0, 1, 10, 11)
BONES: Final = {Part.THORAX: "spine01", Part.PELVIS: "root", Part.HEAD: "head"}
#: By number: degrees round the body from the front towards the lead side, and the height of the
#: card's middle for a body 1.78 m tall. The breastbone reaches from 1.45 to 1.28 m. A side card
#: sits well to the front of the seam, looking about 50 degrees aside, and as low as the ribs go:
#: straight on the side, or under the sleeve, it is seen only when the lead arm has long covered
#: the chest's.
_PLACES: Final = {
    0: (0.0, 1.39),
    1: (58.0, 1.23),
    2: (135.0, 1.27),
    3: (-65.0, 1.27),
    10: (0.0, 1.01),
    11: (60.0, 1.01),
    20: (0.0, 1.72),
}
_LIFT_M: Final = 0.0025
_CELL_M: Final = 0.025
#: The surface is a coarse mesh: points so far beside a card also push it.
_RIM_M: Final = 0.02
#: No farther: where a thigh comes up under a card on the belt it shows over the card's edge.
_PUSH_M: Final = 0.025
_GRID: Final = 13


@dataclass(frozen=True, slots=True, kw_only=True)
class Worn:
    """Which tags a player wears and how well. The spreads are one standard deviation."""

    numbers: tuple[int, ...] = USUAL
    size_cm: float = 12.0  #: side of the black square as it was asked for
    print_scale: float = 1.0  #: 0.96 where the printer shrank the page
    upside_down: tuple[int, ...] = ()  #: numbers worn so
    off_deg: float = 3.0  #: how crooked a card is put on; half as much again round the body
    off_cm: float = 1.0  #: how far from its place
    bend_mm: float = 1.5  #: how far a card's edges bend back from its middle
    soft: float = 0.3  #: share of the surface's own motion beside the bone that a card takes along
    slip: float = 1.0  #: how much the cloth slips; 0 is glued on
    gloss: float = 0.08  #: strength of the lamps' reflection; 0.08 is matt paper
    seed: int = 0

    @property
    def tag_m(self) -> float:
        """Side of the black square as it came out of the printer."""
        return self.size_cm / 100.0 * self.print_scale

    @property
    def card_m(self) -> tuple[float, float]:
        """Width and height of the card."""
        card = tag_place(10.0 * self.size_cm, "a4").card
        return card.width / 1000.0 * self.print_scale, card.height / 1000.0 * self.print_scale


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A card in the scene in one picture. World axes of trainer.lab.body."""

    number: int
    middle_m: Floats  #: (3,)
    axes: Floats  #: (3, 3), columns: right, down and into the card
    tag_m: float  #: side of the black square
    bend: float  #: how far a point one metre from the middle is bent back, metres
    along: int  #: 0: bent along right, as round an upright tube; 1: along down

    def at(self, across_down: Floats) -> Floats:
        """Return the points (..., 3) of the bent card at metres right and down of its middle."""
        back = self.bend * across_down[..., self.along] ** 2
        flat = np.concatenate([across_down, back[..., None]], axis=-1)
        return self.middle_m + flat @ self.axes.T

    @property
    def corners_m(self) -> Floats:
        """Corners (4, 3) of the black square, from the printed tag's top left on clockwise."""
        half = self.tag_m / 2
        return self.at(half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]))

    @property
    def facing(self) -> Floats:
        """Where the card's front looks, (3,)."""
        return -self.axes[:, 2]


@dataclass(frozen=True, slots=True, eq=False)
class _Card:
    """A card on the body at rest."""

    number: int
    middle_m: Floats
    axes: Floats
    patch: Ints  #: points of the surface that it lies on
    under: Ints  #: all points under it
    slip: Floats  #: (5,) metres right and down, radians about right, down and into, at 90 degrees
    bend: float
    along: int


class Cards:
    """The cards of one player. ``surface`` is all points that a card could lie on, at rest."""

    def __init__(self, body: Body, worn: Worn, surface: Floats, free: NDArray[np.bool_]) -> None:
        """Put the cards on.

        ``surface`` (P, 3) is skin and clothes at rest, ``free`` (P,) which of it may carry a
        card. Raises ValueError for a number without a place.
        """
        self._body, self.worn, self._rest = body, worn, surface
        rng = np.random.default_rng([worn.seed, 61])
        self._cards = [_put_on(body, worn, n, surface, free, rng) for n in worn.numbers]
        self._start: list[tuple[Floats, Floats, Floats, Floats]] = []

    def ride(
        self, surface: Floats, turns: Floats, joints: Floats, *, mirrored: bool
    ) -> list[Placed]:
        """Return the cards on a posed body; the first call is what later ones ride on from.

        ``surface`` (P, 3) as at rest, ``turns`` (B, 3, 3) and ``joints`` (B, 3) of its bones.
        ``mirrored``: the scene shows the body mirrored, the cards not.
        """
        bones = [self._body.bone(BONES[BY_NUMBER[card.number].part]) for card in self._cards]
        if not self._start:
            for card, bone in zip(self._cards, bones, strict=True):
                turn, shift = moved(self._rest[card.patch], surface[card.patch])
                self._start.append(
                    (turn @ card.middle_m + shift, turn @ card.axes, turns[bone], joints[bone])
                )
                self._first = surface
        return [
            self._ridden(card, start, surface, (turns[bone], joints[bone]), mirrored=mirrored)
            for card, start, bone in zip(self._cards, self._start, bones, strict=True)
        ]

    def _ridden(
        self,
        card: _Card,
        start: tuple[Floats, Floats, Floats, Floats],
        surface: Floats,
        now: tuple[Floats, Floats],
        *,
        mirrored: bool,
    ) -> Placed:
        middle, axes, turn_then, joint_then = start
        by_bone = now[0] @ turn_then.T
        there = surface[card.patch]
        by_skin, shift = moved(self._first[card.patch], there)
        soft = self.worn.soft
        turn = rot.between(by_bone, by_skin, soft)
        middle = (1 - soft) * (now[1] + by_bone @ (middle - joint_then)) + soft * (
            by_skin @ middle + shift
        )
        gone = np.arccos(np.clip((np.trace(by_bone) - 1) / 2, -1, 1)) / (np.pi / 2)
        axes = turn @ axes
        slip = card.slip * gone
        for column in range(3):
            way = axes[:, column].copy()
            axes = rot.about(way, np.degrees(slip[2 + column])) @ axes
        middle = middle + axes[:, :2] @ slip[:2]
        width, height = self.worn.card_m
        flat = (surface[card.under] - middle) @ axes
        half = np.array([width, height]) / 2 + _RIM_M
        under = np.all(np.abs(flat[:, :2]) < half, axis=1)
        if under.any():
            sunk = card.bend * flat[under, card.along] ** 2 - flat[under, 2]
            middle = middle - axes[:, 2] * (min(max(0.0, float(sunk.max())), _PUSH_M) + _LIFT_M)
        if mirrored:
            flip = np.array([-1.0, 1.0, 1.0])
            down, into = axes[:, 1] * flip, axes[:, 2] * flip
            middle, axes = middle * flip, np.stack([np.cross(down, into), down, into], axis=1)
        return Placed(card.number, middle, axes, self.worn.tag_m, card.bend, card.along)


def moved(before: Floats, after: Floats) -> tuple[Floats, Floats]:
    """Return the rotation (3, 3) and shift (3,) that bring points (P, 3) nearest to others.

    Least squares, by the singular value decomposition (K. S. Arun, T. S. Huang, S. D. Blostein,
    "Least-squares fitting of two 3-D point sets", IEEE PAMI 9, 1987).
    """
    first, last = before.mean(axis=0), after.mean(axis=0)
    left, _, right = np.linalg.svd((before - first).T @ (after - last))
    sign = np.sign(np.linalg.det(left @ right))
    turn = right.T @ np.diag([1.0, 1.0, sign]) @ left.T
    return turn, last - turn @ first


def grid(worn: Worn) -> tuple[Floats, Floats, Ints]:
    """Return a card's points (P, 2) metres right and down, where in its picture, and its faces.

    Places in the picture (P, 2) are shares of its width and height from its upper left corner.
    """
    steps = np.linspace(0.0, 1.0, _GRID)
    down, across = np.meshgrid(steps, steps, indexing="ij")
    share = np.stack([across.ravel(), down.ravel()], axis=1)
    first = (np.arange(_GRID - 1)[:, None] * _GRID + np.arange(_GRID - 1)).ravel()
    a, b, c, d = first, first + 1, first + _GRID, first + _GRID + 1
    faces = np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])
    return (share - 0.5) * np.array(worn.card_m), share, faces.astype(np.int64)


def free_points(body: Body, drape_counts: list[int], shells: list[clothes.Shell]) -> Floats:
    """Return for skin, shells and drapes in turn, (P,), how much of each point is arm.

    Drapes: all of it counts as arm but skirts', which come with a count; hair and hoods must not
    carry a card. (``drape_counts``: points of each drape, negative for one that may not.)
    """
    arm = clothes.share(body, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal"))
    parts = [arm]
    for shell in shells:
        parts.append((1 - shell.mix) * arm[shell.first] + shell.mix * arm[shell.second])
    parts += [np.full(abs(count), 0.0 if count > 0 else 1.0) for count in drape_counts]
    return np.concatenate(parts)


def _put_on(
    body: Body,
    worn: Worn,
    number: int,
    surface: Floats,
    free: NDArray[np.bool_],
    rng: np.random.Generator,
) -> _Card:
    if number not in _PLACES:
        raise ValueError(
            f"there is no place for a tag {number}. One of {', '.join(map(str, _PLACES))} was "
            "wanted. Give one of those."
        )
    k = body.vertices[:, 1].max() / 1.78
    round_deg, height = _PLACES[number]
    limits = np.array([2.0, 2.0])
    off = np.clip(rng.normal(size=2), -limits, limits) * worn.off_cm / 100.0
    angle = np.radians(round_deg + 1.5 * worn.off_deg * float(np.clip(rng.normal(), -2, 2)))
    crooked_deg = worn.off_deg * float(np.clip(rng.normal(), -2, 2))
    bend_m = worn.bend_mm / 1000.0 * float(np.clip(abs(rng.normal()), 0, 2.5))
    along = 0 if rng.random() < 0.8 else 1
    slip = rng.normal(size=5) * np.array([0.004, 0.004, 0.014, 0.014, 0.026]) * worn.slip
    out = np.array([np.sin(angle), 0.0, np.cos(angle)])
    tangent = np.array([np.cos(angle), 0.0, -np.sin(angle)])
    up = np.array([0.0, 1.0, 0.0])
    width, tall = worn.card_m
    level = height * k + off[1]
    band = free & (np.abs(surface[:, 1] - level) < tall / 2)
    depth = surface[band, 2]
    axis = np.array([0.0, level, (depth.min() + depth.max()) / 2])
    flat = (surface - axis) @ np.stack([tangent, up, out], axis=1)
    flat[:, 0] -= off[0]
    under = free & (flat[:, 2] > 0.02)
    under &= (np.abs(flat[:, 0]) < width) & (np.abs(flat[:, 1]) < tall)
    near = under & (np.abs(flat[:, 0]) < width / 2) & (np.abs(flat[:, 1]) < tall / 2)
    patch = _outermost(flat, np.flatnonzero(near))
    side, rise, far = flat[patch].T
    plane = np.stack([side, rise, np.ones(len(patch))], axis=1)
    slope = np.linalg.lstsq(plane, far, rcond=None)[0]
    facing = rot.unit(out - slope[0] * tangent - slope[1] * up)
    middle = (
        axis + tangent * off[0] + out * (slope[2] + max(0.0, float((far - plane @ slope).max())))
    )
    top = rot.across(up, facing)
    top = rot.about(facing, crooked_deg + (180.0 if number in worn.upside_down else 0.0)) @ top
    axes = np.stack([np.cross(top, facing), -top, -facing], axis=1)
    bend = bend_m / (worn.card_m[along] / 2) ** 2
    return _Card(number, middle, axes, patch, np.flatnonzero(under), slip, bend, along)


def _outermost(flat: Floats, near: Ints) -> Ints:
    """Return which of the points ``near`` no other lies much over, seen from outside."""
    cell = np.floor(flat[near, :2] / _CELL_M).astype(np.int64)
    _, where = np.unique(cell, axis=0, return_inverse=True)
    where = where.ravel()
    top = np.full(where.max(initial=0) + 1, -np.inf)
    np.maximum.at(top, where, flat[near, 2])
    return near[flat[near, 2] > top[where] - 0.01]
