"""What the app needs from the outside world, as protocols the adapters fill."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from trainer.core.ball_line import BallLine
from trainer.core.look_back import LookBack
from trainer.core.placement import PlacementState
from trainer.core.practice_rules import TurnOf
from trainer.core.practice_shown import PracticeShown
from trainer.core.records import Cue, Frame, Handed, Pose, Rep, Signal, Step
from trainer.core.rod_check import RodState
from trainer.core.rules import CueRules, OwnRep
from trainer.core.tag_pose import Hint

_CUES: Final = CueRules()


class SourceState(str, Enum):
    """How a picture source is doing."""

    STARTING = "starting"
    RUNNING = "running"
    STALLED = "stalled"  #: open, but no picture for more than a second
    LOST = "lost"  #: closed by itself; being opened again
    ENDED = "ended"  #: a clip came to its end; no more will come


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceStatus:
    """A snapshot of a picture source, for the screen and for doctor."""

    state: SourceState
    text: str  #: plain words for the player; empty while all is well
    size_wh: tuple[int, int] | None  #: None until the first picture
    measured_fps: float | None  #: over about the last second; None until known
    dropped: int  #: pictures read but replaced by a newer one before anyone took them


class FrameSource(Protocol):
    """Pictures of one camera, network camera or clip; the newest wins.

    ``open``, ``get`` and ``close`` are called from one thread; reading runs in the source's own.
    """

    name: str  #: what to call it in messages: "camera 0", the URL, the file name

    def open(self) -> None:
        """Open and start reading. Raises CameraError when it cannot be opened at all."""

    def get(self, timeout_s: float) -> Frame | None:
        """Return the newest picture not yet handed out, or None if none came in time.

        Never raises for a lost or stalled camera: ``status`` says so and reading goes on trying.
        """

    def now_s(self) -> float:
        """Return the time now on the clock of ``Frame.t_s``. Any thread may call it."""

    def status(self) -> SourceStatus:
        """Return how the source is doing now. Any thread may call it."""

    def close(self) -> None:
        """Stop reading and let the device go. Safe to call twice."""


class PoseEstimator(Protocol):
    """Finds the player in a frame. Called from the pose thread only."""

    def estimate(self, frame: Frame) -> Pose | None:
        """Return the player's pose with ``frame.t_s`` kept, or None when nobody plausible is seen.

        Raises PoseError if the model fails; an empty room is not a failure.
        """

    def swings(self, handed: Handed) -> None:
        """Learn which way the player swings: what holds for the other way need not be read."""

    def hold(self, locked: bool) -> None:
        """Follow nobody else while ``locked``: the player is in a swing."""

    def notice(self) -> str:
        """Return plain words about who is followed ("two people: ..."), or an empty string."""

    def close(self) -> None:
        """Free the model. Safe to call twice."""


class TagSight(Protocol):
    """Reads the worn tags in a frame, beside the pose. Called from the pose thread only."""

    def begin(self, frame: Frame, hints: Mapping[int, tuple[Hint, ...]]) -> None:
        """Begin to look, before the pose is found; ``hints`` on each tag's attitude by number."""

    def take(self, frame: Frame, pose: Pose | None) -> Pose | None:
        """Return ``pose`` with what was seen by now; never waits for it.

        Raises what the looking raised.
        """

    def notices(self) -> tuple[str, ...]:
        """Return plain words about lens, camera and what is seen."""

    def close(self) -> None:
        """End the looking. Safe to call twice."""


class Sounder(Protocol):
    """Plays cues and signals. ``play`` and ``signal`` return at once and never raise."""

    @property
    def name(self) -> str:
        """Return "pygame", "simpleaudio" or "no sound"."""

    @property
    def audible(self) -> bool:
        """Tell whether anybody can hear it; if not, the screen says "no sound"."""

    @property
    def trouble(self) -> str:
        """Return what is wrong, in plain words; empty while all is well."""

    def play(self, cue: Cue, *, pan: float = 0.0) -> None:
        """Start the tone of ``cue``. ``pan`` is -1 (listener's left) to +1 (right)."""

    def signal(self, signal: Signal, t_s: float) -> None:
        """Start the tone of ``signal``, decided at ``t_s``, in place of one still sounding."""

    def close(self) -> None:
        """Let the device go. Safe to call twice."""


class KeyAction(str, Enum):
    """What the player asked for with a key, a click or the window's close button."""

    QUIT = "quit"
    FULL_SCREEN = "full_screen"
    NEW_SETUP = "new_setup"  #: forget the setup and look for a new one
    SWITCH_HANDED = "switch_handed"
    MUTE = "mute"
    PAIN = "pain"  #: the player felt pain: no cue asks for turn any more this session
    HELP = "help"
    LINE_AWAY = "line_away"  #: move the ball line a step away from the target
    LINE_TOWARD = "line_toward"  #: move the ball line a step toward the target
    THIS_ONE = "this_one"  #: the last complete rep is the reference of the day
    OWN_TOP = "own_top"  #: aim at the reference, and back at the usual targets
    COMFORT = "comfort"  #: the last complete rep went as far as is comfortable
    ROD_CHECK = "rod_check"  #: begin the rod check, and end it
    PAUSE = "pause"  #: rest, and go on
    NEXT_KIND = "next_kind"  #: the next kind of practice; an offered silent check comes first
    PREVIOUS_KIND = "previous_kind"
    FREE = "free"  #: the kinds of practice, each by name
    CHECKPOINTS = "checkpoints"
    TURN_ONLY = "turn_only"
    CENTRED = "centred"
    LADDER = "ladder"
    NEXT_CUES = "next_cues"  #: the next cue schedule
    GUESS_FIRST = "guess_first"  #: guess before the figure shows, and no longer
    GUESS_SHORT = "guess_short"
    GUESS_THERE = "guess_there"
    GUESS_PAST = "guess_past"
    SILENT_CHECK = "silent_check"  #: begin the silent check
    KINDS = "kinds"  #: show the page of kinds
    GESTURES = "gestures"  #: answer signs by hand, and no longer
    FILM = "film"  #: keep pictures round each rep, and no longer
    VOLUME = "volume"  #: play the tones, from the softest on
    REPORT = "report"  #: make the page about this player's last session, and show it
    SESSIONS = "sessions"  #: show the list of kept sessions, and take it away
    PLACEMENT = "placement"  #: show the placement guide, and take it away
    FIRST_RUN = "first_run"  #: once more through camera, player and placement
    CAUTION = "caution"  #: show the safety caution
    # Meant while a page of the first run is shown:
    GUIDE_ON = "guide_on"  #: take what the page shows, and go on
    GUIDE_BACK = "guide_back"  #: to the page before
    GUIDE_LEAVE = "guide_leave"  #: pass over all that is left of it
    GUIDE_PREVIOUS = "guide_previous"  #: the choice before
    GUIDE_NEXT = "guide_next"  #: the next choice
    # Meant while that list is shown:
    LIST_UP = "list_up"
    LIST_DOWN = "list_down"
    LIST_PREVIOUS = "list_previous"  #: only the player before; from the first one: all
    LIST_NEXT = "list_next"  #: only the next player; from the last one: all
    LIST_MARK = "list_mark"  #: mark the chosen session; two marked ones are compared
    LIST_OPEN = "list_open"  #: make the page about the chosen session, and show it
    NEXT_PLAYER = "next_player"  #: the next player of the roster, and round again
    PREVIOUS_PLAYER = "previous_player"
    COACH_GOOD = "coach_good"  #: the coach calls the last rep good; once more takes it back
    COACH_NOT_GOOD = "coach_not_good"
    NOTE = "note"  #: write a note on the last rep
    LOOK_BACK = "look_back"  #: show the last rep standing still, and back to the mirror
    TOPS = "tops"  #: show the last rep's top beside the reference's, and back
    # Meant while the last rep is shown:
    LOOK_EARLIER = "look_earlier"  #: one reading back
    LOOK_LATER = "look_later"
    LOOK_BEFORE = "look_before"  #: back to setup, takeaway or top
    LOOK_AFTER = "look_after"
    ADJUST = "adjust"  #: what MORE and LESS change: target, band, head, hips
    MORE = "more"
    LESS = "less"
    # What MORE and LESS become on their way to the core:
    TARGET_MORE = "target_more"
    TARGET_LESS = "target_less"
    BAND_MORE = "band_more"
    BAND_LESS = "band_less"
    HEAD_MORE = "head_more"
    HEAD_LESS = "head_less"
    HIPS_MORE = "hips_more"
    HIPS_LESS = "hips_less"
    NEW_SITTING = "new_sitting"  #: nobody came for long: the counts begin again; no key's
    FAR = "far"  #: only what must be read from across a room, very large, and back


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How the player wants the window to look."""

    large_text: bool = False
    figures: bool = True  #: False: tones alone tell of a rep; no figure, bar or verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A list over the mirror. Made by the app; the screen only draws it."""

    title: str
    head: tuple[str, ...]  #: words over the columns
    rows: tuple[tuple[str, ...], ...]  #: a row's cells; the screen shows those near ``chosen``
    chosen: int | None  #: None: nothing in it can be chosen
    foot: str  #: what the keys do, or what was just done


class GuidePage(str, Enum):
    """The pages of the first run; the last is also shown by itself, over the mirror."""

    CAMERA = "camera"
    HAND = "hand"
    STATURE = "stature"
    DRIVER = "driver"
    CAUTION = "caution"
    PLACEMENT = "placement"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """A page that leads through something. Made by the app; the screen only draws it."""

    page: GuidePage
    title: str  #: the question, or the one thing to change, in a few words to be read from afar
    lines: tuple[str, ...] = ()  #: what is meant by it, smaller
    choices: tuple[str, ...] = ()
    chosen: int = 0
    entry: str | None = None  #: what was typed so far; None where nothing is to be typed
    trouble: str = ""  #: what was wrong with the last answer
    foot: str = ""  #: what the keys do
    number: int = 0  #: of the page, from 1; 0: it stands alone
    count: int = 0
    placement: PlacementState | None = None  #: on the placement page


@dataclass(frozen=True, slots=True, kw_only=True)
class Announced:
    """Who is in front of the mirror from now on, to be shown large for a moment."""

    name: str
    lines: tuple[str, ...]  #: which hand, target, ball line, reference; what went wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """A line being written while the mirror goes on."""

    title: str
    text: str  #: so far
    foot: str  #: what the keys do


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """All that one drawing shows. Made by the app; the screen only draws it."""

    image_rgb: NDArray[np.uint8] | None  #: newest picture, not mirrored; None before the first
    step: Step | None  #: newest step; None before the first
    handed_left: bool
    target_deg: float
    turn_band_deg: float  #: half width of the band round the target
    head_tol_cm: float
    hip_tol_cm: float
    turn_confidence: float = _CUES.turn_confidence  #: per cent asked for before it is "reached"
    turn_hysteresis_deg: float = _CUES.turn_hysteresis_deg  #: shown as reached until back by this
    turn_of: TurnOf = _CUES.turn_of  #: which turn the target is about
    hips_strict: bool = False  #: hips out of tolerance count before the top too
    reps: int
    last_rep: Rep | None
    last_rep_words: tuple[str, ...]  #: the verdict in one short line, then details
    notices: tuple[str, ...]  #: status lines: camera lost, two people, no sound, ...
    pain: bool
    muted: bool
    cue_delay_ms: float | None  #: picture stamp to cue decision, median of the last seconds
    fps: float | None  #: poses a second
    dropped: int
    caution: bool  #: show the safety caution
    answer: str = ""  #: what a key just did, in plain words; empty where there is nothing to say
    own: OwnRep | None = None  #: the reference target and bands are taken from; None: not in use
    ball_line: BallLine | None = None  #: None where none is to be drawn
    rod: RodState | None = None  #: the rod check under way; None outside it
    practice: PracticeShown | None = None  #: what is practised and told; None: all is told
    listed: Listed | None = None  #: a list to be shown over the mirror
    filming: bool = False  #: pictures are being kept: this is to be seen at any time
    guide: Guide | None = None  #: a page of the first run or of the placement guide
    announced: Announced | None = None  #: the next player's name
    writing: Writing | None = None  #: a note under way; the keys are its letters
    looked: LookBack | None = None  #: the last rep standing still, or two tops, over the mirror
    far: bool = False  #: only the turn, the verdict and the reps, to be read across a room
    look: Look = field(default_factory=Look)


class Screen(Protocol):
    """The window. Every call comes from the main thread."""

    name: str  #: "window" or "no screen"

    def show(self, view: View) -> None:
        """Draw ``view`` and bring it to the glass."""

    def actions(self) -> tuple[KeyAction, ...]:
        """Return what the player asked for since the last call.

        While ``View.writing`` is shown keys are letters and ask for nothing.
        """

    def typed(self) -> str:
        r"""Return what was typed since the last call into ``View.writing`` or a guide's entry.

        Among the letters "\b" takes a letter back, "\n" ends the line and "\x1b" drops it.
        """

    def close(self) -> None:
        """Close the window. Safe to call twice."""
