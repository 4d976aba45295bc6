"""Every limit and hold of the core, in seconds, centimetres and degrees.

Each value is a design choice of ours unless a source stands beside it; all can be set in the
player's settings file. docs/measures.md and docs/architecture.md say what they do.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from trainer.core.practice_rules import PracticeRules, TurnOf
from trainer.core.records import Handed
from trainer.core.smoothing import OneEuroRules


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupRules:
    """When a player counts as standing still at address."""

    still_s: float = 0.7  #: how long everything must stay put
    window_s: float = 1.2  #: the reference is the median over at most this long
    body_spread_cm: float = 2.5  #: hips and shoulders may wander this far in ``still_s``
    hands_spread_cm: float = 3.5  #: and the hands this far
    #: Wrists at most this many shoulder widths apart. On a club they are 0.2 apart and hanging
    #: down 1.3, but of 360 rendered people of all kinds in one in six one wrist was seen 0.5 to
    #: 0.9 off where a hand hides the other.
    hands_apart_sw: float = 0.95
    hands_aside_sw: float = 0.75  #: mid-wrist at most this far beside mid-hip


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupCheckRules:
    """What is looked at in a setup; bands are teaching's conventions, no source."""

    on: bool = True
    #: Ankles apart, in shoulder widths as the pose model sees both; common is a bit more than 1.
    #: The shoulders of a trunk that leans to the camera look a little wider than they are, and
    #: the model's points lie nearer together than a tape would say, so both ends are eased.
    stance_low: float = 0.95
    stance_high: float = 1.7
    #: The trunk leans slightly away from the target. From 0: a camera tipped by a degree or two
    #: and the pose model's own noise would fault many who do.
    tilt_low_deg: float = 0.0
    tilt_high_deg: float = 15.0
    ball_off_cm: float = 10.0  #: the ball line is this near to the lead shoulder
    head_behind_cm: float = 3.0  #: the head is so far behind it
    hips_off_share: float = 0.12  #: hips at most so much of the stance off its middle


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseRules:
    """When one phase gives way to the next."""

    lost_s: float = 1.0  #: nobody read for this long means nobody is there
    found_s: float = 0.1
    takeaway_cm: float = 4.0  #: hands this far from setup, on the way to the trail side
    takeaway_speed_cm_s: float = 4.0
    takeaway_sure_cm: float = 12.0  #: from here on no speed is asked
    takeaway_hold_s: float = 0.06
    backswing_arc_deg: float = 45.0  #: hands about at hip height
    returned_arc_deg: float = 20.0  #: back near setup without a top: no rep
    low_top_height: float = 0.85  #: hands of a top at least here; 0 hip line, 1 shoulder line
    high_top_height: float = 1.05  #: from here a short stop is a top
    low_top_hold_s: float = 1.6  #: a stop below that is a checkpoint unless it lasts this long
    high_top_hold_s: float = 0.12
    short_top_height: float = 0.5  #: lower down, a turn is a top at least here ...
    short_top_arc_deg: float = 55.0  #: ... and with the hands this far round ...
    short_top_speed: float = 1.4  #: ... if they come back this many times as fast as they went
    top_speed_cm_s: float = 14.0  #: slower than this is a stop ...
    top_speed_of_peak: float = 0.05  #: ... or slower than this share of the rep's peak speed
    reversal_deg: float = 7.0  #: hands gone back this far along the arc: the top is over
    leave_cm: float = 22.0  #: both hands this far from their place at the top
    go_on_deg: float = 9.0  #: hands gone on this far: it was a stop on the way, not the top
    swing_s: float = 45.0  #: a backswing that lasts longer is given up
    after_s: float = 0.4  #: hands low and calm this long end the rep
    after_speed_cm_s: float = 40.0
    after_max_s: float = 6.0
    hands_apart_cm: float = 45.0  #: hands this far apart are not on a club
    hands_apart_hold_s: float = 0.25
    body_moved_cm: float = 14.0  #: shoulders or hips this far off at setup: no longer address
    body_moved_hold_s: float = 0.2
    walked_off_cm: float = 30.0  #: shoulders or hips this far off: walking, not swinging
    wrong_way_arc_deg: float = -60.0


#: Words for how sure, in per cent, it must be that the turn is truly there.
CONFIDENCE: Final = {"even odds": 50.0, "likely": 75.0, "surely": 95.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class CueRules:
    """What is worth a cue."""

    target_deg: float = 85.0
    turn_band_deg: float = 5.0
    #: Per cent, 50 to 99, that the turn is truly at the target when it sounds. 50: as soon as the
    #: reading is there; more: once it is past the target by so much of its standard error.
    turn_confidence: float = CONFIDENCE["even odds"]
    turn_hysteresis_deg: float = 3.0  #: shown as reached until this far below where it became so
    #: At the target for this long before it sounds. 0, for every moment comes late: between two
    #: pictures at 30 a second a quick backswing turns 8 degrees, while on rendered backswings only
    #: one reading in twenty that stood out above both neighbours did so by more than 1.7.
    turn_hold_s: float = 0.0
    #: A turn that came faster must be read twice. Rendered golfers turned at up to 295; one of
    #: 2427 readings of them came faster than this.
    turn_jump_deg_s: float = 500.0
    head_tol_cm: float = 5.0
    hip_tol_cm: float = 4.0
    hips_strict: bool = False  #: True: hips must stay in tolerance all the way, not only at the top
    rearm: float = 0.7  #: back inside this share of the tolerance arms the cue again
    drift_hold_s: float = 0.05  #: out of tolerance for this long before it sounds
    #: The upper back's gap to the ball line at the top is good from here to there; chosen.
    back_gap_low_cm: float = 0.0
    back_gap_high_cm: float = 6.0
    back_gap_counts: bool = False  #: True: the gap decides the verdict too, not only its words
    #: Which turn the target is about. Printed tags tell the chest's better; it is some 9 less.
    turn_of: TurnOf = TurnOf.SHOULDERS
    own_top: bool = False  #: True: target and bands from the reference rep of the day


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnRep:
    """The player's reference rep: its figures at the top, signed as in ``Measures``."""

    turn_deg: float
    head_lateral_cm: float | None = None
    head_vertical_cm: float | None = None
    hip_lateral_cm: float | None = None
    back_gap_cm: float | None = None
    hand_lateral_cm: float | None = None
    hand_height_cm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnErrors:
    """How far off this player's figures were beside printed tags, before one camera.

    Each factor multiplies that measure's standard error (1: as told of people in general); no
    error is then told below its floor, which is how sure the tags were (``own_errors``).
    """

    width_px: float  #: the pictures' size, and ...
    height_px: float
    cm_per_px: float | None = None  #: ... the scale at setup it was found with; None: any
    shoulder_turn_factor: float = 1.0
    hip_turn_factor: float = 1.0
    chest_pitch_factor: float = 1.0
    hip_lateral_factor: float = 1.0
    head_lateral_factor: float = 1.0
    head_vertical_factor: float = 1.0
    shoulder_turn_floor: float = 0.0  #: degrees, as the chest's turn was told by the tags
    hip_turn_floor: float = 0.0
    chest_pitch_floor: float = 0.0
    hip_lateral_floor: float = 0.0  #: cm
    head_lateral_floor: float = 0.0
    head_vertical_floor: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """All rules of a session, and what is known of the player."""

    handed: Handed = Handed.RIGHT
    stature_cm: float | None = None
    pain: bool = False  #: True: nothing asks for turn any more
    #: Every standard error times this; more than 1 for another pose model than was fitted with.
    se_factor: float = 1.0
    #: the ball line from the lead shoulder at setup, + away from the target; None: no line
    ball_line_cm: float | None = 0.0
    rod_read_deg: float | None = None  #: what this camera read at a true 90 degrees, last time
    own: OwnRep | None = None  #: the reference rep of the day
    own_errors: OwnErrors | None = None  #: found with printed tags before this camera
    #: as far as this player turns with comfort; no target lies more than 5 degrees above it
    comfort_deg: float | None = None
    check_offered: bool = False  #: this player has practised before: a silent check is offered
    setup: SetupRules = field(default_factory=SetupRules)
    setup_check: SetupCheckRules = field(default_factory=SetupCheckRules)
    phases: PhaseRules = field(default_factory=PhaseRules)
    cues: CueRules = field(default_factory=CueRules)
    practice: PracticeRules = field(default_factory=PracticeRules)
    #: Light, because the pose model smooths too and lag costs more than the noise left (turn in
    #: motion 4.7 degrees off in place of 5.2, still readings 0.7 instead of 0.6 apart). Per
    #: centimetre: 4 Hz when still, 30 Hz more at 50 cm/s.
    smoothing: OneEuroRules = field(
        default_factory=lambda: OneEuroRules(min_cutoff_hz=4.0, beta=0.6, d_cutoff_hz=1.0)
    )
