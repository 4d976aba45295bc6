"""A swing as independent degrees of freedom over time. Pure numpy.

Every degree of freedom is a curve of its own, built from minimum-jerk moves that may overlap
(their sum is as smooth as each of them). Nothing here knows about bodies, left or right: "lead"
is the side nearer the target, "away" means away from the target and is the positive direction
of every turn, drift and lean. A left-handed swing is the same motion, mirrored afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def minimum_jerk(tau: Floats | float) -> Floats:
    """Return the share of a minimum-jerk move done at share ``tau`` of its time, 0..1.

    10 tau^3 - 15 tau^4 + 6 tau^5, held at 0 before and at 1 after (Flash & Hogan 1985,
    J Neurosci 5:1688, the straight point-to-point case).
    """
    t = np.clip(np.asarray(tau, dtype=np.float64), 0.0, 1.0)
    return t**3 * (10.0 - 15.0 * t + 6.0 * t**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """One body pose as independent degrees of freedom; the defaults are a driver address.

    Trunk angles turn first about the body's own upright axis, then bend forward, then lean
    sideways. Arm angles are in the frame of the upper thorax, so the arms can move with the
    trunk still and the trunk with the arms still.
    """

    hip_turn_deg: float = 0.0  #: turn of the hip line seen from above, from the address
    hip_drift_cm: float = 0.0  #: middle of the hips, sideways, from the address
    hip_forward_cm: float = -10.0  #: middle of the hips, towards the camera from the ankles
    hip_rise_cm: float = 0.0  #: middle of the hips, up from where knee_flex_deg puts it
    hip_tilt_deg: float = 20.0  #: pelvis tipped forward
    hip_side_deg: float = 0.0  #: pelvis leaning away
    knee_flex_deg: float = 20.0  #: sets the height of the hips at the stance width
    shoulder_turn_deg: float = 0.0  #: turn of the shoulder line from above, from the address
    thorax_turn_deg: float = 0.0  #: used instead of shoulder_turn_deg when that is not solved for
    trunk_bend_deg: float = 30.0  #: tilt forward of the axis the thorax turns about
    chest_pitch_deg: float = 4.0  #: further pitch of the upper thorax about its own side axis
    side_bend_deg: float = 8.0  #: trunk leaning away; used when head_drift_cm is not solved for
    head_drift_cm: float = 0.0  #: skull centre, sideways, from the address
    head_rise_cm: float = 0.0  #: skull centre, up, from the address
    head_turn_deg: float = 0.0
    head_pitch_deg: float = 38.0  #: face down
    head_tilt_deg: float = 3.0  #: crown leaning away
    lead_protract_deg: float = 10.0  #: lead shoulder blade forward round the ribs
    trail_protract_deg: float = 20.0
    lead_raise_deg: float = 2.0  #: lead shoulder up
    trail_raise_deg: float = -12.0
    arm_lift_deg: float = 48.0  #: lead arm up from hanging along the trunk, through straight ahead
    arm_across_deg: float = 23.5  #: lead arm across the chest towards the trail side
    lead_bend_deg: float = 6.0  #: bend of the lead elbow, 0 is straight
    elbow_drop_deg: float = 0.0  #: how far the elbows have turned to point at the floor
    forearm_roll_deg: float = 0.0  #: turn of the lead palm, 0 faces the trail side
    cock_deg: float = 0.0  #: wrist cock added to that of the address
    flat_wrist: float = 0.0  #: 0 keeps the wrist as at address, 1 puts the shaft in the palm plane
    trail_free: float = 0.0  #: 1 takes the trail hand off the club
    trail_lift_deg: float = 40.0  #: free trail arm, as arm_lift_deg
    trail_out_deg: float = 10.0  #: free trail arm, away from the body to its own side
    trail_bend_deg: float = 15.0
    lead_heel_cm: float = 0.0  #: lead heel off the floor
    trail_heel_cm: float = 0.0
    lead_step_cm: float = 0.0  #: lead foot lifted whole
    trail_step_cm: float = 0.0
    lead_foot_away_cm: float = 0.0  #: lead foot moved sideways from its place in the stance
    trail_foot_away_cm: float = 0.0
    lead_foot_forward_cm: float = 0.0
    trail_foot_forward_cm: float = 0.0
    stance_turn_deg: float = 0.0  #: the whole figure turned about the upright


DOFS = tuple(item.name for item in fields(Pose))


@dataclass(slots=True)
class Curves:
    """Degrees of freedom over time, built move by move."""

    start: Pose = field(default_factory=Pose)
    moves: list[tuple[str, float, float, float]] = field(default_factory=list)
    waves: list[tuple[str, float, float, float]] = field(default_factory=list)
    _now: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._now = {name: float(getattr(self.start, name)) for name in DOFS}

    def move(self, from_s: float, to_s: float, **targets: float) -> None:
        """Add minimum-jerk moves to ``targets``, starting from where the last move was headed."""
        for name, target in targets.items():
            step = target - self._now[name]
            if step:
                self.moves.append((name, from_s, to_s, step))
            self._now[name] = target

    def wave(self, name: str, size: float, hz: float, phase: float) -> None:
        """Add a lasting sine to one degree of freedom (the small sway of standing still)."""
        self.waves.append((name, size, hz, phase))

    def at(self, t_s: Floats) -> dict[str, Floats]:
        """Return every degree of freedom at the times (T,), each (T,)."""
        values = {name: np.full(t_s.shape, getattr(self.start, name), float) for name in DOFS}
        for name, from_s, to_s, step in self.moves:
            values[name] += step * minimum_jerk((t_s - from_s) / (to_s - from_s))
        for name, size, hz, phase in self.waves:
            values[name] += size * np.sin(2 * np.pi * (hz * t_s + phase))
        return values


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """What one backswing does. Turns, drifts and arms are free of each other."""

    shoulder_turn_deg: float = 90.0
    hip_turn_deg: float = 44.0
    head_drift_cm: float = 0.0
    head_rise_cm: float = 0.0
    hip_drift_cm: float = 0.0
    early_hip_drift_cm: float = 0.0  #: on the way back only, gone again by the top
    head_turn_deg: float = 14.0
    chest_pitch_deg: float = 2.0  #: Pose.chest_pitch_deg at the top
    arm_lift_deg: float = 121.0
    arm_across_deg: float = 57.0
    lead_bend_deg: float = 10.0
    cock_deg: float = 72.0
    backswing_s: float = 1.2
    hold_s: float = 0.4
    finish: str = "through"  #: "through" swings to a finish, "return" goes back to the address
    downswing_s: float = 0.5  #: to where the ball would be, or back to the address
    follow_s: float = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Events:
    """When things happen in one rep, in seconds.

    The hands start at ``takeaway_s``, arrive at the top at ``top_s`` and leave it at
    ``top_end_s``.
    """

    setup_s: float
    takeaway_s: float
    top_s: float
    top_end_s: float


@dataclass(frozen=True, slots=True)
class Motion:
    """A whole clip: times (T,), degrees of freedom, each (T,), and the reps in it."""

    t_s: Floats
    dofs: Mapping[str, Floats]
    reps: tuple[Events, ...]
    address: Pose  #: zero of every turn and drift


def sway_a_little(curves: Curves, rng: np.random.Generator, size: float = 1.0) -> None:
    """Add the few millimetres nobody can stand without. ``size`` 1 is about 2 mm at the head."""
    for name, most in (
        ("hip_drift_cm", 0.08),
        ("head_drift_cm", 0.1),
        ("hip_forward_cm", 0.1),
        ("trunk_bend_deg", 0.12),
        ("arm_lift_deg", 0.15),
        ("head_turn_deg", 0.4),
        ("head_pitch_deg", 0.3),
    ):
        for hz in (0.23, 0.41, 0.77):
            amount = size * most * rng.uniform(0.4, 1.0)
            curves.wave(name, amount, hz * rng.uniform(0.85, 1.15), rng.uniform())


def waggle(curves: Curves, from_s: float, times: int = 2, each_s: float = 0.5) -> float:
    """Cock the wrists a little and let them down again; return when it ends, in seconds."""
    for turn in range(times):
        begin = from_s + turn * each_s
        curves.move(begin, begin + each_s / 2, cock_deg=22.0, arm_across_deg=25.0)
        curves.move(
            begin + each_s / 2,
            begin + each_s,
            cock_deg=curves.start.cock_deg,
            arm_across_deg=curves.start.arm_across_deg,
        )
    return from_s + times * each_s


def backswing(curves: Curves, swing: Swing, setup_s: float, takeaway_s: float) -> Events:
    """Add one rep: the hands start at ``takeaway_s``. Returns its events.

    The hands' moves fill the backswing exactly; the trunk's begin with them and the hips' a
    little later, all ending together.
    """
    begin, length = takeaway_s, swing.backswing_s
    top = begin + length
    leave = top + swing.hold_s
    curves.move(begin, top, arm_lift_deg=swing.arm_lift_deg, arm_across_deg=swing.arm_across_deg)
    curves.move(begin, top, shoulder_turn_deg=swing.shoulder_turn_deg)
    curves.move(begin + 0.05 * length, top, thorax_turn_deg=swing.shoulder_turn_deg - 6.0)
    curves.move(begin + 0.12 * length, top, hip_turn_deg=swing.hip_turn_deg)
    curves.move(begin + 0.10 * length, top, head_drift_cm=swing.head_drift_cm)
    curves.move(begin, top, head_rise_cm=swing.head_rise_cm)
    if swing.early_hip_drift_cm:
        half = begin + 0.5 * length
        curves.move(begin, half, hip_drift_cm=swing.early_hip_drift_cm)
        curves.move(half, top - 0.05 * length, hip_drift_cm=swing.hip_drift_cm)
    else:
        curves.move(begin + 0.08 * length, top, hip_drift_cm=swing.hip_drift_cm)
    curves.move(begin + 0.05 * length, begin + 0.9 * length, cock_deg=swing.cock_deg)
    curves.move(begin + 0.05 * length, top, flat_wrist=1.0)
    curves.move(
        begin,
        top,
        forearm_roll_deg=72.0,
        lead_bend_deg=swing.lead_bend_deg,
        lead_protract_deg=22.0,
        trail_protract_deg=3.0,
        lead_raise_deg=0.0,
        trail_raise_deg=8.0,
        head_turn_deg=swing.head_turn_deg,
        chest_pitch_deg=swing.chest_pitch_deg,
        elbow_drop_deg=70.0,
        lead_heel_cm=1.0,
    )
    down = leave + swing.downswing_s
    if swing.finish == "return":
        _to_address(curves, leave, down)
    else:
        _through(curves, swing, leave, down)
    return Events(setup_s=setup_s, takeaway_s=takeaway_s, top_s=top, top_end_s=leave)


def _to_address(curves: Curves, begin: float, end: float) -> None:
    address = {name: float(getattr(curves.start, name)) for name in DOFS}
    curves.move(begin, end, **address)


def _through(curves: Curves, swing: Swing, leave: float, impact: float) -> None:
    down, follow = impact - leave, swing.follow_s
    # the hips lead, then the trunk, then the arms; moves overlap so that nothing stops at the ball
    curves.move(leave, impact, hip_turn_deg=-28.0, hip_drift_cm=-3.0)
    curves.move(
        leave + 0.05 * down, impact + 0.1 * down, shoulder_turn_deg=-12.0, head_drift_cm=1.0
    )
    curves.move(leave + 0.05 * down, impact + 0.1 * down, thorax_turn_deg=-10.0)
    curves.move(
        leave,
        impact + 0.15 * down,
        arm_lift_deg=48.0,
        arm_across_deg=20.0,
        lead_bend_deg=5.0,
        forearm_roll_deg=0.0,
        elbow_drop_deg=10.0,
        lead_protract_deg=8.0,
        trail_protract_deg=14.0,
        lead_raise_deg=2.0,
        trail_raise_deg=-6.0,
        chest_pitch_deg=curves.start.chest_pitch_deg,
        head_turn_deg=4.0,
        lead_heel_cm=0.0,
    )
    curves.move(leave + 0.25 * down, impact + 0.1 * down, cock_deg=0.0, flat_wrist=0.4)
    late = impact - 0.35 * down
    end = impact + follow
    curves.move(
        late,
        end,
        hip_turn_deg=-72.0,
        shoulder_turn_deg=-88.0,
        thorax_turn_deg=-88.0,
        hip_drift_cm=-9.0,
        head_drift_cm=-6.0,
        head_rise_cm=12.0,
        hip_forward_cm=-4.0,
        hip_tilt_deg=6.0,
        trunk_bend_deg=12.0,
        head_turn_deg=-60.0,
        head_pitch_deg=8.0,
        lead_protract_deg=-4.0,
        trail_protract_deg=24.0,
        trail_heel_cm=11.0,
        knee_flex_deg=10.0,
    )
    curves.move(
        impact - 0.1 * down,
        end,
        arm_lift_deg=112.0,
        arm_across_deg=14.0,
        lead_bend_deg=78.0,
        forearm_roll_deg=-45.0,
        cock_deg=55.0,
        elbow_drop_deg=60.0,
        flat_wrist=1.0,
    )


def frame_times(length_s: float, fps: float) -> Floats:
    """Return the times of the frames of a clip, (T,), the first at 0."""
    return np.arange(round(length_s * fps), dtype=np.float64) / fps
