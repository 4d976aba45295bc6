"""The tags of one rigid part together: its rotation, what is learned, and who slipped."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot
from trainer.core.tag_middle import Middle, middle_of
from trainer.core.tag_mount import ALIKE, Mount, at_setup, begun, gives_deg, learned, moved_to
from trainer.core.tag_pose import TagPose
from trainer.core.tag_roles import BY_NUMBER, ROLES, Part
from trainer.core.tag_ties import UNKNOWN_RAD2, Ties

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
#: Guesses of a part by other means err alike while it hardly turns: within a step of so many
#: degrees each picture's says less than the one before, and the steps' do so a little. Chosen.
_GUESS_STEP_DEG: Final = 8.0
_GUESS_ALIKE: Final = 1.5
#: A part's rotation from several tags is sought in so many rounds, or until it is still.
_ROUNDS: Final = 4
_STILL_RAD: Final = 1e-4
_ORDER: Final = {role.number: place for place, role in enumerate(ROLES)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fused:
    """A part's rotation and move since the setup, in the camera's axes."""

    numbers: tuple[int, ...]
    rotation: FloatArray  #: (3, 3)
    spread: FloatArray  #: (3, 3) covariance, small rotation from the left, rad^2
    moved_m: FloatArray  #: (3,) of the point that the part's places are counted from
    place_spread: FloatArray  #: (3, 3) covariance, m^2
    middle_m: FloatArray  #: (3,) what the part's middle has moved by
    middle_spread: FloatArray  #: (3, 3) covariance, m^2


class PartTags:
    """Knows the tags of one part of one player."""

    def __init__(self, part: Part) -> None:
        self._part = part
        self._mounts: dict[int, Mount] = {}
        self._ties = Ties()
        self._middles: Mapping[int, Middle] = {}
        self._origin_m: FloatArray | None = None  # of the part's middle at the setup
        self._guessed = 0
        self._step = -1
        self._off_s: dict[int, float] = {}
        self._forgotten: set[int] = set()
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

    def zero(
        self,
        poses: Sequence[TagPose],
        *,
        alike: float = ALIKE,
        middles: Mapping[int, Middle] | None = None,
    ) -> bool:
        """Take ``poses``, all of the setup, as the new zero; False when there are too few.

        So many poses of one tag tell as much as one whose error is its own: ``alike``.
        ``middles`` tells by number where the part's middle lies at the setup.
        """
        self._middles = middles or {}
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
        kept = self._carried(fresh)
        self._mounts, self._origin_m, self._now = {**kept, **fresh}, origin, None
        self._off_s.clear()
        self._guessed = 0
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
        beyond: tuple[FloatArray, FloatArray] | None = None,
    ) -> Fused | None:
        """Return what the known tags among ``poses`` say, and learn from them; None: nothing.

        ``off_hint`` tells how far a part's rotation is from what is known by other means. ``soon``
        after the setup is what it can but have turned by, (3, 3), and its covariance (3, 3).
        ``beyond`` is the same once its known tags are out of sight.
        """
        passed_s = 0.0 if self._t_s is None else min(t_s - self._t_s, _GAP_S)
        self._t_s = t_s
        if self._origin_m is None:
            return None
        telling = {p.number: p for p in poses if self._knows(p.number)}
        slipped = self._slipped(telling, passed_s, off_hint)
        for number in slipped:
            del telling[number]
        fused = self._fused(list(telling.values()))
        # A tag that contradicts is not learned on: it would slip unsaid into its new place.
        fit = [pose for pose in poses if pose.number not in slipped]
        if fused is None:
            self._learn_unseen(fit, self._turned_on(t_s), beyond)
            return None
        self._now = (t_s, fused)
        self._lately.append(self._now)
        while self._lately[0][0] < t_s - _ON_S:
            self._lately.popleft()
        if soon is not None:
            sure = [pose for pose in fit if not pose.ambiguous]
            step = int(rot.angle_deg(np.eye(3), soon[0]) // _GUESS_STEP_DEG)
            if step != self._step:
                self._step, self._guessed = step, 0
            if sure:
                self._guessed += 1
            alike = _GUESS_ALIKE * max(self._guessed, 1)
            self._learn(sure, soon[0], soon[1] * alike, fused.moved_m)
        else:
            fit = [p for p in fit if p.number in telling or not p.ambiguous]
            self._learn(fit, fused.rotation, None, fused.moved_m)
        return fused

    def lately(self, t_s: float, fresh_s: float) -> FloatArray | None:
        """Return the part's last rotation (3, 3) by tags; None when that is longer ago."""
        if self._now is None or t_s - self._now[0] > fresh_s:
            return None
        return self._now[1].rotation

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

    def _one(
        self, pose: TagPose, around: FloatArray, alike: float = 1.0
    ) -> tuple[int, FloatArray, FloatArray]:
        """Return what one tag says of the part's turn beyond ``around``, as ``Ties.told`` asks."""
        mount = self._mounts[pose.number]
        value = rot.to_vector(around.T @ pose.rotation @ mount.rotation.T)
        gives = np.eye(3) * np.radians(gives_deg(pose.number, around)) ** 2
        return pose.number, value, (around.T @ pose.spread[:3, :3] @ around + gives) * alike

    def _fused(self, poses: Sequence[TagPose]) -> Fused | None:
        if not poses or self._origin_m is None:
            return None
        surest = min(
            poses, key=lambda p: float(np.trace(p.spread[:3, :3] + self._ties.of(p.number)))
        )
        rotation = surest.rotation @ self._mounts[surest.number].rotation.T
        for _ in range(_ROUNDS):
            told = self._ties.told([self._one(pose, rotation) for pose in poses])
            rotation = rotation @ rot.from_vector(told.turned)
            if float(np.linalg.norm(told.turned)) < _STILL_RAD:
                break
        spread = rotation @ told.spread @ rotation.T
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
        moved = place_spread @ pulls - self._origin_m
        known = {n: mount for n, mount in self._mounts.items() if mount.known}
        middle, unsure = middle_of(self._middles, known)
        swung = rotation - np.eye(3)
        return Fused(
            numbers=tuple(sorted((p.number for p in poses), key=_ORDER.__getitem__)),
            rotation=rotation,
            spread=spread,
            moved_m=moved,
            place_spread=place_spread,
            middle_m=moved + swung @ middle,
            middle_spread=place_spread + swung @ unsure @ swung.T,
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
            middle_m=last.middle_m,
            middle_spread=last.middle_spread,
        )

    def _learn_unseen(
        self,
        poses: Sequence[TagPose],
        on: Fused | None,
        beyond: tuple[FloatArray, FloatArray] | None,
    ) -> None:
        """Learn tags while none that is known is seen, from where the part is thought to be."""
        guesses = [] if on is None else [(on.rotation, on.spread)]
        guesses += [] if beyond is None else [beyond]
        sure = [pose for pose in poses if not pose.ambiguous]
        if not guesses or not sure:
            return
        rotation, spread = min(guesses, key=lambda guess: float(np.trace(guess[1])))
        # The guess is wrong by the same all the time: each picture's says less than the one before.
        seen = max(self._mounts[p.number].samples if p.number in self._mounts else 0 for p in sure)
        moved = np.zeros(3) if not self._lately else self._lately[-1][1].moved_m
        self._learn(sure, rotation, rotation.T @ spread @ rotation * (1 + seen), moved)

    def _learn(
        self,
        poses: Sequence[TagPose],
        around: FloatArray,
        guess: FloatArray | None,
        moved_m: FloatArray,
    ) -> None:
        """Learn how tags seen at once sit: each beside the others, and beside ``guess``.

        ``guess`` (3, 3) is the covariance of ``around`` (3, 3) as the part's rotation; None: only
        the others tell.
        """
        if self._origin_m is None or not poses or (guess is None and len(poses) < 2):
            return
        origin = self._origin_m + moved_m
        knew = {pose.number for pose in poses if self._knows(pose.number)}
        for pose in poses:
            if pose.number not in self._mounts:
                place = around.T @ (pose.place_m - origin)
                nothing = np.eye(3) * UNKNOWN_RAD2
                self._mounts[pose.number] = begun(around.T @ pose.rotation, place, nothing)
                self._ties.add(pose.number, nothing)
        said = [self._one(pose, around, ALIKE) for pose in poses]
        told = self._ties.told(said, guess)
        self._ties.keep(told)
        for number, off in told.mounts.items():
            mount = self._mounts[number]
            turned = rot.from_vector(off) @ mount.rotation
            self._mounts[number] = replace(mount, rotation=turned, spread=self._ties.of(number))
        rotation = around @ rot.from_vector(told.turned)
        for pose in poses:
            if not self._mounts[pose.number].at_setup:
                mount = learned(self._mounts[pose.number], pose, rotation, origin)
                self._mounts[pose.number] = mount
                if pose.number not in knew and mount.known:
                    anew = " anew" if pose.number in self._forgotten else ""
                    self._words.append(
                        f"the {BY_NUMBER[pose.number].name} tag is learned{anew}: it keeps its "
                        f"place to {max(mount.scatter_deg, 0.1):.1f} degrees"
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
        ones = {n: pose.rotation @ self._mounts[n].rotation.T for n, pose in telling.items()}
        # The one to hold to: nearest the hint where there is one, else the one of the setup.
        order = sorted(ones, key=lambda n: (not self._mounts[n].at_setup, _ORDER[n]))
        if off_hint is not None:
            order.sort(key=lambda n: off_hint(ones[n]))
        held, out = order[0], []
        for number in order[1:]:
            gap = rot.to_vector(ones[held].T @ ones[number])
            size = float(np.linalg.norm(gap))
            along = gap / max(size, 1e-9)
            _, _, one = self._one(telling[number], ones[held])
            _, _, other = self._one(telling[held], ones[held])
            apart = one + other + self._ties.between(number, held)
            error = float(np.sqrt(along @ apart @ along))
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
        self._ties.drop(number)
        self._forgotten.add(number)
        self._off_s[number] = 0.0

    def _carried(self, fresh: Mapping[int, Mount]) -> dict[int, Mount]:
        """Return what stays known of tags not seen at the new setup, in its axes."""
        shared = [n for n in fresh if self._knows(n)]
        if not shared:
            self._ties = Ties({n: mount.spread for n, mount in fresh.items()})
            return {}
        by = min(shared, key=lambda n: float(np.trace(fresh[n].spread + self._mounts[n].spread)))
        old, new = self._mounts[by], fresh[by]
        rotation = new.rotation @ old.rotation.T
        # The tag's place is the same point: new origin + new place = old origin, moved, + place.
        shift = new.place_m - rotation @ old.place_m
        self._ties.turned(rotation)
        self._ties.rezeroed({n: mount.spread for n, mount in fresh.items()}, by)
        return {
            n: replace(moved_to(mount, rotation, shift), spread=self._ties.of(n))
            for n, mount in self._mounts.items()
            if n not in fresh
        }
