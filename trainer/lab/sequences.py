"""Longer movements round a rep: pauses on the way back, practice, walking in. Pure numpy."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trainer.lab.motion import (
    Curves,
    Events,
    Motion,
    Pose,
    Swing,
    backswing,
    frame_times,
    sway_a_little,
    waggle,
)


@dataclass(frozen=True, slots=True)
class Span:
    """Something that goes on in a clip and is not a rep."""

    what: str
    from_s: float
    to_s: float


def part_way(swing: Swing, share: float, address: Pose) -> dict[str, float]:
    """Return degrees of freedom a share of the way from the address to the top.

    The wrists cock sooner and the hips turn later than the rest.
    """
    top = top_dofs(swing)
    shares = {"cock_deg": min(1.0, 1.25 * share), "hip_turn_deg": share**1.4}
    return {
        name: getattr(address, name) + (value - getattr(address, name)) * shares.get(name, share)
        for name, value in top.items()
    }


def top_dofs(swing: Swing) -> dict[str, float]:
    """Return the degrees of freedom a backswing changes, as they are at its top."""
    curves = Curves(Pose())
    rep = backswing(curves, replace(swing, finish="return"), 0.0, 1.0)
    ends = curves.at(np.array([rep.top_s]))
    changed = {name for name, *_ in curves.moves}
    return {name: float(ends[name][0]) for name in changed}


def checkpoints(
    swing: Swing, rng: np.random.Generator, fps: float
) -> tuple[Motion, tuple[Span, ...]]:
    """Return an eight-second backswing with pauses.

    It pauses a second with the hands at hip height, a second with the lead arm about level and a
    second and a half at the top.
    """
    curves = Curves(Pose())
    sway_a_little(curves, rng)
    takeaway = 2.5
    low, level = part_way(swing, 0.30, curves.start), part_way(swing, 0.66, curves.start)
    curves.move(takeaway, takeaway + 1.8, **low)
    curves.move(takeaway + 2.8, takeaway + 4.6, **level)
    curves.move(takeaway + 5.6, takeaway + 8.0, **top_dofs(swing))
    top = takeaway + 8.0
    leave = top + 1.5
    curves.move(leave, leave + 2.0, **{n: getattr(curves.start, n) for n in top_dofs(swing)})
    t_s = frame_times(leave + 3.0, fps)
    rep = Events(setup_s=0.0, takeaway_s=takeaway, top_s=top, top_end_s=leave)
    spans = (
        Span("pause, hands at hip height", takeaway + 1.8, takeaway + 2.8),
        Span("pause, lead arm level", takeaway + 4.6, takeaway + 5.6),
    )
    return Motion(t_s, curves.at(t_s), (rep,), curves.start), spans


def practice_then_fast(
    swing: Swing, rng: np.random.Generator, fps: float
) -> tuple[Motion, tuple[Span, ...]]:
    """Return a waggle, a half-turn with the hands to hip height and back, and then a rep."""
    curves = Curves(Pose())
    sway_a_little(curves, rng)
    begin = 1.0
    end = waggle(curves, begin, times=2, each_s=0.55)
    half = end + 0.8
    low = part_way(swing, 0.32, curves.start)
    curves.move(half, half + 0.7, **low)
    curves.move(half + 0.8, half + 1.6, **{name: getattr(curves.start, name) for name in low})
    setup = half + 1.6
    rep = backswing(curves, swing, setup_s=setup, takeaway_s=setup + 1.6)
    t_s = frame_times(rep.top_end_s + swing.downswing_s + swing.follow_s + 1.0, fps)
    spans = (Span("waggle", begin, end), Span("practice half-turn", half, half + 1.6))
    return Motion(t_s, curves.at(t_s), (rep,), curves.start), spans


#: Upright, club in the lead hand, the other arm hanging.
STANDING: dict[str, float] = {
    "trunk_bend_deg": 4.0,
    "chest_pitch_deg": 0.0,
    "hip_tilt_deg": 3.0,
    "knee_flex_deg": 9.0,
    "hip_forward_cm": 0.0,
    "head_pitch_deg": 8.0,
    "head_tilt_deg": 0.0,
    "arm_lift_deg": 12.0,
    "arm_across_deg": -14.0,
    "lead_bend_deg": 20.0,
    "cock_deg": 0.0,
    "trail_free": 1.0,
    "trail_lift_deg": 8.0,
    "trail_out_deg": 16.0,
    "trail_bend_deg": 18.0,
    "trail_protract_deg": 6.0,
    "trail_raise_deg": 0.0,
    "lead_foot_away_cm": 11.0,
    "trail_foot_away_cm": -11.0,
}


def walk_in(swing: Swing, rng: np.random.Generator, fps: float) -> tuple[Motion, tuple[Span, ...]]:
    """Return walking in from the trail side, bending to tee a ball, a wave and one rep."""
    address = Pose()
    curves = Curves(replace(address, **STANDING, stance_turn_deg=-90.0))
    sway_a_little(curves, rng)
    walked = walk(curves, 0.0, -190.0, 0.0, steps=6)
    turned = turn_to(curves, walked, 0.0)
    bend = turned + 0.3
    up = tee_a_ball(curves, bend)
    # a wave with the free hand
    wave = up + 0.3
    curves.move(wave, wave + 0.6, trail_lift_deg=150.0, trail_out_deg=38.0, trail_bend_deg=70.0)
    for turn in range(3):
        begin = wave + 0.5 + 0.5 * turn
        curves.move(begin, begin + 0.25, trail_bend_deg=30.0, trail_out_deg=48.0)
        curves.move(begin + 0.25, begin + 0.5, trail_bend_deg=70.0, trail_out_deg=30.0)
    waved = wave + 2.1
    curves.move(
        waved,
        waved + 0.6,
        **{name: STANDING[name] for name in ("trail_lift_deg", "trail_out_deg", "trail_bend_deg")},
    )
    settle = waved + 0.8
    setup = take_address(curves, settle, address)
    rep = backswing(curves, swing, setup_s=setup, takeaway_s=setup + 1.8)
    t_s = frame_times(rep.top_end_s + swing.downswing_s + swing.follow_s + 1.0, fps)
    spans = (
        Span("walks in", 0.0, turned),
        Span("tees a ball", bend, up),
        Span("waves", wave, waved + 0.6),
        Span("takes the address", settle, setup),
    )
    return Motion(t_s, curves.at(t_s), (rep,), address), spans


def walk(
    curves: Curves,
    from_s: float,
    from_cm: float,
    to_cm: float,
    *,
    steps: int,
    each_s: float = 0.55,
) -> float:
    """Walk forwards along the way the figure faces; return when it ends, in seconds.

    ``from_cm`` and ``to_cm`` are ahead of the stance. A walk that begins the clip puts the figure
    there beforehand.
    """
    stride = (to_cm - from_cm) / steps
    hips = STANDING["hip_forward_cm"] + from_cm
    if from_s <= 0.0:  # stand there from the first frame on
        feet = {"lead_foot_forward_cm": from_cm, "trail_foot_forward_cm": from_cm}
        curves.move(-1.0, -0.5, hip_forward_cm=hips, **feet)
    place = {"lead": from_cm, "trail": from_cm}
    for step in range(steps):
        begin, foot = from_s + step * each_s, ("lead", "trail")[step % 2]
        end = begin + each_s
        # each foot lands half a stride ahead of where the hips will be
        ahead = 0.5 * stride if step < steps - 1 else 0.0
        place[foot] = min(to_cm, from_cm + (step + 1) * stride + ahead)
        curves.move(begin, end, **{f"{foot}_foot_forward_cm": place[foot]})
        curves.move(begin, begin + each_s / 2, **{f"{foot}_step_cm": 7.0})
        curves.move(begin + each_s / 2, end, **{f"{foot}_step_cm": 0.0})
        hips += stride
        curves.move(begin - 0.15, end + 0.15, hip_forward_cm=hips)
        swing = 22.0 if foot == "lead" else -8.0
        curves.move(begin, end, trail_lift_deg=swing, arm_lift_deg=26.0 - swing)
    last = from_s + steps * each_s
    for foot in ("lead", "trail"):
        if place[foot] < to_cm:
            curves.move(last, last + 0.4, **{f"{foot}_foot_forward_cm": to_cm})
            curves.move(last, last + 0.2, **{f"{foot}_step_cm": 5.0})
            curves.move(last + 0.2, last + 0.4, **{f"{foot}_step_cm": 0.0})
    curves.move(last, last + 0.4, trail_lift_deg=8.0, arm_lift_deg=12.0)
    return last + 0.4


def turn_to(curves: Curves, from_s: float, stance_turn_deg: float) -> float:
    """Turn the whole figure with two small steps; return when it ends, in seconds."""
    curves.move(from_s, from_s + 1.0, stance_turn_deg=stance_turn_deg)
    for foot, begin in (("lead", from_s), ("trail", from_s + 0.45)):
        curves.move(begin, begin + 0.25, **{f"{foot}_step_cm": 5.0})
        curves.move(begin + 0.25, begin + 0.5, **{f"{foot}_step_cm": 0.0})
    return from_s + 1.0


def tee_a_ball(curves: Curves, from_s: float) -> float:
    """Bend from standing to the ground and come up again; return when it ends, in seconds."""
    bent = {
        "trunk_bend_deg": 82.0,
        "knee_flex_deg": 48.0,
        "hip_tilt_deg": 40.0,
        "hip_forward_cm": -24.0,
        "head_pitch_deg": 62.0,
        "trail_lift_deg": 88.0,
        "arm_lift_deg": 50.0,
    }
    curves.move(from_s, from_s + 1.1, **bent)
    curves.move(from_s + 1.7, from_s + 2.8, **{name: STANDING[name] for name in bent})
    return from_s + 2.8


def take_address(curves: Curves, from_s: float, address: Pose) -> float:
    """Go from standing to the address; return when it ends, in seconds."""
    curves.move(from_s, from_s + 1.4, **{name: getattr(address, name) for name in STANDING})
    for foot, begin in (("lead", from_s), ("trail", from_s + 0.4)):
        curves.move(begin, begin + 0.4, **{f"{foot}_step_cm": 3.0})
        curves.move(begin + 0.4, begin + 0.8, **{f"{foot}_step_cm": 0.0})
    return from_s + 1.4
