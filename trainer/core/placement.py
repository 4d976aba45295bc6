"""Whether the camera stands right, and the one thing to change first if not.

``step(state, look, ...) -> state``. Each check has a limit past which it is off and another,
nearer to right, inside which it is fine again; a move between the two takes ``HOLD_S``. Of what
is off one thing is shown at a time, and it stays for ``SHOWN_S``, so that words do not flicker.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from statistics import median
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.lens import Lens
from trainer.core.picture_light import Light, light_of, sharpness_of_hands
from trainer.core.placement_rod import RodSeen, agreed, with_rod
from trainer.core.placement_view import STATURE_CM, CameraView, focal_of, view_of
from trainer.core.records import Handed, Pose


class Check(str, Enum):
    """What is looked at, in the order in which it is mended."""

    NEAR = "near"  #: the camera is within the club's reach, or almost
    FEET = "feet"  #: out of the picture
    HEAD = "head"
    HANDS = "hands"  #: at the top would be out of the picture
    FAR = "far"
    BACKLIT = "backlit"
    DARK = "dark"
    ROLL = "roll"
    PITCH = "pitch"
    YAW = "yaw"  #: the camera is not square to the target line
    PACE = "pace"  #: too few pictures a second
    SMEAR = "smear"  #: the shutter is open so long that the hands smear


class Group(str, Enum):
    """What several checks are about, for the marks at the foot of the page."""

    DISTANCE = "distance"
    WHOLE = "whole"  #: all of the player in the picture
    LIGHT = "light"
    LEVEL = "level"
    SQUARE = "square"
    PICTURES = "pictures"  #: their rate and sharpness


GROUPS: Final[Mapping[Group, tuple[Check, ...]]] = {
    Group.DISTANCE: (Check.NEAR, Check.FAR),
    Group.WHOLE: (Check.FEET, Check.HEAD, Check.HANDS),
    Group.LIGHT: (Check.BACKLIT, Check.DARK),
    Group.LEVEL: (Check.ROLL, Check.PITCH),
    Group.SQUARE: (Check.YAW,),
    Group.PICTURES: (Check.PACE, Check.SMEAR),
}

#: (fine up to, off from): how bad a check's value is, larger is worse. Rooms count as shares of
#: the body's height past the edge; the angles' limits are two to six of their standard errors
#: on rendered people (docs/how-to/place-the-camera.md), the rest was chosen.
LIMITS: Final[Mapping[Check, tuple[float, float]]] = {
    Check.NEAR: (1.04, 1.14),  # least distance over the distance
    Check.FEET: (-0.015, 0.0),
    Check.HEAD: (-0.015, 0.0),
    Check.HANDS: (-0.02, 0.0),
    Check.FAR: (-0.49, -0.45),  # stature over the picture's shorter side; under 0.4 few are found
    Check.BACKLIT: (1.9, 2.5),  # surround over subject
    Check.DARK: (-60.0, -50.0),  # luma
    Check.ROLL: (2.0, 3.0),  # degrees
    Check.PITCH: (5.5, 8.0),
    Check.YAW: (6.0, 9.0),
    Check.PACE: (-24.0, -20.0),  # pictures a second
    Check.SMEAR: (-0.8, -0.55),  # sharpness along the movement over across it
}
#: What must be mended first, because all after it is read less well as long as it is off.
_STAGE: Final[Mapping[Check, int]] = {
    Check.NEAR: 0,
    Check.FEET: 1,
    Check.HEAD: 1,
    Check.HANDS: 2,
    Check.FAR: 2,
    Check.BACKLIT: 3,
    Check.DARK: 3,
    Check.ROLL: 4,
    Check.PITCH: 4,
    Check.YAW: 4,
    Check.PACE: 5,
    Check.SMEAR: 5,
}
#: Told from a body at address only, and from a body in the picture.
_ANGLES: Final = (Check.ROLL, Check.PITCH, Check.YAW)
#: Without these read there is no "ready"; the smear shows only once the hands have moved.
_MUST: Final = tuple(check for check in Check if check is not Check.SMEAR)

WINDOW_S: Final = 1.0  #: each value is the median over this long
LEAST_READ: Final = 3  #: so many readings make a value
HOLD_S: Final = 0.6  #: a check changes once it has been past its limit for this long
SHOWN_S: Final = 2.0  #: what is shown stays at least this long, unless it is mended
KEPT_S: Final = 45.0  #: a finding not read again is forgotten: long enough to walk to the camera
LOOK_S: Final = 0.1  #: often enough; more only costs
ROD_KEPT_S: Final = 3.5  #: a rod is searched for once a second; so many searches count
BRIGHT: Final = 140.0  #: a surround darker than this is no light behind the player
MOVING_BH_S: Final = 1.0  #: hands this fast, in body heights a second, show an open shutter
GAP_S: Final = 0.2  #: two looks no further apart tell where the hands go


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What was seen at one instant."""

    t_s: float
    pose: Pose | None
    image_rgb: NDArray[np.uint8] | None  #: the picture of that pose; the newest without one
    fps: float | None  #: pictures or poses a second, the lower; None: not known
    rod: RodSeen | None = None  #: what a search for a rod on the floor brought; None: no search


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is known of player and camera."""

    handed: Handed = Handed.RIGHT
    stature_cm: float | None = None
    driver_cm: float | None = None
    field_of_view_deg: float | None = None  #: across the picture's width; None: not known
    lens: Lens | None = None  #: calibrated, for this size of picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to change."""

    check: Check
    badness: float  #: in the check's unit, see ``LIMITS``
    value: float = 0.0  #: signed, where a direction matters: degrees, or shares of the body
    amount: float | None = None  #: how much to change, in metres; None: not known
    aside: bool = False  #: HANDS: it is the side, and there is room on the other
    by_rod: bool = False  #: YAW: it rests on a rod on the floor, not on the body alone


class Stage(str, Enum):
    """What the page says."""

    NOBODY = "nobody"
    ADDRESS = "address"  #: seen, but angles can only be told at address
    LOOKING = "looking"
    OFF = "off"
    READY = "ready"


@dataclass(frozen=True, slots=True)
class _One:
    """What is known of one check. ``off`` None: not read yet."""

    off: bool | None = None
    since_s: float | None = None  #: when a change began to show
    read_s: float = float("-inf")
    badness: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementState:
    """All that is remembered. ``PlacementState()`` is a fresh start."""

    stage: Stage = Stage.NOBODY
    finding: Finding | None = None  #: the one to mend first; None unless ``stage`` is OFF
    shown_s: float = float("-inf")
    checks: Mapping[Check, _One] = field(default_factory=dict)
    seen: tuple[tuple[float, Mapping[Check, float], CameraView | None], ...] = ()
    before: Look | None = None
    rods: tuple[RodSeen, ...] = ()  #: what the last searches for a rod brought

    @property
    def rod_counts(self) -> bool:
        """Tell whether what is said of the yaw rests on a rod on the floor."""
        if self.finding is not None and self.finding.check is Check.YAW:
            return self.finding.by_rod
        views = [view for _, _, view in self.seen if view is not None and view.at_address]
        return bool(views) and views[-1].by_rod

    @property
    def px_per_cm(self) -> float | None:
        """Return the picture's scale at a player at address; None for nobody at address."""
        view = self.seen[-1][2] if self.seen else None
        return None if view is None or not view.at_address else view.stature_px / STATURE_CM

    @property
    def rod_px(self) -> NDArray[np.float64] | None:
        """Return both ends (2, 2) in the unmirrored picture of the rod that counts now."""
        views = [view for _, _, view in self.seen if view is not None]
        rod = agreed(self.rods)
        return rod.ends_px if rod is not None and views and views[-1].by_rod else None

    def group(self, group: Group) -> bool | None:
        """Return True where all of a group is fine, False where one is off; None: not read."""
        states = [self.checks[check].off for check in GROUPS[group] if check in self.checks]
        if True in states:
            return False
        must = [check for check in GROUPS[group] if check in _MUST]
        return True if all(self._fine(check) for check in must) else None

    def with_finding(self, finding: Finding) -> PlacementState:
        """Return the state as it is with this finding in place of what was found."""
        one = _One(off=True, badness=finding.badness)
        checks = {**self.checks, finding.check: one}
        return replace(self, stage=Stage.OFF, finding=finding, checks=checks)

    def is_read(self, check: Check) -> bool:
        """Tell whether that check was read of late."""
        return check in self.checks and self.checks[check].off is not None

    def _fine(self, check: Check) -> bool:
        return check in self.checks and self.checks[check].off is False


def step(state: PlacementState, look: Look, asked: Asked) -> PlacementState:
    """Take in one look; return what is to be shown now."""
    view = None
    if look.pose is not None:
        view = view_of(
            look.pose,
            asked.handed,
            stature_cm=asked.stature_cm,
            driver_cm=asked.driver_cm,
            focal_px=focal_of(look.pose.size_wh, asked.field_of_view_deg),
        )
    rods = state.rods if look.rod is None else (*state.rods, look.rod)
    rods = tuple(rod for rod in rods if 0 <= look.t_s - rod.t_s <= ROD_KEPT_S)
    rod = agreed(rods)
    if rod is not None and view is not None and look.pose is not None and view.at_address:
        view = with_rod(view, rod, look.pose, asked.field_of_view_deg, asked.lens)
    bad = _badness(look, view, state.before)
    kept = [one for one in state.seen if 0 <= look.t_s - one[0] <= WINDOW_S]
    seen = (*kept, (look.t_s, bad, view))
    checks = {}
    for check in Check:
        known = state.checks.get(check, _One())
        values = [one[1][check] for one in seen if check in one[1]]
        value = median(values) if len(values) >= LEAST_READ and check in bad else None
        if check is Check.SMEAR:  # the hands move for a moment only: each sight of it counts
            value = max(values, default=None) if check in bad else None
        checks[check] = _follow(check, known, value, look.t_s)
    state = replace(state, checks=checks, seen=seen, before=look, rods=rods)
    return _shown(state, look.t_s)


def _badness(look: Look, view: CameraView | None, before: Look | None) -> dict[Check, float]:
    """Return how bad each check that can be read of this look is."""
    bad: dict[Check, float] = {}
    if look.fps is not None:
        bad[Check.PACE] = -look.fps
    if look.image_rgb is not None:
        light: Light = light_of(look.image_rgb, look.pose)
        bad[Check.DARK] = -light.subject
        behind = light.surround / max(light.subject, 1.0) if light.surround >= BRIGHT else 0.0
        bad[Check.BACKLIT] = behind
        smear = _smear(look, before)
        if smear is not None:
            bad[Check.SMEAR] = smear
    if view is None:
        return bad
    bad[Check.NEAR] = view.least_m / max(view.distance_m, 0.01)
    bad[Check.FEET] = -view.feet_room
    bad[Check.HEAD] = -view.head_room
    bad[Check.FAR] = -view.fills
    if view.at_address:
        bad[Check.HANDS] = -min(view.aside_room, view.up_room)
        bad[Check.ROLL] = abs(view.roll_deg)
        bad[Check.PITCH] = abs(view.pitch_deg)
        bad[Check.YAW] = abs(view.yaw_deg)
    return bad


def _smear(look: Look, before: Look | None) -> float | None:
    """Return how smeared the moving hands are; None while they do not move, or nothing shows."""
    if look.pose is None or before is None or before.pose is None or look.image_rgb is None:
        return None
    apart_s = look.t_s - before.t_s
    if not 0 < apart_s <= GAP_S:
        return None
    moved = geo.middle(look.pose.image_px, "wrist") - geo.middle(before.pose.image_px, "wrist")
    tall = float(np.ptp(look.pose.image_px[:, 1]))
    if tall <= 0 or float(np.hypot(*moved)) / apart_s < MOVING_BH_S * tall:
        return None
    sharp = sharpness_of_hands(look.image_rgb, look.pose, moved)
    return None if sharp is None else -sharp


def _follow(check: Check, known: _One, value: float | None, t_s: float) -> _One:
    """Return what is known of a check after a reading; None: it could not be read now."""
    if value is None:
        if t_s - known.read_s > KEPT_S:
            return _One()
        return replace(known, since_s=None)
    fine, off = LIMITS[check]
    wanted = known.off
    if value > off:
        wanted = True
    elif value <= fine or known.off is None:
        wanted = False
    now = replace(known, read_s=t_s, badness=value)
    if wanted is known.off:
        return replace(now, since_s=None)
    since_s = t_s if known.since_s is None else known.since_s
    if t_s - since_s < HOLD_S and check is not Check.SMEAR:
        return replace(now, since_s=since_s)
    return replace(now, off=wanted, since_s=None)


def _shown(state: PlacementState, t_s: float) -> PlacementState:
    """Return the state with what is to be shown: the worst finding, or where things stand."""
    off = [check for check in Check if state.checks[check].off]
    now = None if state.finding is None else state.finding.check
    if off:
        worst = min(off, key=lambda check: (_STAGE[check], -_excess(state, check)))
        if now in off and now is not worst and now is not None:
            stays = _STAGE[worst] == _STAGE[now] or t_s - state.shown_s < SHOWN_S
            worst = now if stays else worst
        shown_s = state.shown_s if worst is now else t_s
        return replace(state, stage=Stage.OFF, finding=_finding(state, worst), shown_s=shown_s)
    views = [one[2] for one in state.seen if one[2] is not None]
    if not views:
        stage = Stage.NOBODY
    elif 2 * sum(view.at_address for view in views) < len(views):
        stage = Stage.ADDRESS
    elif all(state.is_read(check) for check in _MUST):
        stage = Stage.READY
    else:
        stage = Stage.LOOKING
    if state.stage is Stage.READY and stage in (Stage.ADDRESS, Stage.LOOKING):
        stage = Stage.READY  # right is right also while the player swings
    return replace(state, stage=stage, finding=None)


def _excess(state: PlacementState, check: Check) -> float:
    """Return how far past its limit a check is, in widths between its two limits."""
    fine, off = LIMITS[check]
    return (state.checks[check].badness - off) / (off - fine)


def _finding(state: PlacementState, check: Check) -> Finding:
    """Return the finding about a check, with what its words need of the last views."""
    badness = state.checks[check].badness
    views = [one[2] for one in state.seen if one[2] is not None]
    known = state.finding if state.finding is not None and state.finding.check is check else None
    if not views:
        return known or Finding(check=check, badness=badness)
    distance_m = median(view.distance_m for view in views)
    if check is Check.NEAR:
        return Finding(check=check, badness=badness, amount=views[-1].least_m - distance_m)
    if check is Check.HANDS:
        aside = median(view.aside_room for view in views)
        up = median(view.up_room for view in views)
        spare = median(view.lead_room for view in views)
        return Finding(
            check=check,
            badness=badness,
            value=-1.0 if aside <= up else 1.0,
            amount=None,
            aside=aside <= up and spare > 0.05 - aside,
        )
    if check in _ANGLES:
        read = [view for view in views if view.at_address]
        if not read:
            return known or Finding(check=check, badness=badness)
        value = median(getattr(view, f"{check.value}_deg") for view in read)
        amount = None
        if check is Check.YAW:
            amount = distance_m * float(np.tan(np.radians(min(abs(value), 60.0))))
        by_rod = check is Check.YAW and read[-1].by_rod
        return Finding(check=check, badness=badness, value=value, amount=amount, by_rod=by_rod)
    return Finding(check=check, badness=badness)
