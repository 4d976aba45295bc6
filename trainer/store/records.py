"""What is kept of a session, of a rep, and of the readings a rep is made of.

No picture is among it: those of a rep that was filmed lie beside it. What is not known is None,
as everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Handed, Measures, Rep
from trainer.core.rules import OwnRep


class Kind(str, Enum):
    """Where a session came from."""

    LIVE = "live"  #: the mirror
    CLIP = "clip"  #: a video file that was measured


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptSession:
    """One run of the mirror by one player, or one clip."""

    uid: str  #: 32 hexadecimal digits, drawn at random: the same on every machine
    player: str
    began: datetime  #: with its offset from UTC
    kind: Kind
    source: str  #: the camera's or the clip's name
    model: str  #: the pose model's file name; "standard" for the one that is fetched
    model_fitted: bool  #: False: standard errors were widened for another pose model
    program: str  #: version of this program
    clip_sha256: str | None = None  #: of a clip's bytes; None for a session of the mirror


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What the rep was asked for: the limits in force while it was made, and the ball line."""

    target_deg: float
    turn_band_deg: float
    turn_confidence: float  #: per cent
    turn_of: str  #: which turn the target is about, a value of ``TurnOf``
    head_tol_cm: float
    hip_tol_cm: float
    hips_strict: bool
    back_gap_low_cm: float
    back_gap_high_cm: float
    ball_line_cm: float | None  #: from the lead shoulder at setup, + away from the target
    pain: bool  #: marked before the rep's end: no turn was asked for
    own: OwnRep | None = None  #: the reference rep that target and bands were taken from, if so


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeptPose:
    """The body points at one moment, as they were in the unmirrored picture."""

    size_wh: tuple[int, int]  #: picture width and height in pixels
    image_px: NDArray[np.float64]  #: (33, 2) x right, y down; kept in single precision
    visibility: NDArray[np.float64]  #: (33,) 0..1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeptRep:
    """One rep with all that was known of it when it ended, but for its curves and poses.

    Its session's ``uid`` and its own number name it.
    """

    session: KeptSession
    ended: datetime  #: with its offset from UTC, when the rep was over
    rep: Rep  #: its number counts within the session
    handed: Handed
    stature_cm: float | None
    aim: Aim
    good: bool | None  #: the program's verdict; None: too little or too unsure to say
    words: tuple[str, ...]  #: that verdict in words, the headline first
    cm_per_px: float | None  #: scale at setup
    scale_from_stature: bool | None  #: False: from the pose model's own metres
    #: medians over the last half second of setup; only what is counted from no setup is read there
    at_setup: Measures | None = None
    # One standard error of the largest turn and drifts: of the reading each was taken from.
    max_shoulder_turn_se_deg: float | None = None
    max_head_lateral_se_cm: float | None = None
    max_head_vertical_se_cm: float | None = None
    max_hip_lateral_se_cm: float | None = None
    cues_heard: bool | None = None  #: whether tones could be heard; None: not known, as of a clip
    # Left None by all that does not know of them.
    practice_kind: str | None = None  #: what kind of practice the rep belonged to
    schedule: str | None = None  #: the cue schedule and its state at this rep, as JSON
    guess: str | None = None  #: the player's own guess before the figure was shown
    coach_good: bool | None = None  #: the coach's verdict
    note: str | None = None  #: the coach's note


@dataclass(frozen=True, slots=True, kw_only=True)
class RepWord:
    """One thing that was said of a rep after it had ended."""

    session_uid: str
    number: int
    what: str  #: "guess", "coach_good" or "note": the field of ``KeptRep`` it belongs to
    said: bool | str | None  #: None takes it back


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curves:
    """A rep's readings, from up to a second before its takeaway to its end.

    ``t_s`` is counted from the takeaway, so it is negative at setup. Each other column is a field
    of ``Measures``; NaN marks a reading not made, and a measure that was never read has no column.
    """

    t_s: NDArray[np.float64]  #: (N,), increasing, to 0.1 ms
    columns: dict[str, NDArray[np.float64]]  #: (N,) each, to 0.01 of its unit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """How a rep went: its curves, and the points at setup and at the top."""

    curves: Curves | None = None
    setup_pose: KeptPose | None = None
    top_pose: KeptPose | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPictures:
    """The clip of a rep that was filmed; ``store.pictures`` says where it lies."""

    session_uid: str
    number: int  #: the rep's, within its session
    bytes: int
    sha256: str
    width_px: int
    height_px: int
    rate_hz: int
    frames: int
    top_frame: int | None  #: which of them is the middle of the top, from 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionLine:
    """A session in a list: itself and how many reps it has."""

    session: KeptSession
    reps: int  #: complete ones
    last: datetime  #: when its last rep ended
