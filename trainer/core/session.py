"""Joins the core: one pose in, one step out.

``step(state, t_s, pose, rules) -> (state, Step)`` is the only thing the live mirror, the
measuring of files and the replay of a trace call, so all three say the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from statistics import mode
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import cues as cue_rules
from trainer.core import geometry as geo
from trainer.core import own_rep
from trainer.core import phases as phase_rules
from trainer.core.estimate import Fitted, Prepared, prepare
from trainer.core.handpath import HandPoint, one_strayed, speed_cm_s
from trainer.core.measures import (
    arms_cm,
    expected_hand_px,
    hand_arc_deg,
    hand_level,
    hand_place_cm,
    less_sure,
    measure,
    moved_cm,
)
from trainer.core.own_errors import with_own_errors
from trainer.core.phase_state import REFERENCED, PhaseState, Reading, hand_lost
from trainer.core.records import Cue, Measures, Phase, PhaseChange, Pose, Rep, Source, Step
from trainer.core.rod_check import corrected
from trainer.core.rules import Rules
from trainer.core.setup import (
    Reference,
    StillWindow,
    push,
    reference_from,
    scale_cm_per_px,
    seen_from_behind,
)
from trainer.core.smoothing import OneEuroState, one_euro
from trainer.core.tag_body import TagBody
from trainer.core.tag_session import TagState, follow

FloatArray = NDArray[np.float64]

#: A setup held is taken anew this often while the player stands still.
RENEW_S: Final = 0.1

BEHIND_NOTICE = (
    "You are seen from behind, so no setup is taken: face the camera. If you do, change the light "
    "or wear something that stands out from the background."
)
WRONG_WAY_NOTICE = (
    "The hands went toward the target. Is the picture already mirrored (--mirrored), "
    "or does this player swing the other way (--handed)?"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionState:
    """All the core remembers between two poses."""

    t_s: float | None = None  #: time of the last step
    filter: OneEuroState | None = None
    cm_per_px: float | None = None  #: rough scale, for the filter's speed term only
    window: StillWindow = field(default_factory=StillWindow)
    looked_s: float = float("-inf")  #: when the window was last searched for a still address
    reference: Reference | None = None
    ready: Prepared | None = None  #: the estimator made ready for ``reference``
    phases: PhaseState = field(default_factory=PhaseState)
    cues: cue_rules.CueState = field(default_factory=cue_rules.CueState)
    readings: tuple[Measures, ...] = ()  #: of the backswing under way
    rep_cues: tuple[Cue, ...] = ()
    reps_started: int = 0
    reps: int = 0
    notices: tuple[str, ...] = ()
    tags: TagState = field(default_factory=TagState)
    hand_lost: bool = False  #: the pose model cannot find one of the hands in this rep


def step(
    state: SessionState,
    t_s: float,
    pose: Pose | None,
    rules: Rules,
    fitted: Fitted | None = None,
    worn: TagBody | None = None,
) -> tuple[SessionState, Step]:
    """Advance by one reading at ``t_s``; ``pose`` is None when nobody plausible was seen.

    ``fitted`` is the estimator of the measures, see ``measures.measure``. ``worn`` is what is
    learned of the tags the player wears; None: none. It alone is changed in place, because it
    grows with every picture.

    Raises ValueError when time does not increase.
    """
    if state.t_s is not None and t_s <= state.t_s:
        raise ValueError(f"time must increase: {t_s} s after {state.t_s} s")
    state, smooth = _smooth(state, t_s, pose, rules)
    state, found = _look_for_setup(state, t_s, pose, rules)
    before = state.phases
    reading = _reading(state, t_s, pose, found, rules.phases.hands_apart_cm)
    lost_then = state.reference is not None and state.reference.lost is not None
    state = replace(state, hand_lost=hand_lost(state.hand_lost, before.phase, reading, lost_then))
    phases, changes = phase_rules.step(state.phases, reading, rules.phases)
    state = _follow_changes(state, phases, found)
    state = _make_ready(state, fitted)
    expected_px = None
    if state.reference is not None:
        expected_px = expected_hand_px(state.phases.path, t_s, state.reference)
    now = measure(smooth, t_s, state.reference, state.ready, expected_px, rules.ball_line_cm)
    if state.hand_lost:
        now = less_sure(now)
    now = corrected(now, rules.rod_read_deg)
    everybodys = now.shoulder_turn_se_deg
    now = with_own_errors(now, smooth, state.reference, rules.own_errors)
    is_own = now.shoulder_turn_se_deg != everybodys
    if phases.path and phases.path[-1].t_s == t_s:
        now = replace(now, hand_speed_cm_s=speed_cm_s(phases.path))
    markerless, said = None, None
    if worn is not None:
        markerless, known = now, state.reference
        tags, now, said = follow(
            state.tags,
            worn,
            smooth,
            now,
            known,
            phases.phase,
            state.cm_per_px if known is None else known.cm_per_px,
        )
        state = replace(state, tags=tags)
    state, cues = _cues(state, now, changes, rules)
    state, rep = _rep(state, now, before, cues)
    return state, Step(
        t_s=t_s,
        pose=smooth,
        measures=now,
        phase=phases.phase,
        changes=changes,
        cues=cues,
        rep=rep,
        reps=state.reps,
        notices=_notices(state, smooth),
        markerless=markerless,
        tags=said,
        own_turn_error=is_own,
    )


def finish(state: SessionState) -> tuple[SessionState, Rep | None]:
    """End the session; return the rep that was under way, not complete, if one was."""
    if state.phases.phase not in (Phase.BACKSWING, Phase.TOP):
        return state, None
    rep = _make_rep(state, state.phases)
    # The session may go on later, and then no other rep may have this one's number.
    started = state.reps_started + 1
    return replace(state, phases=PhaseState(), reference=None, reps_started=started), rep


def new_setup(state: SessionState) -> SessionState:
    """Forget the setup (the player asked for a new one); reps and time are kept."""
    return SessionState(
        t_s=state.t_s,
        filter=state.filter,
        cm_per_px=state.cm_per_px,
        reps_started=state.reps_started,
        reps=state.reps,
        tags=replace(state.tags, reference=None, joined={}, pitch_setup=None),
    )


def _notices(state: SessionState, pose: Pose | None) -> tuple[str, ...]:
    """Return the phases' notices, and why no setup comes of a body seen from behind."""
    found = (*state.notices, *state.tags.notices)
    if state.phases.phase is Phase.WAITING and pose is not None and seen_from_behind(pose):
        return (*found, BEHIND_NOTICE)
    return found


def _smooth(
    state: SessionState, t_s: float, pose: Pose | None, rules: Rules
) -> tuple[SessionState, Pose | None]:
    """Filter the points; speeds count in centimetres, so the distance does not matter."""
    if pose is None:
        return replace(state, t_s=t_s), None
    scale, _ = scale_cm_per_px(pose.image_px, pose.world_m, rules.stature_cm)
    known = state.cm_per_px
    if scale is not None:
        known = scale if known is None else known + 0.05 * (scale - known)
    cm_per_px = 0.4 if known is None else known
    # The values stay in pixels: times a scale that changes, even a still point would move.
    packed = np.empty((len(pose.image_px), 6))
    packed[:, :2], packed[:, 2], packed[:, 3:] = pose.image_px, pose.depth_px, pose.world_m
    unit = np.array([cm_per_px] * 3 + [100.0] * 3)
    filtered_state, packed = one_euro(state.filter, pose.t_s, packed, rules.smoothing, unit=unit)
    smooth = replace(pose, image_px=packed[:, :2], depth_px=packed[:, 2], world_m=packed[:, 3:])
    return replace(state, t_s=t_s, filter=filtered_state, cm_per_px=known), smooth


def _look_for_setup(
    state: SessionState, t_s: float, pose: Pose | None, rules: Rules
) -> tuple[SessionState, Reference | None]:
    """Watch for a still address while one can begin or be taken anew.

    Medians cost time, so one already held is renewed only every ``RENEW_S``.
    """
    phase = state.phases.phase
    if phase in (Phase.BACKSWING, Phase.TOP, Phase.AFTER):
        return replace(state, window=StillWindow()), None
    window = push(state.window, pose, t_s, rules.setup)
    if pose is None or phase is Phase.NOBODY:
        return replace(state, window=window), None
    if state.reference is not None and t_s - state.looked_s < RENEW_S - 1e-9:
        return replace(state, window=window), None
    # Once hands have begun to go, points that jump no longer speak for hands that keep still.
    flickering = phase is not Phase.TAKEAWAY
    found = reference_from(window, rules, flickering=flickering)
    return replace(state, window=window, looked_s=t_s), found


def _reading(
    state: SessionState,
    t_s: float,
    pose: Pose | None,
    found: Reference | None,
    apart_limit_cm: float,
) -> Reading:
    if pose is None:
        return Reading(t_s=t_s, seen=False)
    setup_t_s = None if found is None else found.t_s
    reference = state.reference
    if reference is None:
        return Reading(t_s=t_s, seen=True, setup_t_s=setup_t_s)
    path = state.phases.path
    lateral, height = hand_place_cm(pose, reference, expected_hand_px(path, t_s, reference))
    lead, trail = geo.lead_trail(reference.handed, "wrist")
    apart_px = math.dist(pose.image_px[lead].tolist(), pose.image_px[trail].tolist())
    apart_cm = apart_px * reference.cm_per_px
    shoulders = moved_cm(geo.middle(pose.image_px, "shoulder"), reference.chest_px, reference)
    hips = moved_cm(geo.middle(pose.image_px, "hip"), reference.hip_px, reference)
    hands = HandPoint(
        t_s=t_s,
        lateral_cm=lateral,
        height_cm=height,
        arc_deg=hand_arc_deg(lateral, height, reference),
        level=hand_level(height, reference),
        arms_cm=arms_cm(pose, reference),
        motion=pose.hand_motion,
    )
    is_told = apart_cm < apart_limit_cm or not one_strayed((*path, hands), reference.lost)
    return Reading(
        t_s=t_s,
        seen=True,
        setup_t_s=setup_t_s,
        hands=hands,
        hands_apart_cm=apart_cm if is_told else None,
        body_moved_cm=max(math.hypot(*shoulders), math.hypot(*hips)),
    )


def _follow_changes(
    state: SessionState, phases: PhaseState, found: Reference | None
) -> SessionState:
    """Take the phases in, and keep the reference in step with them."""
    phase, reference = phases.phase, state.reference
    if phase is Phase.SETUP and found is not None:
        # Taken anew for as long as the player stands still; frozen by the takeaway. The hands
        # seen so far were measured against the old one, which lies within the still limits.
        reference = found
    if phase not in REFERENCED:
        reference = None
    notices = (WRONG_WAY_NOTICE,) if phases.wrong_way else ()
    return replace(state, phases=phases, reference=reference, notices=notices)


def _make_ready(state: SessionState, fitted: Fitted | None) -> SessionState:
    """Keep the estimator ready for the reference that is held."""
    reference, ready = state.reference, state.ready
    if fitted is None or reference is None:
        return state if ready is None else replace(state, ready=None)
    if ready is not None and ready.reference is reference and ready.fitted is fitted:
        return state
    return replace(state, ready=prepare(fitted, reference))


def _cues(
    state: SessionState, now: Measures, changes: tuple[PhaseChange, ...], rules: Rules
) -> tuple[SessionState, tuple[Cue, ...]]:
    entered = {change.phase: change for change in changes}
    asked = own_rep.cue_rules(rules)
    if Phase.TOP in entered and Phase.AFTER in entered:
        top = _at_top(state, entered[Phase.TOP].t_s, entered[Phase.AFTER].t_s)
        if top is not None:
            top = own_rep.judged(top, rules)
            _, cues = cue_rules.at_top(state.cues, top, now.t_s, asked)
            return replace(state, cues=cue_rules.CueState()), cues
    cue_state, cues = cue_rules.step(
        state.cues, own_rep.judged(now, rules), state.phases.phase, asked, pain=rules.pain
    )
    return state if cue_state == state.cues else replace(state, cues=cue_state), cues


def _rep(
    state: SessionState, now: Measures, before: PhaseState, cues: tuple[Cue, ...]
) -> tuple[SessionState, Rep | None]:
    """Gather the backswing under way; return the rep when its top ends or the player is lost."""
    phase = state.phases.phase
    ended = phase is Phase.AFTER and before.phase is not Phase.AFTER
    lost = phase is Phase.NOBODY and before.phase in (Phase.BACKSWING, Phase.TOP)
    if phase in cue_rules.SWINGING or ended or lost:
        state = replace(state, readings=(*state.readings, now), rep_cues=(*state.rep_cues, *cues))
    if ended or lost:
        rep = _make_rep(state, before if lost else state.phases)
        state = replace(
            state,
            readings=(),
            rep_cues=(),
            reps_started=state.reps_started + 1,
            reps=state.reps + int(rep.complete),
        )
        return state, rep
    if phase not in cue_rules.SWINGING and state.readings:
        state = replace(state, readings=(), rep_cues=())
    return state, None


def _make_rep(state: SessionState, phases: PhaseState) -> Rep:
    takeaway_t_s = phases.takeaway_t_s if phases.takeaway_t_s is not None else phases.since_s
    setup_t_s = phases.setup_t_s if phases.setup_t_s is not None else takeaway_t_s
    top_t_s, end_t_s = phases.top_t_s, phases.top_end_t_s
    at_top = None
    if top_t_s is not None:
        at_top = _at_top(state, top_t_s, end_t_s if end_t_s is not None else top_t_s + 0.3)
    until_s = end_t_s if end_t_s is not None else float("inf")
    swing = [m for m in state.readings if takeaway_t_s <= m.t_s <= until_s + 1e-9]
    return Rep(
        number=state.reps_started + 1,
        setup_t_s=setup_t_s,
        takeaway_t_s=takeaway_t_s,
        top_t_s=top_t_s,
        top_end_t_s=end_t_s,
        complete=top_t_s is not None and end_t_s is not None,
        at_top=at_top,
        max_shoulder_turn_deg=max(
            (m.shoulder_turn_deg for m in swing if m.shoulder_turn_deg is not None),
            default=None,
        ),
        max_head_lateral_cm=_farthest([m.head_lateral_cm for m in swing]),
        max_head_vertical_cm=_farthest([m.head_vertical_cm for m in swing]),
        max_hip_lateral_cm=_farthest([m.hip_lateral_cm for m in swing]),
        cues=state.rep_cues,
    )


def _farthest(values: list[float | None]) -> float | None:
    """Return the signed value of the largest size; None if none was read."""
    return max((v for v in values if v is not None), key=abs, default=None)


def _at_top(state: SessionState, from_s: float, to_s: float) -> Measures | None:
    """Return the median of each measure over the top; the nearest reading for a short one.

    At least 0.1 s round the middle is taken, so one noisy picture does not decide; at most
    0.5 s after arrival, so a sagging hold does not blur what was reached.
    """
    to_s = min(to_s, from_s + 0.5)
    middle_s = (from_s + to_s) / 2
    half_s = max((to_s - from_s) / 2, 0.05)
    near = [m for m in state.readings if abs(m.t_s - middle_s) <= half_s + 1e-9]
    if not near:
        near = sorted(state.readings, key=lambda m: abs(m.t_s - middle_s))[:1]
    if not near:
        return None

    def median(name: str) -> float | None:
        values = [getattr(m, name) for m in near if getattr(m, name) is not None]
        return float(np.median(values)) if values else None

    names = [name for name in Measures.__dataclass_fields__ if name not in ("t_s", "sources")]
    return Measures(t_s=middle_s, sources=_sources(near), **{name: median(name) for name in names})


def _sources(near: list[Measures]) -> dict[str, Source] | None:
    """Return what most of the readings rested on; None without tags."""
    told = [m.sources for m in near if m.sources is not None]
    if not told:
        return None
    names = dict.fromkeys(name for one in told for name in one)
    return {name: mode(one[name] for one in told if name in one) for name in names}
