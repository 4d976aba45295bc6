"""A stick golfer for tests: scripted situations in, poses as a perfect camera would see them out.

Invented on purpose and simple on purpose: it tests the finding of phases and the signs of the
measures, not how true the pose model is (rendered people do that).
"""

from dataclasses import dataclass, replace

import numpy as np

from trainer.core import session
from trainer.core.body_numbers import canonical
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Outline, Pose
from trainer.core.rules import Rules


def minimum_jerk(x):
    """Flash & Hogan 1985, J Neurosci 5:1688 (from memory): 10 x^3 - 15 x^4 + 6 x^5."""
    x = np.clip(x, 0.0, 1.0)
    return 10 * x**3 - 15 * x**4 + 6 * x**5


@dataclass(frozen=True)
class Body:
    """What the golfer does at one instant; lengths in cm, + away from the target or up."""

    arc_deg: float = 0.0  # hands about the chest
    turn_deg: float = 0.0  # shoulder line
    hip_turn_deg: float = 0.0
    head_cm: float = 0.0
    head_up_cm: float = 0.0
    hips_cm: float = 0.0
    walk_cm: float = 0.0  # whole body, + away
    bend_cm: float = 0.0  # shoulders and hands down
    hand_up_cm: float = 0.0  # the trail hand alone, a wave
    hands_shift_cm: float = 0.0  # both hands sideways, + away
    hands_up_cm: float = 0.0  # both hands straight up, whatever the arc


def blend(a, b, x):
    return Body(
        **{
            name: getattr(a, name) + (getattr(b, name) - getattr(a, name)) * x
            for name in Body.__dataclass_fields__
        }
    )


SETUP = Body()
TOP = Body(arc_deg=150.0, turn_deg=90.0, hip_turn_deg=45.0)


class Script:
    """Bodies at times, joined by minimum-jerk moves."""

    def __init__(self, start=SETUP):
        self.keys = [(0.0, start)]
        self.gone = []  # (from_s, to_s) during which nobody is read

    @property
    def end_s(self):
        return self.keys[-1][0]

    def hold(self, seconds):
        self.keys.append((self.end_s + seconds, self.keys[-1][1]))
        return self

    def move(self, body, seconds):
        self.keys.append((self.end_s + seconds, body))
        return self

    def lose(self, seconds):
        """Nobody is read for ``seconds``, the body staying as it is."""
        self.gone.append((self.end_s, self.end_s + seconds))
        return self.hold(seconds)

    def is_seen(self, t_s):
        return not any(start <= t_s < end for start, end in self.gone)

    def at(self, t_s):
        for (t0, a), (t1, b) in zip(self.keys, self.keys[1:], strict=False):
            if t_s <= t1:
                return blend(a, b, float(minimum_jerk((t_s - t0) / max(t1 - t0, 1e-9))))
        return self.keys[-1][1]


@dataclass(frozen=True)
class View:
    handed: Handed = Handed.RIGHT
    hz: float = 30.0
    distance_m: float = 3.0
    noise_px: float = 0.0
    seed: int = 0
    size_wh: tuple = (1280, 720)
    stature_m: float = 1.756
    start_s: float = 0.0


def pose_of(body, view, t_s, rng=None):
    """Return the pose of ``body``; x is computed for a right-hander and mirrored for the other."""
    h = view.stature_m
    p = np.zeros((33, 3))  # metres: x toward the target (picture right), y up, z to the camera

    def put(name, xyz):
        p[getattr(L, name)] = xyz

    walk = -body.walk_cm / 100
    hips = np.array([walk - body.hips_cm / 100, 0.52 * h, 0.0])
    a = np.radians(body.hip_turn_deg)
    half = 0.095 * h / 2 * np.array([np.cos(a), 0.0, np.sin(a)])
    put("LEFT_HIP", hips + half)
    put("RIGHT_HIP", hips - half)
    lean = np.radians(30.0)
    bend = body.bend_cm / 100
    chest = hips + 0.29 * h * np.array([0.0, np.cos(lean), np.sin(lean)]) - [0, bend, 0]
    a = np.radians(body.turn_deg)
    # lead shoulder turns toward the camera and down the leaning trunk's plane
    half = 0.21 * h / 2 * np.array([np.cos(a), -np.sin(lean) * np.sin(a), np.cos(lean) * np.sin(a)])
    put("LEFT_SHOULDER", chest + half)
    put("RIGHT_SHOULDER", chest - half)
    head = chest + [0.0 - body.head_cm / 100 + body.hips_cm / 100, 0.13 * h, 0.1]
    head[1] += body.head_up_cm / 100
    for name, dx, dy, dz in (
        ("NOSE", 0, 0, 0.1),
        ("LEFT_EAR", 0.07, 0, 0),
        ("RIGHT_EAR", -0.07, 0, 0),
        ("LEFT_EYE", 0.03, 0.03, 0.08),
        ("RIGHT_EYE", -0.03, 0.03, 0.08),
        ("MOUTH_LEFT", 0.02, -0.05, 0.08),
        ("MOUTH_RIGHT", -0.02, -0.05, 0.08),
    ):
        put(name, head + [dx, dy, dz])
    for side in ("LEFT", "RIGHT"):
        for part in ("EYE_INNER", "EYE_OUTER"):
            p[getattr(L, f"{side}_{part}")] = p[getattr(L, f"{side}_EYE")]
    arc = np.radians(body.arc_deg)
    centre = hips + 0.29 * h * np.array([0.0, np.cos(lean), np.sin(lean)])
    hand = centre + 0.36 * h * np.array([-np.sin(arc), -np.cos(arc), 0.3])
    hand = hand + [-body.hands_shift_cm / 100, body.hands_up_cm / 100 - bend, 0]
    lead, trail = hand + [0.03, 0.03, 0], hand - [0.03, 0.03, 0]
    trail = trail + [0, body.hand_up_cm / 100, 0]
    for side, wrist in (("LEFT", lead), ("RIGHT", trail)):
        put(f"{side}_WRIST", wrist)
        for part in ("PINKY", "INDEX", "THUMB"):
            put(f"{side}_{part}", wrist + [0, -0.05, 0])
        put(f"{side}_ELBOW", (p[getattr(L, f"{side}_SHOULDER")] + wrist) / 2)
        sign = 1 if side == "LEFT" else -1
        foot = np.array([walk + sign * 0.2, 0.04 * h, 0.0])
        put(f"{side}_ANKLE", foot)
        put(f"{side}_HEEL", foot - [0, 0.04, 0.03])
        put(f"{side}_FOOT_INDEX", foot + [0, -0.04, 0.15])
        put(f"{side}_KNEE", (p[getattr(L, f"{side}_HIP")] + foot) / 2 + [0, 0, 0.06])
    if view.handed is Handed.LEFT:
        p[:, 0] = -p[:, 0]
        mirrored = p.copy()
        for point in L:
            if point.name.startswith(("LEFT_", "RIGHT_")) or "_LEFT" in point.name:
                other = (
                    point.name.replace("LEFT", "~").replace("RIGHT", "LEFT").replace("~", "RIGHT")
                )
                mirrored[point] = p[L[other]]
            elif "_RIGHT" in point.name:
                mirrored[point] = p[L[point.name.replace("RIGHT", "LEFT")]]
        p = mirrored
    f = view.size_wh[0] / 2 / np.tan(np.radians(70.0) / 2)
    depth = view.distance_m - p[:, 2]
    image = np.stack(
        [
            view.size_wh[0] / 2 + f * p[:, 0] / depth,
            view.size_wh[1] / 2 - f * (p[:, 1] - 0.95) / depth,
        ],
        axis=1,
    )
    if rng is not None and view.noise_px:
        image = image + rng.normal(0, view.noise_px, image.shape)
    mid_hip = (p[L.LEFT_HIP] + p[L.RIGHT_HIP]) / 2
    world = (p - mid_hip) * [1, -1, -1]
    return Pose(
        t_s=t_s,
        size_wh=view.size_wh,
        image_px=image,
        depth_px=world[:, 2] * f / view.distance_m,
        world_m=world,
        visibility=np.ones(33),
    )


#: Joint to joint: what a silhouette is made of, and how thick, as a share of the shoulders' width.
LIMBS = (
    ("SHOULDER", "ELBOW", 0.14),
    ("ELBOW", "WRIST", 0.11),
    ("SHOULDER", "HIP", 0.3),
    ("HIP", "KNEE", 0.25),
    ("KNEE", "ANKLE", 0.16),
)


def with_outline(pose, rows=120):
    """Return ``pose`` with the ends of a silhouette of discs along its limbs and round its head."""
    height = pose.size_wh[1]
    at = (np.arange(rows) + 0.5) * height / rows
    points = pose.image_px
    ankles = (points[L.LEFT_ANKLE] + points[L.RIGHT_ANKLE]) / 2
    unit = 0.21 * 1.756 * np.linalg.norm(points[L.NOSE] - ankles) / 1.5
    discs = [((points[L.LEFT_EAR] + points[L.RIGHT_EAR]) / 2, 0.35)]
    for side in ("LEFT", "RIGHT"):
        for first, second, thick in LIMBS:
            a, b = points[L[f"{side}_{first}"]], points[L[f"{side}_{second}"]]
            discs += [(a + (b - a) * share, thick) for share in np.linspace(0, 1, 24)]
    left, right = np.full(rows, np.nan), np.full(rows, np.nan)
    for middle, thick in discs:
        half2 = (thick * unit) ** 2 - (at - middle[1]) ** 2
        half = np.where(half2 > 0, np.sqrt(np.maximum(half2, 0.0)), np.nan)
        left, right = np.fmin(left, middle[0] - half), np.fmax(right, middle[0] + half)
    return replace(pose, outline=Outline(row_px=at, left_px=left, right_px=right))


def with_trunk(pose):
    """Return ``pose`` with an outline, and with its trunk read as a crude eye would read it."""
    rows = []
    for handed in Handed:
        points = canonical(pose.image_px, handed)
        height = np.linalg.norm(points[L.LEFT_SHOULDER] - points[L.LEFT_HIP])
        wide = [points[a] - points[b] for a, b in ((11, 12), (23, 24))]
        turns = [90 - 100 * x[0] / height for x in wide]
        rows.append([*turns, 100 * wide[0][1] / height])
    return replace(with_outline(pose), trunk_deg=np.array(rows))


def poses(script, view=View()):
    """Return (t_s, pose) pairs over the whole script; the pose is None where nobody is read."""
    rng = np.random.default_rng(view.seed)
    count = int(script.end_s * view.hz + 1e-9) + 1
    pairs = []
    for i in range(count):
        at_s, t_s = i / view.hz, view.start_s + i / view.hz
        seen = script.is_seen(at_s)
        pairs.append((t_s, pose_of(script.at(at_s), view, t_s, rng) if seen else None))
    return pairs


@dataclass(frozen=True)
class Played:
    """What the core made of a script."""

    steps: tuple
    state: session.SessionState  # after the last step

    @property
    def changes(self):
        return [change for step in self.steps for change in step.changes]

    @property
    def phases(self):
        return [change.phase for change in self.changes]

    @property
    def cues(self):
        return [cue for step in self.steps for cue in step.cues]

    @property
    def reps(self):
        return [step.rep for step in self.steps if step.rep is not None]

    @property
    def rep(self):
        (only,) = self.reps
        return only

    def times(self, phase):
        return [change.t_s for change in self.changes if change.phase is phase]


def play(script, view=View(), rules=None, *, pairs=None):
    """Run a script through the core as seen in ``view``; return the steps and the last state."""
    rules = replace(rules or Rules(), handed=view.handed)
    state, steps = session.SessionState(), []
    for t_s, pose in poses(script, view) if pairs is None else pairs:
        state, step = session.step(state, t_s, pose, rules)
        steps.append(step)
    return Played(tuple(steps), state)


def rep_script(*, back_s=1.0, hold_s=0.0, down_s=0.5, still_s=2.0, top=TOP):
    """Return a script of one rep that goes back to setup, and its (takeaway, top, top end)."""
    script = Script().hold(still_s).move(top, back_s)
    if hold_s:
        script.hold(hold_s)
    script.move(SETUP, down_s).hold(1.5)
    return script, (still_s, still_s + back_s, still_s + back_s + hold_s)
