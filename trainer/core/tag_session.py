"""The printed tags beside the body points: what both together say, picture by picture."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from trainer.core.asked_turn import LINE_PER_CHEST, LINE_PER_CHEST_SE
from trainer.core.records import Measures, Phase, Pose, Source
from trainer.core.setup import Reference
from trainer.core.tag_body import TagBody
from trainer.core.tag_join import KEEP_DEG, Joined, Told, join
from trainer.core.tag_reading import Angle, BodyTags, PartReading
from trainer.core.tag_tilt import LEVEL_SE_DEG, opened_deg, opened_tilt_se_deg, with_tilt

#: What a change of sources may add to a step, a second.
RATE_DEG_S: Final = 90.0
RATE_CM_S: Final = 20.0
#: Standard errors taken where the body points' own is not known, which is without an estimator.
_UNKNOWN_DEG: Final = 15.0
_UNKNOWN_CM: Final = 3.0
#: How a belt or cap gives on the body.
_GIVES_CM: Final = 0.3
#: The body points' hips go along with the turn, so beside tags their drift is taken for so many
#: times less sure than they say: 25 rendered people's development clips, 0.8 cm off at the top.
_HIPS_UNSURE: Final = 2.0
#: How much of an error of where the chest points at setup is left in how far it has opened since:
#: on a trunk leaning 30 degrees that turns by 90, 1 - cos 30; rounded up.
_PITCH_LEFT: Final = 0.15
#: How fast the chest's pitch at setup follows its readings, as a share of each.
_PITCH_PACE: Final = 0.1
#: The body points' line to the chest's turn differs between players by this share, is told by turns
#: from so many degrees on, each with an error of so many that so many pictures share, and changes
#: by so much over the square root of each degree turned. On rendered people's development clips.
_LINE_SPREAD: Final = 0.2
_LINE_FROM_DEG: Final = 10.0
_LINE_SE_DEG: Final = 5.0
_LINE_ALIKE: Final = 8.0
_LINE_DRIFT: Final = 0.025
_ANY_LINE: Final = Told(value=LINE_PER_CHEST, se=_LINE_SPREAD)
#: How long a word about the tags stands.
WORDS_S: Final = 8.0
#: Tags are wanted and for so long none is seen: that is said.
UNSEEN_S: Final = 4.0
#: Tags and body points further apart than so many errors and degrees cannot both be right. The
#: points are then told alone, and if it lasts, that is said.
_ODD_ERRORS: Final = 4.0
_ODD_DEG: Final = 10.0
ODD_S: Final = 0.5
ODD_NOTICE: Final = (
    "Tags and camera disagree by far, so the camera alone is told. See that the tags sit tight and "
    "each in its place, then take a new setup (R)."
)
UNSEEN_NOTICE: Final = (
    "No tag is seen. Sheets of trainer tags were wanted, flat, facing the camera, white all round "
    "the black square. Come nearer, give more light, or print larger ones."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagState:
    """What the core remembers of worn tags between two poses; how they sit is in ``TagBody``."""

    reference: Reference | None = None  #: the setup that ``joined`` is counted from
    joined: Mapping[str, Joined] = field(default_factory=dict)
    pitch_setup: Told | None = None  #: where the chest points at setup, by the body points
    words: tuple[tuple[float, str], ...] = ()  #: until when each stands
    odd_since_s: float | None = None  #: since when tags and body points cannot both be right
    #: how much further than the rib cage the body points have the player's shoulder line turn
    line_per_chest: Told = _ANY_LINE
    line_at_deg: float | None = None  #: the turn at which that was last learned
    seen_s: float | None = None  #: when a tag was last seen; first: when tags were first wanted

    @property
    def notices(self) -> tuple[str, ...]:
        """The words that stand."""
        return tuple(text for _, text in self.words)


def follow(
    state: TagState,
    body: TagBody,
    pose: Pose | None,
    points: Measures,
    reference: Reference | None,
    phase: Phase,
    cm_per_px: float | None,
) -> tuple[TagState, Measures, BodyTags]:
    """Return the new state, the measures by tags and body points, and what the tags said.

    ``points`` is what the body points alone say; ``body`` learns from the picture. Where the
    setup was taken anew the tags are zeroed with it. ``cm_per_px`` at the player, for how far
    away the body is.
    """
    t_s = points.t_s
    seen = None if pose is None else pose.tags
    far_m = None
    if seen is not None and cm_per_px is not None:
        far_m = cm_per_px * seen.focal_px / 100.0
    chest = _chest(state, points)
    said = body.see(
        t_s,
        () if seen is None else seen.poses,
        distance_hint_m=far_m,
        turn_hint_deg=None if chest is None else chest.value,
        hip_hint_deg=points.hip_turn_deg,
        pitch_setup_deg=None if state.pitch_setup is None else state.pitch_setup.value,
    )
    tilt_se_deg = LEVEL_SE_DEG if seen is None else seen.tilt_se_deg
    said = replace(
        said,
        thorax=with_tilt(said.thorax, tilt_se_deg),
        pelvis=with_tilt(said.pelvis, tilt_se_deg),
        head=with_tilt(said.head, tilt_se_deg),
    )
    state = _words(state, said, seen is not None and bool(seen.poses), pose is not None)
    if reference is not state.reference:
        state = replace(state, reference=reference, joined={})
        if reference is not None:
            body.zero(reference.t_s, t_s)
    if reference is None:
        return replace(state, pitch_setup=None), points, said
    if pose is None:
        return state, points, said
    state = _pitch_at_setup(state, points, phase)
    said, is_odd = _believed(state, points, said)
    state = _odd_words(state, t_s, is_odd)
    state = _with_line(state, points, said)
    joined = _joined(state, points, said, tilt_se_deg)
    opened = _opened(state, said.thorax, tilt_se_deg)
    if opened is not None:
        said = replace(said, extension=Angle(deg=opened.value, se_deg=opened.se))
    return replace(state, joined=joined), _measures(points, joined, state, said), said


def _words(state: TagState, said: BodyTags, seen: bool, somebody: bool) -> TagState:
    t_s = said.t_s
    words = [(until_s, text) for until_s, text in state.words if until_s > t_s]
    words += [(t_s + WORDS_S, text) for text in said.notices]
    seen_s = t_s if seen or state.seen_s is None or not somebody else state.seen_s
    if t_s - seen_s > UNSEEN_S and UNSEEN_NOTICE not in [text for _, text in words]:
        words.append((t_s + WORDS_S, UNSEEN_NOTICE))
    if seen:
        words = [(until_s, text) for until_s, text in words if text != UNSEEN_NOTICE]
    return replace(state, words=tuple(words), seen_s=seen_s)


def _believed(state: TagState, points: Measures, said: BodyTags) -> tuple[BodyTags, bool]:
    """Return ``said`` without the parts that contradict the body points, and whether any does."""
    chest = _chest(state, points)
    hips = None
    if points.hip_turn_deg is not None:
        se = _or(points.hip_turn_se_deg, _UNKNOWN_DEG)
        hips = Told(value=points.hip_turn_deg, se=se)
    off_thorax, off_pelvis = _is_odd(said.thorax, chest), _is_odd(said.pelvis, hips)
    if not off_thorax and not off_pelvis:
        return said, False
    return replace(
        said,
        thorax=None if off_thorax else said.thorax,
        pelvis=None if off_pelvis else said.pelvis,
    ), True


def _is_odd(part: PartReading | None, points: Told | None) -> bool:
    if part is None or points is None:
        return False
    apart = abs((part.turn.deg - points.value + 180.0) % 360.0 - 180.0)
    return apart > _ODD_DEG + _ODD_ERRORS * math.hypot(part.turn.se_deg, points.se)


def _odd_words(state: TagState, t_s: float, is_odd: bool) -> TagState:
    if not is_odd:
        return state if state.odd_since_s is None else replace(state, odd_since_s=None)
    since_s = t_s if state.odd_since_s is None else state.odd_since_s
    state = replace(state, odd_since_s=since_s)
    if t_s - since_s < ODD_S or ODD_NOTICE in state.notices:
        return state
    return replace(state, words=(*state.words, (t_s + WORDS_S, ODD_NOTICE)))


def _pitch_at_setup(state: TagState, points: Measures, phase: Phase) -> TagState:
    """Keep where the chest points at setup: a mean over it, frozen by the takeaway."""
    if phase is not Phase.SETUP or points.chest_pitch_deg is None:
        return state
    now = Told(value=points.chest_pitch_deg, se=_or(points.chest_pitch_se_deg, _UNKNOWN_DEG))
    then = state.pitch_setup
    if then is not None:
        now = replace(now, value=then.value + _PITCH_PACE * (now.value - then.value))
    return replace(state, pitch_setup=now)


def _joined(
    state: TagState, points: Measures, said: BodyTags, tilt_se_deg: float
) -> dict[str, Joined]:
    before, found = state.joined, dict[str, Joined]()
    last = before.get("shoulder_turn_deg")
    turn = points.shoulder_turn_deg
    turned_deg = 0.0 if last is None or turn is None else abs(turn - last.points)

    def put(
        name: str,
        at: float | None,
        se: float | None,
        tag: Told | None,
        part: PartReading | None,
    ) -> None:
        if at is None:
            return
        is_cm = name.endswith("_cm")
        found[name] = join(
            before.get(name),
            said.t_s,
            Told(value=at, se=_or(se, _UNKNOWN_CM if is_cm else _UNKNOWN_DEG)),
            tag,
            () if part is None or tag is None else part.numbers,
            turned_deg=turned_deg,
            rate=RATE_CM_S if is_cm else RATE_DEG_S,
        )

    thorax, pelvis, head = said.thorax, said.pelvis, said.head
    se, chest = points.shoulder_turn_se_deg, _chest(state, points)
    if chest is not None:
        by_tag = None if thorax is None else Told(value=thorax.turn.deg, se=thorax.turn.se_deg)
        put("thorax_turn_deg", chest.value, chest.se, by_tag, thorax)
        line = None if by_tag is None else line_from_chest(by_tag)
        put("shoulder_turn_deg", turn, se, line, thorax)
    opened = _opened(state, thorax, tilt_se_deg)
    if state.pitch_setup is not None:
        then, now = state.pitch_setup, points.chest_pitch_deg
        se = _or(points.chest_pitch_se_deg, _UNKNOWN_DEG)
        put(
            "chest_extension_deg",
            None if now is None else now - then.value,
            # The same points err alike at setup and now: taken as if they did not, to be safe.
            math.hypot(se, then.se),
            opened,
            thorax,
        )
        # Where it points now is told by the points of the setup and by those of now. Near the
        # setup they err alike, and two readings then say no more than one.
        alike = math.sqrt(1.0 + math.exp(-abs(turn or 0.0) / KEEP_DEG))
        pitch = None
        if opened is not None:
            pitch = Told(value=then.value + opened.value, se=math.hypot(then.se, opened.se) * alike)
        put("chest_pitch_deg", now, se * (1.0 if opened is None else alike), pitch, thorax)
    by_tag = None if pelvis is None else Told(value=pelvis.turn.deg, se=pelvis.turn.se_deg)
    put("hip_turn_deg", points.hip_turn_deg, points.hip_turn_se_deg, by_tag, pelvis)
    moves = {
        "hip_lateral_cm": (pelvis, "away", points.hip_lateral_se_cm),
        "head_lateral_cm": (head, "away", points.head_lateral_se_cm),
        "head_vertical_cm": (head, "up", points.head_vertical_se_cm),
    }
    for name, (part, way, se) in moves.items():
        tag = None if said.cm_doubtful else _moved(part, way)
        if name == "hip_lateral_cm" and se is not None:
            se *= _HIPS_UNSURE
        put(name, getattr(points, name), se, tag, part)
    return found


def line_from_chest(chest: Told) -> Told:
    """Return the shoulder line's turn that goes with a rib cage's, with the people's spread."""
    return Told(
        value=chest.value * LINE_PER_CHEST,
        se=math.hypot(chest.se * LINE_PER_CHEST, chest.value * LINE_PER_CHEST_SE),
    )


def _chest(state: TagState, points: Measures) -> Told | None:
    """Return the rib cage's turn as the body points tell it, by this player's own share."""
    line = points.shoulder_turn_deg
    if line is None:
        return None
    value = line / state.line_per_chest.value
    se = math.hypot(_or(points.shoulder_turn_se_deg, _UNKNOWN_DEG), value * LINE_PER_CHEST_SE)
    return Told(value=value, se=se / state.line_per_chest.value)


def _with_line(state: TagState, points: Measures, said: BodyTags) -> TagState:
    """Learn how much further than the rib cage the body points have this player's line turn."""
    thorax, line = said.thorax, points.shoulder_turn_deg
    if thorax is None or line is None or thorax.turn.deg < _LINE_FROM_DEG:
        return state
    before, turn = state.line_per_chest, thorax.turn
    last = state.line_at_deg
    moved_deg = 0.0 if last is None else min(abs(turn.deg - last), _LINE_FROM_DEG)
    variance = before.se**2 + _LINE_DRIFT**2 * moved_deg
    noise = _LINE_ALIKE * (turn.se_deg**2 + _LINE_SE_DEG**2) / turn.deg**2
    share = variance / (variance + noise)
    value = before.value + share * (line / turn.deg - before.value)
    now = Told(value=min(max(value, 0.7), 2.0), se=math.sqrt(variance * (1.0 - share)))
    return replace(state, line_per_chest=now, line_at_deg=turn.deg)


def _opened(state: TagState, thorax: PartReading | None, tilt_se_deg: float) -> Told | None:
    """Return how far the chest's own front has come up since the setup, by the tags.

    The front is where the body points have it at setup, level across; the tag's own normal leans
    otherwise, for a breastbone slopes, and another direction rises by another angle.
    """
    if thorax is None or state.pitch_setup is None:
        return None
    then = state.pitch_setup
    tilt = opened_tilt_se_deg(thorax.rotation, then.value, tilt_se_deg)
    return Told(
        value=opened_deg(thorax.rotation, then.value),
        se=math.hypot(thorax.pitch.se_deg, _PITCH_LEFT * then.se, tilt),
    )


def _moved(part: PartReading | None, way: str) -> Told | None:
    """Return a part's middle's move."""
    if part is None:
        return None
    return Told(value=getattr(part, f"{way}_cm"), se=moved_se_cm(getattr(part, f"{way}_se_cm")))


def moved_se_cm(own_cm: float) -> float:
    """Return how sure a part's move is: its own error, and how its cards give on the body."""
    return math.hypot(own_cm, _GIVES_CM)


def _measures(
    points: Measures, joined: Mapping[str, Joined], state: TagState, said: BodyTags
) -> Measures:
    told: dict[str, Any] = {}
    sources: dict[str, Source] = {}
    for name, one in joined.items():
        sources[name] = one.source
        untold = one.kept == 0.0 and one.lag == 0.0
        if untold and name not in _TAGS_ONLY:
            continue  # no tag has told of it since the setup: as without tags, to the last bit
        stem, unit = name.rsplit("_", 1)
        told[name], told[f"{stem}_se_{unit}"] = one.value, one.se
    now = replace(points, **told)
    line, hips = joined.get("shoulder_turn_deg"), joined.get("hip_turn_deg")
    if line is not None and hips is not None and {Source.POSE} != {line.source, hips.source}:
        now = replace(
            now,
            separation_deg=line.value - hips.value,
            separation_se_deg=math.hypot(line.se, hips.se),
        )
    if said.thorax is not None:
        bend = said.thorax.side_bend
        now = replace(now, side_bend_deg=bend.deg, side_bend_se_deg=bend.se_deg)
    return replace(now, sources=sources)


_TAGS_ONLY: Final = frozenset({"thorax_turn_deg", "chest_extension_deg"})


def _or(value: float | None, other: float) -> float:
    return other if value is None else value
