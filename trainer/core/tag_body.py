"""Printed tags' poses -> how thorax, pelvis and head have turned and moved since the setup.

Which tag sits how is learned (``tag_mount``), so a tag may be put on crooked or upside down. A
part's rotation is the mean of what its tags say, each weighted by its surety, so one tag hands
over to the next as it turns out of sight. Where tags of one part contradict each other for long,
one has slipped: it is learned anew, and that is said.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot
from trainer.core import tag_axes as ax
from trainer.core.records import Handed
from trainer.core.tag_middle import hip_middles
from trainer.core.tag_mount import ALIKE, CLOTHES_DEG
from trainer.core.tag_part import Fused, PartTags
from trainer.core.tag_pose import Hint, TagPose
from trainer.core.tag_reading import BodyTags, PartReading
from trainer.core.tag_roles import BY_NUMBER, Part
from trainer.core.tag_words import SizeWatch, placing_words

FloatArray = NDArray[np.float64]

#: How long poses are kept for a setup that is called out only when it has held.
KEEP_S: Final = 5.0
#: Pictures a setup is made of: neighbours tell the same, and a setup held is taken anew often.
SETUP_PICTURES: Final = 12
#: How fast a part turns and a last pose loses its worth, in degrees a second; at most so old.
_TURN_DEG_S: Final = 250.0
_FRESH_S: Final = 0.4
#: Turned by so much since the setup, a trunk has hardly done anything but turn about its own axis.
_SOON_DEG: Final = (2.0, 40.0)
#: Beside that turn it leans, and it bends to the side, by so many degrees and this share of the
#: turn: 26 rendered people leaned by 0.1 of it and bent by 0.2 (standard deviation; 2 degrees more
#: to the lead side early on).
_SOON_LEANS: Final = (0.5, 0.1)
_SOON_BENDS: Final = (2.0, 0.25)
#: How well other means tell so small a turn: degrees, and a share of it. Chosen.
_SOON_TURN_SE_DEG: Final = 6.0
_SOON_TURN_SHARE: Final = 0.4
#: The pelvis leans by this share of what the chest does at address. Chosen.
_PELVIS_PITCH: Final = 0.6
#: How well they tell a tag's attitude in the swing: so many degrees and this share of the turn,
#: for the trunk also straightens. Chosen; only which of two attitudes a tag has is asked of it.
_POINTS_DEG: Final = 8.0
_POINTS_SHARE: Final = 0.25
#: How well a card is put where it belongs, all axes together. Chosen.
_WORN_DEG: Final = 30.0
#: For so long after its last tag a part is thought to turn on as the body points do, and so unsure:
#: by degrees, and by shares of what it has turned since, along its axis and across. On rendered
#: people's development clips.
_BEYOND_S: Final = 2.0
_BEYOND_SE_DEG: Final = 1.0
_BEYOND_SHARE: Final = 0.25
_BEYOND_ACROSS: Final = 0.12
#: Turned by so much the axis a part turns about is known.
_AXIS_DEG: Final = 8.0


class TagBody:
    """One player's tags. Feed every picture's poses to ``see``; call ``zero`` at a setup."""

    def __init__(
        self, *, handed: Handed, up: FloatArray | None = None, stature_cm: float | None = None
    ) -> None:
        self._axes = ax.axes_of(handed, up)
        self._handed = handed
        self._middles = {Part.PELVIS: hip_middles(self._axes, stature_cm)}
        self._parts = {part: PartTags(part) for part in Part}
        self._kept: deque[tuple[float, tuple[TagPose, ...]]] = deque()
        self._last: dict[int, tuple[float, TagPose]] = {}
        self._facing: dict[Part, FloatArray] = {}
        #: When, what the thorax has turned by, by other means, and how well, in degrees.
        self._by_points: tuple[float, FloatArray, float] | None = None
        self._held: dict[Part, tuple[float, Fused, float]] = {}  # with the turn by other means
        self._size = SizeWatch()
        self._said: set[str] = set()
        self._pending: list[str] = []

    def see(
        self,
        t_s: float,
        poses: Sequence[TagPose],
        *,
        distance_hint_m: float | None = None,
        turn_hint_deg: float | None = None,
        hip_hint_deg: float | None = None,
        pitch_setup_deg: float | None = None,
    ) -> BodyTags:
        """Return what ``poses`` of the picture at ``t_s`` say.

        Tags without a role are left out, and those whose numbers no tag can have.

        ``distance_hint_m``: the player's distance as body size tells it, for noticing a tag
        printed in a wrong size. ``turn_hint_deg``: the thorax' turn by other means, for telling
        which of two tags slipped; ``hip_hint_deg``: the pelvis'. ``pitch_setup_deg``: where the
        chest pointed at the setup by other means, + above the level; with the turns it puts right
        how tags were read there, and tells where a part is when its tags go out of sight.
        Raises ValueError when time does not go on.
        """
        if self._kept and t_s <= self._kept[-1][0]:
            raise ValueError(f"time went from {self._kept[-1][0]} to {t_s}; it must go on")
        known = tuple(pose for pose in poses if pose.number in BY_NUMBER and _is_sane(pose))
        self._kept.append((t_s, known))
        while self._kept[0][0] < t_s - KEEP_S:
            self._kept.popleft()
        for pose in known:
            self._last[pose.number] = (t_s, pose)
        self._pending.extend(self._size.see(known, distance_hint_m))
        self._by_points = None
        if turn_hint_deg is not None and pitch_setup_deg is not None:
            rotation, _ = self._turned(turn_hint_deg, pitch_setup_deg)
            off_deg = _POINTS_DEG + _POINTS_SHARE * abs(turn_hint_deg)
            self._by_points = (t_s, rotation, off_deg)
        readings: dict[Part, PartReading | None] = {}
        for part, tags in self._parts.items():
            own = [pose for pose in known if BY_NUMBER[pose.number].part is part]
            hint = {Part.THORAX: turn_hint_deg, Part.PELVIS: hip_hint_deg}.get(part)
            pitch = pitch_setup_deg
            if pitch is not None and part is Part.PELVIS:
                pitch *= _PELVIS_PITCH
            soon = None if pitch is None else self._soon(hint, pitch)
            beyond = self._beyond(part, t_s, hint, pitch)
            off = self._off_hint(hint if part is Part.THORAX else None)
            fused = tags.see(t_s, own, off_hint=off, soon=soon, beyond=beyond)
            if fused is not None and hint is not None:
                self._held[part] = (t_s, fused, hint)
            self._pending.extend(tags.words())
            readings[part] = None if fused is None else self._reading(part, fused)
            self._pending.extend(placing_words(tags.mounts, self._axes, self._handed))
        return BodyTags(
            t_s=t_s,
            thorax=readings[Part.THORAX],
            pelvis=readings[Part.PELVIS],
            head=readings[Part.HEAD],
            cm_doubtful=bool(self._size.doubtful),
            quality_deg=self.quality_deg(),
            notices=self._new_words(),
        )

    def zero(self, from_s: float, to_s: float) -> tuple[Part, ...]:
        """Take the poses seen from ``from_s`` to ``to_s`` as the setup; return the parts zeroed.

        A part with no tag in that time has no setup: it reads None until the next. What was
        learned of its tags beside each other is kept where the old setup still tells it.
        """
        times = [(t_s, poses) for t_s, poses in self._kept if from_s <= t_s <= to_s]
        step = 1 + (len(times) - 1) // SETUP_PICTURES
        times = times[::-1][::step]
        zeroed = []
        for part, tags in self._parts.items():
            own = [p for _, ps in times for p in ps if BY_NUMBER[p.number].part is part]
            self._facing.pop(part, None)
            self._held.pop(part, None)
            middles = self._middles.get(part)
            if tags.zero(own, alike=max(ALIKE / step, 1.0), middles=middles):
                zeroed.append(part)
                self._facing[part] = ax.facing_of(tags.front_normal(), self._axes)
        return tuple(zeroed)

    def hints(self, t_s: float) -> dict[int, tuple[Hint, ...]]:
        """Return what is known beforehand of each tag's attitude at ``t_s``, by number.

        From the tag's own last pose, from its part as its other tags have it, and of the thorax
        from what other means told of its turn: a tag square to the camera at setup may have been
        taken for its mirror image, which turns the wrong way.
        """
        out: dict[int, list[Hint]] = {}
        for number, (then_s, pose) in self._last.items():
            if t_s - then_s <= _FRESH_S and not pose.ambiguous:
                se_deg = 3.0 + max(pose.se_deg) + _TURN_DEG_S * (t_s - then_s)
                out.setdefault(number, []).append(Hint(rotation=pose.rotation, se_deg=se_deg))
        for tags in self._parts.values():
            for number, rotation, then_s, se_deg in tags.expected():
                if t_s - then_s <= _FRESH_S:
                    se_deg = 3.0 + CLOTHES_DEG + se_deg + _TURN_DEG_S * (t_s - then_s)
                    out.setdefault(number, []).append(Hint(rotation=rotation, se_deg=se_deg))
        if self._by_points is not None and t_s - self._by_points[0] <= _FRESH_S:
            then_s, turned, off_deg = self._by_points
            for number, mount in self._parts[Part.THORAX].mounts.items():
                if mount.known:
                    se_deg = off_deg + _TURN_DEG_S * (t_s - then_s)
                    hint = Hint(rotation=turned @ mount.rotation, se_deg=se_deg)
                    out.setdefault(number, []).append(hint)
        for number, rotation in self._where_worn(t_s).items():
            hint = Hint(rotation=rotation, se_deg=_WORN_DEG)
            out.setdefault(number, []).append(hint)
        return {number: tuple(hints) for number, hints in out.items()}

    def _where_worn(self, t_s: float) -> dict[int, FloatArray]:
        """Return how tags not yet known lie now if they are worn where they belong, by number."""
        out = {}
        for part, tags in self._parts.items():
            now = tags.lately(t_s, _FRESH_S)
            if now is None and part is Part.THORAX and self._by_points is not None:
                now = self._by_points[1]
            if now is None:
                continue
            for number, role in BY_NUMBER.items():
                mount = tags.mounts.get(number)
                if role.part is part and (mount is None or not mount.known):
                    round_deg = role.round_deg * (1.0 if self._handed is Handed.RIGHT else -1.0)
                    out[number] = now @ rot.from_vector(np.array([0, -np.radians(round_deg), 0]))
        return out

    def quality_deg(self) -> Mapping[int, float]:
        """Return by number how well each known tag holds still on its part, RMS in degrees."""
        return {
            number: mount.scatter_deg
            for tags in self._parts.values()
            for number, mount in tags.mounts.items()
            if mount.known
        }

    def _reading(self, part: Part, fused: Fused) -> PartReading:
        axes, facing = self._axes, self._facing.get(part, self._axes.near)
        pitch = ax.pitch(facing, fused.rotation, fused.spread, axes)
        still = ax.pitch(facing, np.eye(3), fused.spread, axes)
        ours = np.stack([axes.away, axes.up, axes.near])
        moves = [float(fused.middle_m @ axis) * 100 for axis in (axes.away, axes.up, axes.near)]
        errors = [
            100 * float(np.sqrt(axis @ fused.middle_spread @ axis))
            for axis in (axes.away, axes.up, axes.near)
        ]
        return PartReading(
            part=part,
            numbers=fused.numbers,
            turn=ax.turn(fused.rotation, fused.spread, axes),
            pitch=pitch,
            pitch_change_deg=pitch.deg - still.deg,
            side_bend=ax.side_bend(fused.rotation, fused.spread, axes),
            away_cm=moves[0],
            up_cm=moves[1],
            near_cm=moves[2],
            away_se_cm=errors[0],
            up_se_cm=errors[1],
            near_se_cm=errors[2],
            rotation=ours @ fused.rotation @ ours.T,
        )

    def _soon(
        self, turn_deg: float | None, pitch_deg: float
    ) -> tuple[FloatArray, FloatArray] | None:
        """Return what a trunk that has turned a little since the setup has done, and its spread."""
        if turn_deg is None or not _SOON_DEG[0] < turn_deg < _SOON_DEG[1]:
            return None
        rotation, along = self._turned(turn_deg, pitch_deg)
        spread = np.zeros((3, 3))
        ways = (self._axes.away, _SOON_LEANS), (self._axes.near, _SOON_BENDS)
        for axis, (se_deg, share) in (*ways, (self._axes.up, _SOON_BENDS)):
            spread += np.outer(axis, axis) * np.radians(se_deg + share * turn_deg) ** 2
        spread += (
            np.outer(along, along)
            * np.radians(np.hypot(_SOON_TURN_SE_DEG, _SOON_TURN_SHARE * turn_deg)) ** 2
        )
        return rotation, spread

    def _turned(self, turn_deg: float, pitch_deg: float) -> tuple[FloatArray, FloatArray]:
        """Return a trunk's rotation (3, 3) by a turn about its own axis, and the axis (3,).

        ``turn_deg`` as seen from above, for a trunk whose front points up by ``pitch_deg``.
        """
        lean, turn = np.radians(pitch_deg), np.radians(turn_deg)
        along = self._axes.up * np.cos(lean) - self._axes.near * np.sin(lean)
        # Seen from above a line turned about a leaning axis has turned by less.
        angle = np.arctan2(np.sin(turn), np.cos(turn) * np.cos(lean))
        rotation = rot.from_vector(along * angle)
        if ax.turn(rotation, np.eye(3), self._axes).deg * turn_deg < 0:
            rotation = rotation.T
        return rotation, along

    def _beyond(
        self, part: Part, t_s: float, hint_deg: float | None, pitch_deg: float | None
    ) -> tuple[FloatArray, FloatArray] | None:
        """Return where a part is whose tags went out of sight, and its spread; None: unknown.

        It goes on turning about the axis it has turned about, by what other means say.
        """
        held = self._held.get(part)
        if held is None or hint_deg is None or t_s - held[0] > _BEYOND_S:
            return None
        _, fused, then_deg = held
        on_deg = hint_deg - then_deg
        way = rot.to_vector(fused.rotation)
        if float(np.linalg.norm(way)) < np.radians(_AXIS_DEG):
            if pitch_deg is None:
                return None
            lean = np.radians(pitch_deg)
            way = self._axes.up * np.cos(lean) - self._axes.near * np.sin(lean)
            way = way * np.sign(ax.turn(rot.from_vector(way * 0.1), np.eye(3), self._axes).deg)
        way = way / float(np.linalg.norm(way))
        # Seen from above a line turned about a leaning axis has turned by more or less.
        start = ax.turn(fused.rotation, fused.spread, self._axes).deg
        angle, rotation = on_deg, fused.rotation
        for _ in range(3):
            rotation = rot.from_vector(way * np.radians(angle)) @ fused.rotation
            now = ax.turn(rotation, fused.spread, self._axes).deg
            angle += start + on_deg - now
        along = np.radians(_BEYOND_SE_DEG + _BEYOND_SHARE * abs(on_deg))
        across = np.radians(_BEYOND_SE_DEG + _BEYOND_ACROSS * abs(on_deg))
        spread = fused.spread + np.eye(3) * across**2 + np.outer(way, way) * along**2
        return rotation, spread

    def _off_hint(self, hint_deg: float | None) -> Callable[[FloatArray], float] | None:
        if hint_deg is None:
            return None

        def off_deg(rotation: FloatArray) -> float:
            turn = ax.turn(rotation, np.eye(3), self._axes).deg
            return abs((turn - hint_deg + 180.0) % 360.0 - 180.0)

        return off_deg

    def _new_words(self) -> tuple[str, ...]:
        new = [words for words in dict.fromkeys(self._pending) if words not in self._said]
        self._said.update(new)
        self._pending.clear()
        return tuple(new)


def _is_sane(pose: TagPose) -> bool:
    """Tell whether a pose can be reckoned with: before the camera, with a spread that is one."""
    numbers = np.concatenate([pose.rotation.ravel(), pose.place_m, pose.spread.ravel()])
    if not np.all(np.isfinite(numbers)) or not pose.place_m[2] > 0:
        return False
    # By parts: radians and metres differ by thousands, and both blocks are inverted.
    blocks = np.stack([pose.spread[:3, :3], pose.spread[3:, 3:]])
    return bool(np.linalg.eigvalsh(blocks).min() > 0)
