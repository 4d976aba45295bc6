"""Named clips, and clips drawn at random from a seed. Pure numpy: nothing is rendered here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from trainer.lab.body import BodyShape
from trainer.lab.camera import Camera
from trainer.lab.cards import Worn
from trainer.lab.clothes import Outfit
from trainer.lab.figure import SOLVE_ALL, Stance
from trainer.lab.motion import (
    Curves,
    Motion,
    Pose,
    Swing,
    backswing,
    frame_times,
    sway_a_little,
    waggle,
)
from trainer.lab.people import random_person
from trainer.lab.scene import Room
from trainer.lab.sequences import Span, checkpoints, practice_then_fast, walk_in
from trainer.lab.video import Film


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """Everything one clip is made of."""

    name: str
    what: str  #: one plain line
    motion: Motion
    handed: str = "right"
    shape: BodyShape = field(default_factory=BodyShape)
    outfit: Outfit = field(default_factory=Outfit)
    room: Room = field(default_factory=Room)
    camera: Camera = field(default_factory=Camera)
    film: Film = field(default_factory=Film)
    stance: Stance = field(default_factory=Stance)
    solve: frozenset[str] = SOLVE_ALL  #: see trainer.lab.figure.Figure
    others: tuple[Span, ...] = ()  #: what else goes on, for the truth file
    fps: float = 30.0
    worn: Worn | None = None  #: printed tags on the player


def one_rep(
    swing: Swing,
    seed: int,
    fps: float,
    *,
    still_s: float = 2.4,
    after_s: float = 1.0,
    waggles: int = 0,
    address: Pose | None = None,
) -> Motion:
    """Return a motion that stands still, makes one rep and stays ``after_s`` at its end."""
    curves = Curves(address or Pose())
    sway_a_little(curves, np.random.default_rng(seed))
    begin = waggle(curves, 0.4, waggles) if waggles else 0.0
    rep = backswing(curves, swing, setup_s=begin, takeaway_s=begin + still_s)
    end = rep.top_end_s + swing.downswing_s + after_s
    end += swing.follow_s if swing.finish == "through" else 0.0
    t_s = frame_times(end, fps)
    return Motion(t_s, curves.at(t_s), (rep,), curves.start)


def full_turn(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A right-hander turns fully, head and hips staying."""
    swing = Swing(
        shoulder_turn_deg=92,
        hip_turn_deg=45,
        early_hip_drift_cm=2.0,
        hip_drift_cm=0.3,
        head_drift_cm=0.8,
        backswing_s=1.3,
        hold_s=0.45,
    )
    return Clip(
        name="full-turn-right",
        what="right-hander, full turn, head and hips stay",
        motion=one_rep(replace(swing, **asked), seed, fps),
        shape=BodyShape(stature_cm=181, weight=0.46, muscle=0.6),
        outfit=Outfit(hat=(236, 236, 232), placket=(30, 62, 108)),
        camera=Camera(distance_m=3.25, height_m=0.95, pitch_deg=2.5),
        fps=fps,
        room=Room(seed=seed),
    )


def short_turn(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A right-hander turns too little and her head moves off."""
    swing = Swing(
        shoulder_turn_deg=62,
        hip_turn_deg=34,
        head_drift_cm=9,
        hip_drift_cm=2.5,
        arm_lift_deg=114,
        arm_across_deg=54,
        backswing_s=1.1,
        hold_s=0.0,
        cock_deg=66,
    )
    return Clip(
        name="short-turn-head-off-right",
        what="right-hander, short turn, head moves 9 cm off",
        motion=one_rep(replace(swing, **asked), seed, fps, still_s=2.6),
        shape=BodyShape(stature_cm=169, female=0.95, weight=0.48, muscle=0.45, age=0.75),
        outfit=Outfit(
            skin=(168, 118, 86),
            shirt=(226, 226, 222),
            collar=(196, 70, 60),
            trousers=(40, 48, 78),
            shoes=(60, 60, 66),
            hair=(28, 22, 20),
            stripe=(196, 70, 60),
        ),
        room=Room(
            wall=(126, 146, 150),
            floor=(96, 100, 104),
            floor_kind="carpet",
            wall_kind="panels",
            light_from=(1.8, 2.8, 2.2),
            seed=seed,
        ),
        camera=Camera(distance_m=3.15, height_m=0.92, pitch_deg=2.5),
        fps=fps,
    )


def hips_off(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A left-hander turns enough but his hips slide and stay off."""
    swing = Swing(
        shoulder_turn_deg=90,
        hip_turn_deg=42,
        hip_drift_cm=9,
        head_drift_cm=3,
        backswing_s=1.4,
        hold_s=0.5,
    )
    return Clip(
        name="hips-off-left",
        what="left-hander, enough turn, hips slide 9 cm off and stay",
        handed="left",
        motion=one_rep(replace(swing, **asked), seed, fps),
        shape=BodyShape(stature_cm=176, weight=0.62, muscle=0.5, age=0.88),
        outfit=Outfit(
            skin=(236, 188, 160),
            shirt=(166, 52, 56),
            trousers=(176, 164, 140),
            shoes=(52, 40, 34),
            hair=(120, 112, 106),
            collar=(236, 232, 224),
            placket=(128, 36, 42),
        ),
        room=Room(
            wall=(150, 160, 150),
            floor=(84, 122, 74),
            floor_kind="turf",
            wall_kind="net",
            light_from=(-2.0, 3.2, 1.8),
            furniture=False,
            seed=seed,
        ),
        camera=Camera(distance_m=3.25, height_m=0.95, pitch_deg=2.5),
        fps=fps,
    )


def tagged(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A right-hander wears printed tags and turns slowly; her hips go off."""
    swing = Swing(
        shoulder_turn_deg=84,
        hip_turn_deg=40,
        hip_drift_cm=5,
        head_drift_cm=3,
        arm_lift_deg=118,
        backswing_s=1.6,
        hold_s=0.5,
        finish="return",
        downswing_s=0.9,
    )
    return Clip(
        name="tags-right",
        what="right-hander with printed tags, turn 84 degrees, hips 5 cm off",
        motion=one_rep(replace(swing, **asked), seed, fps, still_s=2.0, after_s=0.6),
        shape=BodyShape(stature_cm=172, female=0.9, weight=0.45, muscle=0.55, age=0.7),
        outfit=Outfit(
            skin=(132, 88, 62),
            shirt=(72, 122, 96),
            collar=(72, 122, 96),
            trousers=(54, 50, 62),
            shoes=(232, 232, 232),
            hair=(28, 22, 20),
            hair_style="bun",
            loose_cm=1.2,
            belt=(46, 40, 36),
            seed=seed,
        ),
        room=Room(
            wall=(188, 180, 164),
            floor=(112, 104, 92),
            floor_kind="carpet",
            light_from=(1.2, 2.9, 2.6),
            seed=seed,
        ),
        camera=Camera(distance_m=2.8, height_m=1.1, pitch_deg=4.0),
        film=Film(exposure_s=1 / 120),
        fps=fps,
        worn=Worn(seed=seed),
    )


def slow_checkpoints(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """Eight seconds to the top with two pauses on the way, then a slow return."""
    rng = np.random.default_rng([seed, 1])
    swing = replace(
        Swing(shoulder_turn_deg=88, hip_turn_deg=43, head_drift_cm=2, hip_drift_cm=1), **asked
    )
    motion, spans = checkpoints(swing, rng, fps)
    return _random(rng, "checkpoints", "slow backswing with two pauses", motion, spans, fps)


def fast_after_practice(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A waggle, a practice half-turn that is no rep, then a full-speed rep with no hold."""
    rng = np.random.default_rng([seed, 2])
    swing = Swing(
        shoulder_turn_deg=94,
        hip_turn_deg=46,
        head_drift_cm=3,
        hip_drift_cm=1,
        early_hip_drift_cm=3,
        backswing_s=0.9,
        hold_s=0.0,
        downswing_s=0.3,
        follow_s=0.7,
    )
    motion, spans = practice_then_fast(replace(swing, **asked), rng, fps)
    what = "waggle, practice half-turn, then full speed with no hold"
    return _random(rng, "practice-then-fast", what, motion, spans, fps)


def walks_in(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """The player walks in, tees a ball, waves, takes the address and makes one rep."""
    rng = np.random.default_rng([seed, 3])
    swing = Swing(
        shoulder_turn_deg=86,
        hip_turn_deg=42,
        head_drift_cm=3,
        hip_drift_cm=2,
        backswing_s=1.1,
        hold_s=0.2,
    )
    motion, spans = walk_in(replace(swing, **asked), rng, fps)
    clip = _random(rng, "walk-in", "walks in, tees up, waves, one rep", motion, spans, fps)
    return replace(clip, solve=SOLVE_ALL - {"height"})


def anybody(seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """A random player with a random swing: every degree of freedom is drawn on its own."""
    rng = np.random.default_rng([seed, 4])
    early = float(rng.uniform(0, 4)) if rng.random() < 0.5 else 0.0
    swing = Swing(
        shoulder_turn_deg=float(rng.uniform(45, 108)),
        hip_turn_deg=float(rng.uniform(15, 62)),
        head_drift_cm=float(rng.uniform(-4, 12)),
        head_rise_cm=float(rng.uniform(-5, 4)),
        hip_drift_cm=float(rng.uniform(-5, 11)),
        early_hip_drift_cm=early,
        head_turn_deg=float(rng.uniform(0, 35)),
        arm_lift_deg=float(rng.uniform(100, 130)),
        arm_across_deg=float(rng.uniform(45, 62)),
        lead_bend_deg=float(rng.choice([rng.uniform(4, 15), rng.uniform(15, 60)])),
        cock_deg=float(rng.uniform(45, 80)),
        backswing_s=float(rng.uniform(0.75, 2.2)),
        hold_s=float(rng.choice([0.0, rng.uniform(0.1, 1.0)])),
        finish=str(rng.choice(["through", "return"])),
    )
    swing = replace(swing, **asked)
    motion = one_rep(
        swing, seed, fps, still_s=float(rng.uniform(1.5, 2.5)), waggles=int(rng.integers(0, 3))
    )
    return _random(rng, f"anybody-{seed}", "random player, random swing", motion, (), fps)


def _random(
    rng: np.random.Generator,
    name: str,
    what: str,
    motion: Motion,
    spans: tuple[Span, ...],
    fps: float,
) -> Clip:
    person = random_person(rng)
    return Clip(
        name=name,
        what=what,
        motion=motion,
        others=spans,
        fps=fps,
        handed=person.handed,
        shape=person.shape,
        outfit=person.outfit,
        room=person.room,
        camera=person.camera,
        film=person.film,
        stance=person.stance,
    )


Scenario = Callable[[int, float, Mapping[str, float]], Clip]

SCENARIOS: dict[str, Scenario] = {
    "full-turn-right": full_turn,
    "short-turn-head-off-right": short_turn,
    "hips-off-left": hips_off,
    "tags": tagged,
    "checkpoints": slow_checkpoints,
    "practice-then-fast": fast_after_practice,
    "walk-in": walks_in,
    "anybody": anybody,
}


def adjusted(scenario: Scenario, seed: int, fps: float, asked: Mapping[str, float]) -> Clip:
    """Return a scenario's clip with parts of its swing replaced (field names of Swing)."""
    return scenario(seed, fps, asked)
