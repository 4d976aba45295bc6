"""The tags of one rigid part together: its rotation, what is learned, and who slipped."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot
from trainer.core.tag_mount import (
    ALIKE,
    CLOTHES_DEG,
    Mount,
    at_setup,
    learned,
    moved_to,
    settled,
)
from trainer.core.tag_pose import TagPose
from trainer.core.tag_roles import BY_NUMBER, ROLES, Part

FloatArray = NDArray[np.float64]

#: Tags of one part contradict each other from this angle on, if it is beyond three errors.
SLIP_DEG: Final = 10.0
#: So long they must do so, in time in which both are seen, before one is learned anew.
SLIP_S: Final = 1.0
#: A gap longer than this between two pictures counts as this much.
_GAP_S: Final = 0.2
#: Poses of a tag that make a setup.
_SETUP_POSES: Final = 3
#: How deep under each tag its part's middle lies, in metres. By eye, from a grown-up's build: half
#: a trunk's depth or width, and the ears' line behind a cap's front.
_DEPTH_M: Final = {0: 0.12, 1: 0.16, 2: 0.14, 3: 0.16, 10: 0.12, 11: 0.15, 20: 0.10}
#: A part whose known tags have just gone out of sight is taken to turn on as it did over this time,
#: for as long, so that a tag that comes in meanwhile is learned.
_ON_S: Final = 0.25
#: How fast a turning part changes its pace: by the pace squared over this many degrees, and by so
#: many degrees a second squared. A minimum-jerk turn by D degrees has at most its greatest pace
#: squared over 0.61 D (T. Flash, N. Hogan, J Neurosci 5, 1985).
_PACE_OVER_DEG: Final = 50.0
_PACE_DEG_S2: Final = 15.0
_ORDER: Final = {role.number: place for place, role in enumerate(ROLES)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fused:
    """A part's rotation and move since the setup, in the camera's axes."""

    numbers: tuple[int, ...]
    rotation: FloatArray  #: (3, 3)
    spread: FloatArray  #: (3, 3) covariance, small rotation from the left, rad^2
    moved_m: FloatArray  #: (3,) of the part's middle
    place_spread: FloatArray  #: (3, 3) covariance, m^2


class PartTags:
    """Knows the tags of one part of one player."""

    def __init__(self, part: Part) -> None:
        self._part = part
        self._mounts: dict[int, Mount] = {}
        self._origin_m: FloatArray | None = None  # of the part's middle at the setup
        self._off_s: dict[int, float] = {}
        self._words: list[str] = []
        self._t_s: float | None = None
        self._now: tuple[float, Fused] | None = None
        self._lately: deque[tuple[float, Fused]] = deque()

    @property
    def mounts(self) -> Mapping[int, Mount]:
        """What is learned so far, by number, in the order of the roles at no time promised."""
        return self._mounts

    def words(self) -> tuple[str, ...]:
        """Return what was noticed since the last call, in plain words."""
        words, self._words = tuple(self._words), []
        return words

    def zero(self, poses: Sequence[TagPose], *, alike: float = ALIKE) -> bool:
        """Take ``poses``, all of the setup, as the new zero; False when there are too few.

        So many poses of one tag tell as much as one whose error is its own: ``alike``.
        """
        by_number: dict[int, list[TagPose]] = {}
        for pose in poses:
            by_number.setdefault(pose.number, []).append(pose)
        seen = {n: own for n, own in by_number.items() if len(own) >= _SETUP_POSES}
        if not seen:
            # How the tags sit beside each other is kept for the next setup that sees one.
            self._mounts = {n: replace(m, at_setup=False) for n, m in self._mounts.items()}
            self._origin_m, self._now = None, None
            self._lately.clear()
            return False
        first = min(seen, key=_ORDER.__getitem__)
        lead = at_setup(seen[first], np.zeros(3), alike=alike)
        origin = lead.place_m + lead.rotation[:, 2] * _DEPTH_M[first]
        fresh = {n: at_setup(own, origin, alike=alike) for n, own in seen.items()}
        kept = self._carried(fresh, origin)
        self._mounts, self._origin_m, self._now = {**kept, **fresh}, origin, None
        self._off_s.clear()
        self._lately.clear()
        return True

    def front_normal(self) -> FloatArray | None:
        """Return the outward normal at setup, (3,), of the part's front tag; None if unseen."""
        front = min(
            (n for n in BY_NUMBER if BY_NUMBER[n].part is self._part), key=_ORDER.__getitem__
        )
        mount = self._mounts.get(front)
        return None if mount is None or not mount.at_setup else -mount.rotation[:, 2]

    def see(
        self,
        t_s: float,
        poses: Sequence[TagPose],
        *,
        off_hint: Callable[[FloatArray], float] | None = None,
        soon: tuple[FloatArray, FloatArray] | None = None,
    ) -> Fused | None:
        """Return what the known tags among ``poses`` say, and learn from them; None: nothing.

        ``off_hint`` tells how far a part's rotation is from what is known by other means. ``soon``
        after the setup is what it can but have turned by, (3, 3), and its covariance (3, 3).
        """
        passed_s = 0.0 if self._t_s is None else min(t_s - self._t_s, _GAP_S)
        self._t_s = t_s
        if self._origin_m is None:
            return None
        telling = {p.number: p for p in poses if self._knows(p.number)}
        if soon is not None:
            for number, pose in telling.items():
                if self._mounts[number].at_setup and not pose.ambiguous:
                    self._mounts[number] = settled(self._mounts[number], pose, soon[0], soon[1])
        slipped = self._slipped(telling, passed_s, off_hint)
        for number in slipped:
            del telling[number]
        fused = self._fused(list(telling.values()))
        if fused is None:
            for pose in poses:
                if pose.number not in slipped:
                    self._learn(pose, self._turned_on(t_s))
            return None
        self._now = (t_s, fused)
        self._lately.append(self._now)
        while self._lately[0][0] < t_s - _ON_S:
            self._lately.popleft()
        for pose in poses:
            # A tag that contradicts is not learned on: it would slip unsaid into its new place.
            if pose.number in slipped:
                continue
            if pose.number not in telling or not self._mounts[pose.number].at_setup:
                others = [p for p in telling.values() if p.number != pose.number]
                self._learn(pose, self._fused(others))
        return fused

    def expected(self) -> Iterator[tuple[int, FloatArray, float, float]]:
        """Yield (number, rotation (3, 3), time, error in degrees) of each known tag.

        As the part's last reading, of that time, has it.
        """
        if self._now is None:
            return
        t_s, fused = self._now
        for number, mount in self._mounts.items():
            if mount.known:
                se = float(np.degrees(np.sqrt(np.trace(fused.spread + mount.spread) / 3)))
                yield number, fused.rotation @ mount.rotation, t_s, se

    def _knows(self, number: int) -> bool:
        mount = self._mounts.get(number)
        return mount is not None and mount.known

    def _one(self, pose: TagPose) -> tuple[FloatArray, FloatArray]:
        """Return the part's rotation by one tag, and its covariance."""
        mount = self._mounts[pose.number]
        rotation = pose.rotation @ mount.rotation.T
        spread = pose.spread[:3, :3] + rotation @ mount.spread @ rotation.T
        return rotation, spread + np.eye(3) * np.radians(CLOTHES_DEG) ** 2

    def _fused(self, poses: Sequence[TagPose]) -> Fused | None:
        if not poses or self._origin_m is None:
            return None
        ones = [self._one(pose) for pose in poses]
        rotation, spread = rot.weighted_mean([o[0] for o in ones], [o[1] for o in ones])
        says: FloatArray = np.zeros((3, 3))
        pulls: FloatArray = np.zeros(3)
        for pose in poses:
            mount = self._mounts[pose.number]
            arm = rotation @ mount.place_m
            lever = rot.cross_matrix(arm)
            # Near edge-on or square a tag's distance and attitude err together: both are told.
            noise = pose.spread[3:, 3:] + np.eye(3) * mount.place_var_m2 + lever @ spread @ lever.T
            say = np.linalg.inv(noise)
            says += say
            pulls += say @ (pose.place_m - arm)
        place_spread: FloatArray = np.asarray(np.linalg.inv(says), np.float64)
        return Fused(
            numbers=tuple(sorted((p.number for p in poses), key=_ORDER.__getitem__)),
            rotation=rotation,
            spread=spread,
            moved_m=place_spread @ pulls - self._origin_m,
            place_spread=place_spread,
        )

    def _turned_on(self, t_s: float) -> Fused | None:
        """Return where the part is thought to be though no known tag is seen; None: too long."""
        if len(self._lately) < 2:
            return None
        (first_s, first), (last_s, last) = self._lately[0], self._lately[-1]
        span_s, on_s = last_s - first_s, t_s - last_s
        if on_s > _ON_S or span_s < _ON_S / 3:
            return None
        pace = rot.to_vector(last.rotation @ first.rotation.T) / span_s
        ease = float(pace @ pace) / np.radians(_PACE_OVER_DEG) + np.radians(_PACE_DEG_S2)
        # The pace is of the middle of its time, and both its ends err.
        rough = ease * on_s * (on_s + span_s) / 2
        share = on_s / span_s
        return Fused(
            numbers=last.numbers,
            rotation=rot.from_vector(pace * on_s) @ last.rotation,
            spread=last.spread * (1 + share) ** 2 + first.spread * share**2 + np.eye(3) * rough**2,
            moved_m=last.moved_m + (last.moved_m - first.moved_m) * share,
            place_spread=last.place_spread * (1 + share) ** 2 + first.place_spread * share**2,
        )

    def _learn(self, pose: TagPose, fused: Fused | None) -> None:
        if fused is None or self._origin_m is None or pose.ambiguous:
            return
        knew = self._knows(pose.number)
        self._mounts[pose.number] = learned(
            self._mounts.get(pose.number),
            pose,
            fused.rotation,
            fused.spread,
            self._origin_m + fused.moved_m,
        )
        if not knew and self._knows(pose.number):
            held_deg = self._mounts[pose.number].scatter_deg
            self._words.append(
                f"the {BY_NUMBER[pose.number].name} tag is learned: it keeps its place to "
                f"{max(held_deg, 0.1):.1f} degrees"
            )

    def _slipped(
        self,
        telling: Mapping[int, TagPose],
        passed_s: float,
        off_hint: Callable[[FloatArray], float] | None,
    ) -> list[int]:
        """Return the tags not to be believed in this picture, and forget those off for long."""
        if len(telling) < 2:
            return []
        ones = {number: self._one(pose) for number, pose in telling.items()}
        # The one to hold to: nearest the hint where there is one, else the one of the setup.
        order = sorted(ones, key=lambda n: (not self._mounts[n].at_setup, _ORDER[n]))
        if off_hint is not None:
            order.sort(key=lambda n: off_hint(ones[n][0]))
        held, out = order[0], []
        for number in order[1:]:
            gap = rot.to_vector(ones[number][0] @ ones[held][0].T)
            size = float(np.linalg.norm(gap))
            along = gap / max(size, 1e-9)
            error = float(np.sqrt(along @ (ones[number][1] + ones[held][1]) @ along))
            if np.degrees(size) < SLIP_DEG or size < 3 * error:
                self._off_s[number] = 0.0
                continue
            out.append(number)
            self._off_s[number] = self._off_s.get(number, 0.0) + passed_s
            if self._off_s[number] >= SLIP_S:
                self._forget(number, held, float(np.degrees(size)))
        return out

    def _forget(self, number: int, held: int, gap_deg: float) -> None:
        name, other = BY_NUMBER[number].name, BY_NUMBER[held].name
        self._words.append(
            f"the {name} tag and the {other} tag disagree by {gap_deg:.0f} degrees: one of them "
            f"slipped. The {name} tag is learned anew; if the {other} tag was the one, take a "
            "new setup"
        )
        del self._mounts[number]
        self._off_s[number] = 0.0

    def _carried(self, fresh: Mapping[int, Mount], origin: FloatArray) -> dict[int, Mount]:
        """Return what stays known of tags not seen at the new setup, in its axes."""
        shared = [n for n in fresh if self._knows(n)]
        if not shared:
            return {}
        by = min(shared, key=lambda n: float(np.trace(self._mounts[n].spread)))
        old, new = self._mounts[by], fresh[by]
        rotation = new.rotation @ old.rotation.T
        # The tag's place is the same point: new origin + new place = old origin, moved, + place.
        shift = new.place_m - rotation @ old.place_m
        return {
            n: moved_to(mount, rotation, shift)
            for n, mount in self._mounts.items()
            if n not in fresh
        }
