"""The frozen records that flow from a camera picture to a cue.

``Frame -> Pose | None -> Measures -> PhaseState -> tuple[Cue, ...] -> Step``; every record
carries ``t_s``, stamped once when the picture was read. Signs, here and everywhere: turn is
positive away from the target, lateral is positive away from the target, vertical is positive
up, and zero is the player's own setup. A reading not made is None, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trainer.core.tag_pose import TagsRead
from trainer.core.tag_reading import BodyTags


class Handed(str, Enum):
    """Which way the player swings. A right-hander's target is to the player's left."""

    RIGHT = "right"
    LEFT = "left"


class Phase(str, Enum):
    """Where in a rep the player is. The legal moves are in ``phases.MOVES``."""

    NOBODY = "nobody"
    WAITING = "waiting"
    SETUP = "setup"
    TAKEAWAY = "takeaway"
    BACKSWING = "backswing"
    TOP = "top"
    AFTER = "after"


class CueKind(str, Enum):
    """What a cue means; each kind has its own tone."""

    TURN_REACHED = "turn_reached"
    HEAD_OUT = "head_out"
    HIPS_OUT = "hips_out"


class Signal(str, Enum):
    """A tone that steers practice; unlike a cue it says nothing about one measure.

    Two of them never sound together: a new one takes the place of the last.
    """

    CHECK_1 = "check_1"  #: setup held ...
    CHECK_2 = "check_2"  #: ... hands at hip height ...
    CHECK_3 = "check_3"  #: ... lead arm level ...
    CHECK_4 = "check_4"  #: ... top held: the ladder's last step
    CHECK_LEFT = "check_left"  #: the band was left, the hold begins again
    CHECK_SKIPPED = "check_skipped"  #: a checkpoint was passed without being held
    PAUSED = "paused"
    RESUMED = "resumed"
    NEXT_KIND = "next_kind"  #: another practice, or another rung, from now on
    TIME = "time"  #: so many more minutes have passed
    #: The number of the rep, from 1 to 10 and round again: long is five, short is one.
    COUNT_1 = "count_1"
    COUNT_2 = "count_2"
    COUNT_3 = "count_3"
    COUNT_4 = "count_4"
    COUNT_5 = "count_5"
    COUNT_6 = "count_6"
    COUNT_7 = "count_7"
    COUNT_8 = "count_8"
    COUNT_9 = "count_9"
    COUNT_10 = "count_10"


class Side(str, Enum):
    """Where a drift went: away from the target, toward it, up or down."""

    AWAY = "away"
    TOWARD = "toward"
    UP = "up"
    DOWN = "down"


class Source(str, Enum):
    """What a reading rests on while printed tags are worn."""

    TAG = "tag"
    TAG_AND_POSE = "tag+pose"  #: the tag is so unsure just now that the body points count too
    BRIDGED = "bridged"  #: the tag is hidden: body points, corrected to its last reading
    POSE = "pose"  #: body points alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One picture of one camera, not mirrored."""

    t_s: float  #: seconds on the source's clock, stamped when the read returned; increasing
    index: int  #: counts every picture read from the source, also those nobody looked at
    image_rgb: NDArray[np.uint8]  #: (height, width, 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """Where the player's silhouette begins and ends in R evenly spaced rows of the picture."""

    row_px: NDArray[np.float64]  #: (R,) y of each row, increasing
    left_px: NDArray[np.float64]  #: (R,) x of the silhouette's left end; NaN where there is none
    right_px: NDArray[np.float64]  #: (R,) x of its right end


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """The 33 body points of one player in one picture (order: ``landmarks.Landmark``)."""

    t_s: float  #: the frame's time
    size_wh: tuple[int, int]  #: picture width and height in pixels
    image_px: NDArray[np.float64]  #: (33, 2) x right, y down, in the unmirrored picture
    depth_px: NDArray[np.float64]  #: (33,) depth from mid-hip, smaller is nearer, pixel scale
    world_m: NDArray[np.float64]  #: (33, 3) metres from mid-hip; x right, y down, z from camera
    visibility: NDArray[np.float64]  #: (33,) 0..1; near 1 even for hidden points: do not trust
    outline: Outline | None = None  #: None when the silhouette was not asked for or not found
    tags: TagsRead | None = None  #: None while no tags are worn
    #: (2, 3) turn of shoulder line and hip line from facing the camera, and the chest's pitch, as
    #: a picture of the trunk looks; for a right-handed swing and a left-handed, NaN for the one
    #: that was not asked for; None: not looked at
    trunk_deg: NDArray[np.float64] | None = None
    #: how fast the picture round the hands moves, in sides of a square a second; only its course
    #: means something; None below the hips or when it was not looked at
    hand_motion: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """What one pose says about the swing, against the player's own setup.

    Before a setup is known every field that needs one is None.
    """

    t_s: float
    shoulder_turn_deg: float | None = None  #: shoulder line, 0 at setup, + away from target
    hip_turn_deg: float | None = None  #: hip line, 0 at setup, + away from target
    head_lateral_cm: float | None = None  #: + away from target
    head_vertical_cm: float | None = None  #: + up
    hip_lateral_cm: float | None = None  #: mid-hip, + away from target
    chest_pitch_deg: float | None = None  #: where the chest faces, + above the horizontal
    separation_deg: float | None = None  #: shoulder turn less hip turn
    side_tilt_deg: float | None = None  #: mid-hip to mid-shoulder from upright, + away from target
    #: the upper back's edge on the target side, from the ball line; + on the trail side of the
    #: line, negative past it; needs the outline
    back_gap_cm: float | None = None
    hand_lateral_cm: float | None = None  #: mid-wrist from its setup place, + away from target
    hand_height_cm: float | None = None  #: mid-wrist above its setup place, + up
    hand_arc_deg: float | None = None  #: hands about mid-shoulder at setup; 0 there, + away
    hand_speed_cm_s: float | None = None  #: mid-wrist speed in the picture plane, >= 0
    # One standard error on people the estimator was not fitted on; None where none is known.
    shoulder_turn_se_deg: float | None = None
    hip_turn_se_deg: float | None = None
    head_lateral_se_cm: float | None = None
    head_vertical_se_cm: float | None = None
    hip_lateral_se_cm: float | None = None
    chest_pitch_se_deg: float | None = None
    separation_se_deg: float | None = None
    side_tilt_se_deg: float | None = None
    back_gap_se_cm: float | None = None
    # Only while printed tags are worn.
    thorax_turn_deg: float | None = None  #: rib cage, 0 at setup, + away from target
    thorax_turn_se_deg: float | None = None
    chest_extension_deg: float | None = None  #: ``chest_pitch_deg`` less that at setup, + opens up
    chest_extension_se_deg: float | None = None
    side_bend_deg: float | None = None  #: rib cage's own side axis, 0 at setup, + lead end up
    side_bend_se_deg: float | None = None
    sources: dict[str, Source] | None = None  #: by field: what it rests on


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """One thing to tell the player, decided as soon as the pose that shows it was read."""

    kind: CueKind
    side: Side | None  #: where a drift went; None for the turn
    strength: float  #: 0..1, how far past the limit (1 at twice the tolerance or more)
    t_s: float  #: the measured time it stands for (crossing found between two readings)
    decided_t_s: float  #: time of the pose that decided it; never before ``t_s``


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseChange:
    """A move from one phase to the next."""

    phase: Phase  #: the phase entered
    t_s: float  #: when it began, back-dated where the evidence comes later
    decided_t_s: float  #: time of the pose that decided it


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a rep was worth in the practice it was made in, and whether the player was told."""

    kind: str  #: ``PracticeKind`` of the practice; "silent_check" in a silent check
    cues: str  #: ``CueSchedule`` in force
    told_pct: int  #: per cent of the reps told at that time
    told: bool  #: False: tones, bars and words of this rep were kept back
    good: bool | None  #: None when too little was measured to say
    lines: tuple[str, ...]  #: headline, then details


@dataclass(frozen=True, slots=True, kw_only=True)
class Rep:
    """One backswing from setup to the end of its top.

    ``complete`` is True when setup, takeaway and both ends of the top were seen.
    """

    number: int  #: 1, 2, ... in this session
    setup_t_s: float
    takeaway_t_s: float
    top_t_s: float | None = None  #: hands arrive
    top_end_t_s: float | None = None  #: hands leave
    complete: bool = False
    at_top: Measures | None = None  #: median over the top
    max_shoulder_turn_deg: float | None = None
    max_head_lateral_cm: float | None = None  #: signed value of the largest size
    max_head_vertical_cm: float | None = None  #: signed value of the largest size
    max_hip_lateral_cm: float | None = None  #: signed value of the largest size
    cues: tuple[Cue, ...] = ()
    verdict: Verdict | None = None  #: None outside a practice

    @property
    def backswing_s(self) -> float | None:
        """Seconds from takeaway to top; None when no top was seen."""
        return None if self.top_t_s is None else self.top_t_s - self.takeaway_t_s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """Everything one pose led to: what is drawn, played, traced and tested."""

    t_s: float
    pose: Pose | None  #: the smoothed pose, for drawing; None when nobody was read
    measures: Measures
    phase: Phase
    changes: tuple[PhaseChange, ...] = ()  #: moves decided at this step
    cues: tuple[Cue, ...] = ()  #: cues decided at this step
    told: tuple[Cue, ...] = ()  #: those of them that the practice lets the player hear
    signals: tuple[Signal, ...] = ()  #: tones that steer the practice
    rep: Rep | None = None  #: a rep that ended at this step
    reps: int = 0  #: complete reps so far
    notices: tuple[str, ...] = field(default=())  #: plain words for the player
    #: While tags are worn: what the same pose says without them, to compare, and what they say.
    markerless: Measures | None = None
    tags: BodyTags | None = None
    own_turn_error: bool = False  #: the shoulder turn's error is this player's own (``own_errors``)
