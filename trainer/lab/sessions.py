"""Whole practice sessions: walking in, many reps good and bad, pauses and walking out. Pure numpy.

What the product must make of them is in tests/walks; there too are the poses read from them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

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
from trainer.lab.sequences import (
    STANDING,
    Span,
    part_way,
    take_address,
    tee_a_ball,
    top_dofs,
    turn_to,
    walk,
)

#: Far enough to the side to be out of the picture.
OUT_CM = 320.0
#: The free arm of somebody who holds a hand above the head.
HAND_UP = {"trail_lift_deg": 168.0, "trail_out_deg": 22.0, "trail_bend_deg": 18.0}

#: Shares of the way to the top of the two checkpoints between setup and top.
HIP_SHARE, LEVEL_SHARE = 0.30, 0.66


@dataclass(slots=True)
class Session:
    """A session as it is made, one thing after another; ``now_s`` is how long it is so far."""

    seed: int
    now_s: float = 0.0
    curves: Curves = field(default_factory=lambda: Curves(Pose()))
    reps: list[Events] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)

    def __post_init__(self) -> None:
        sway_a_little(self.curves, np.random.default_rng(self.seed))

    def motion(self, fps: float) -> Motion:
        """Return the whole session at ``fps`` pictures a second."""
        t_s = frame_times(self.now_s, fps)
        return Motion(t_s, self.curves.at(t_s), tuple(self.reps), self.curves.start)

    def _span(self, what: str, from_s: float) -> None:
        self.spans.append(Span(what, from_s, self.now_s))

    def walks_in(self) -> None:
        """Come in from the trail side and turn to the camera, upright, club in the lead hand."""
        begin = self.now_s
        self.curves.move(-1.0, -0.5, **STANDING, stance_turn_deg=-90.0)
        walked = walk(self.curves, begin, -OUT_CM, 0.0, steps=9)
        self.now_s = turn_to(self.curves, walked, 0.0)
        self._span("walks in", begin)

    def walks_out(self) -> None:
        """Stand up, turn to the trail side, walk off and stay away for five seconds."""
        self.stands_up()
        begin = self.now_s
        turned = turn_to(self.curves, begin, 90.0)
        self.now_s = walk(self.curves, turned + 0.2, 0.0, OUT_CM, steps=9) + 5.0
        self._span("walks out", begin)

    def stands_up(self) -> None:
        """Leave the address, or the finish, for standing upright."""
        begin = self.now_s
        upright = {name: float(getattr(self.curves.start, name)) for name in _AFTER_SWING}
        self.curves.move(begin, begin + 1.3, **{**upright, **STANDING})
        self.now_s += 1.5
        self._span("stands up", begin)

    def tees(self) -> None:
        """Bend to tee a ball, from standing."""
        begin = self.now_s
        self.now_s = tee_a_ball(self.curves, begin)
        self._span("tees a ball", begin)

    def talks(self, seconds: float = 6.0, towards_deg: float = 40.0) -> None:
        """Turn half aside and speak with the free hand, from standing."""
        begin = self.now_s
        at = turn_to(self.curves, begin, towards_deg)
        end = begin + seconds - 1.2
        rng = np.random.default_rng([self.seed, int(begin * 100)])
        while at < end - 0.7:
            lift, out, bend = rng.uniform(15, 70), rng.uniform(5, 40), rng.uniform(25, 90)
            self.curves.move(
                at, at + 0.6, trail_lift_deg=lift, trail_out_deg=out, trail_bend_deg=bend
            )
            at += 0.7
        self.curves.move(at, at + 0.6, **{name: STANDING[name] for name in HAND_UP})
        self.now_s = turn_to(self.curves, max(end, at), 0.0) + 0.2
        self._span("talks", begin)

    def hand_up(self, held_s: float = 1.6) -> None:
        """Hold the free hand above the head, from standing."""
        begin = self.now_s
        self.curves.move(begin, begin + 0.6, **HAND_UP)
        down = begin + 0.6 + held_s
        self.curves.move(down, down + 0.6, **{name: STANDING[name] for name in HAND_UP})
        self.now_s = down + 0.8
        self._span("hand above the head", begin)

    def rests(self, seconds: float) -> None:
        """Stay as one is."""
        self.now_s += seconds

    def takes_address(self) -> None:
        """Go from standing to the address."""
        begin = self.now_s
        self.now_s = take_address(self.curves, begin, self.curves.start) + 0.1
        self._span("takes the address", begin)

    def waggles(self, times: int = 2) -> None:
        """Waggle at the address."""
        begin = self.now_s
        self.now_s = waggle(self.curves, begin, times)
        self._span("waggles", begin)

    def half_turn(self) -> None:
        """Make a practice half-turn at the address, the hands to hip height and back."""
        begin, start = self.now_s, self.curves.start
        low = part_way(Swing(), 0.32, start)
        self.curves.move(begin, begin + 0.7, **low)
        self.curves.move(begin + 0.8, begin + 1.6, **{n: getattr(start, n) for n in low})
        self.now_s = begin + 1.7
        self._span("practice half-turn", begin)

    def rep(self, swing: Swing, still_s: float = 1.8) -> None:
        """Stand still at the address and make one rep; ends at the address again.

        One that swings through holds its finish for a moment and comes back.
        """
        setup = self.now_s
        made = backswing(self.curves, swing, setup_s=setup, takeaway_s=setup + still_s)
        self.reps.append(made)
        end = made.top_end_s + swing.downswing_s
        if swing.finish == "through":
            end += swing.follow_s + 0.9
            self._to_address(end, 1.5)
            end += 1.5
        self.now_s = end + 0.2

    def checkpoint_rep(
        self,
        swing: Swing,
        holds_s: tuple[float, float, float] = (1.6, 1.6, 1.8),
        *,
        back_for_level: bool = False,
        still_s: float = 2.4,
    ) -> None:
        """Go back slowly and pause at the checkpoints for so long; 0 passes one without a pause.

        ``back_for_level``: having gone past lead arm level, come back to it and hold it.
        """
        curves, setup = self.curves, self.now_s
        at = begin = setup + still_s
        stops = ((HIP_SHARE, holds_s[0], 1.6), (LEVEL_SHARE, holds_s[1], 1.8))
        before = 0.0
        for share, hold_s, move_s in stops:
            if not hold_s:
                continue
            curves.move(at, at + move_s * (1 + before), **part_way(swing, share, curves.start))
            at += move_s * (1 + before)
            self.spans.append(Span(f"pause at {share:.2f}", at, at + hold_s))
            at, before = at + hold_s, 0.0
        if back_for_level:
            curves.move(at, at + 1.6, **part_way(swing, 0.86, curves.start))
            curves.move(at + 1.8, at + 3.0, **part_way(swing, LEVEL_SHARE, curves.start))
            self.spans.append(Span(f"pause at {LEVEL_SHARE:.2f}", at + 3.0, at + 4.6))
            at += 4.6
        top = at + (2.2 if holds_s[1] or back_for_level else 3.2)
        curves.move(at, top, **top_dofs(swing))
        leave = top + holds_s[2]
        self.reps.append(Events(setup_s=setup, takeaway_s=begin, top_s=top, top_end_s=leave))
        self._to_address(leave, 2.0)
        self.now_s = leave + 2.2

    def _to_address(self, from_s: float, seconds: float) -> None:
        start = self.curves.start
        names = {name for name, *_ in self.curves.moves}
        back = {name: float(getattr(start, name)) for name in names}
        self.curves.move(from_s, from_s + seconds, **back)


#: What a swing leaves other than at the address and standing does not set.
_AFTER_SWING = (
    "hip_turn_deg",
    "hip_drift_cm",
    "shoulder_turn_deg",
    "thorax_turn_deg",
    "head_drift_cm",
    "head_rise_cm",
    "head_turn_deg",
    "lead_protract_deg",
    "lead_raise_deg",
    "forearm_roll_deg",
    "elbow_drop_deg",
    "flat_wrist",
    "lead_heel_cm",
    "trail_heel_cm",
)

GOOD = Swing(
    shoulder_turn_deg=92,
    hip_turn_deg=45,
    head_drift_cm=1.5,
    hip_drift_cm=0.5,
    backswing_s=0.95,
    hold_s=0.15,
    downswing_s=0.32,
    follow_s=0.7,
)
SHORT = replace(GOOD, shoulder_turn_deg=64, hip_turn_deg=30, arm_lift_deg=114, arm_across_deg=54)
HEAD_OFF = replace(GOOD, head_drift_cm=10.0, hip_drift_cm=2.0)
HIPS_OFF = replace(GOOD, hip_drift_cm=10.0, head_drift_cm=2.5)


def half_speed(swing: Swing) -> Swing:
    """Return the same swing back in 1.9 s, held, and returned to the address."""
    return replace(swing, backswing_s=1.9, hold_s=0.5, finish="return", downswing_s=1.0)


def golfer_at_home(seed: int) -> Session:
    """Eleven reps at full and half speed with a pause by hand in the middle."""
    session = Session(seed)
    session.walks_in()
    session.tees()
    session.takes_address()
    session.waggles(2)
    session.rep(GOOD)
    session.rep(half_speed(GOOD))
    session.half_turn()
    session.rep(SHORT)
    session.rep(half_speed(HEAD_OFF))
    session.stands_up()
    session.tees()
    session.takes_address()
    session.waggles(1)
    session.rep(GOOD)
    session.rep(half_speed(SHORT))
    session.stands_up()
    session.hand_up()
    session.talks(6.0)
    session.tees()
    session.takes_address()
    session.half_turn()
    session.stands_up()
    session.hand_up()
    session.takes_address()
    session.rep(HEAD_OFF)
    session.rep(half_speed(GOOD))
    session.waggles(3)
    session.rep(half_speed(HIPS_OFF))
    session.rep(SHORT)
    session.rep(GOOD)
    session.walks_out()
    return session


def player_in_the_bay(seed: int, swings: tuple[Swing, ...]) -> Session:
    """One of a coach's players: walks in, listens, makes her reps with talk between, walks out."""
    session = Session(seed)
    session.walks_in()
    session.talks(5.0)
    session.tees()
    session.takes_address()
    session.waggles(2)
    for number, swing in enumerate(swings):
        session.rep(swing)
        if number == len(swings) // 2 - 1:
            session.stands_up()
            session.talks(6.0)
            session.takes_address()
    session.walks_out()
    return session


def slow_motion(seed: int) -> Session:
    """Ten slow reps: all checkpoints held, one or another skipped, the top short, one gone back."""
    slow = replace(GOOD, shoulder_turn_deg=90, head_drift_cm=1.0)
    session = Session(seed)
    session.walks_in()
    session.takes_address()
    session.checkpoint_rep(slow)
    session.checkpoint_rep(slow, (1.6, 0.0, 1.8))
    session.checkpoint_rep(slow)
    session.checkpoint_rep(slow, (0.0, 1.6, 1.8))
    session.checkpoint_rep(replace(slow, shoulder_turn_deg=62, hip_turn_deg=30))
    session.checkpoint_rep(slow)
    session.checkpoint_rep(slow, (1.6, 0.0, 1.8), back_for_level=True)
    session.checkpoint_rep(replace(slow, head_drift_cm=10.0))
    session.checkpoint_rep(slow, (1.6, 0.5, 1.8))
    session.checkpoint_rep(slow)
    session.walks_out()
    return session
