"""Draws the figures of docs/measures.md as SVG.

Run ``python docs/figures/measures.py [FOLDER]``. Lengths and angles written beside the stick
golfer come from the program's own functions, so a figure cannot say what the program does not.
All pictures are as the camera sees a right-hander: the target is to the right.
"""

import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("svg")

import matplotlib.pyplot as plt
import numpy as np

from trainer.core import geometry as geo
from trainer.core import measures
from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Pose
from trainer.core.setup import LEG_OF_STATURE, LEG_SEEN, Reference, scale_cm_per_px

mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "figures", "font.size": 11})
SETUP, NOW, MARK = "#8a8a8a", "#0072b2", "#d55e00"
#: x right, y up, in cm, as the camera sees the player at address.
BODY = {
    L.NOSE: (0, 152), L.LEFT_EAR: (8, 155), L.RIGHT_EAR: (-8, 155),
    L.LEFT_SHOULDER: (18, 134), L.RIGHT_SHOULDER: (-18, 132),
    L.LEFT_ELBOW: (17, 106), L.RIGHT_ELBOW: (-16, 105),
    L.LEFT_WRIST: (3, 84), L.RIGHT_WRIST: (-2, 82),
    L.LEFT_HIP: (13, 92), L.RIGHT_HIP: (-13, 92),
    L.LEFT_KNEE: (19, 50), L.RIGHT_KNEE: (-19, 50),
    L.LEFT_ANKLE: (23, 9), L.RIGHT_ANKLE: (-23, 9),
}  # fmt: skip
BONES = (
    (L.LEFT_SHOULDER, L.RIGHT_SHOULDER), (L.LEFT_HIP, L.RIGHT_HIP),
    (L.LEFT_SHOULDER, L.LEFT_HIP), (L.RIGHT_SHOULDER, L.RIGHT_HIP),
    (L.LEFT_SHOULDER, L.LEFT_ELBOW), (L.LEFT_ELBOW, L.LEFT_WRIST),
    (L.RIGHT_SHOULDER, L.RIGHT_ELBOW), (L.RIGHT_ELBOW, L.RIGHT_WRIST),
    (L.LEFT_HIP, L.LEFT_KNEE), (L.LEFT_KNEE, L.LEFT_ANKLE),
    (L.RIGHT_HIP, L.RIGHT_KNEE), (L.RIGHT_KNEE, L.RIGHT_ANKLE),
)  # fmt: skip
PX_PER_CM = 3.0


def picture(moved=None):
    """Return the (33, 2) picture points of the body with some points moved, in cm."""
    points = np.zeros((LANDMARK_COUNT, 2))
    for row, place in BODY.items():
        x, y = np.add(place, (moved or {}).get(row, (0, 0)))
        points[row] = (640 + PX_PER_CM * x, 700 - PX_PER_CM * y)
    return points


def pose(moved=None, world=None):
    """Return a pose of those picture points."""
    return Pose(
        t_s=0.0, size_wh=(1280, 720), image_px=picture(moved), depth_px=np.zeros(LANDMARK_COUNT),
        world_m=np.zeros((LANDMARK_COUNT, 3)) if world is None else world,
        visibility=np.ones(LANDMARK_COUNT),
    )  # fmt: skip


def reference():
    """Return the setup of the body at address."""
    at_setup = pose()
    return Reference(
        t_s=0.0, handed=Handed.RIGHT, image_px=at_setup.image_px, depth_px=at_setup.depth_px,
        world_m=at_setup.world_m, cm_per_px=1 / PX_PER_CM, scale_from_stature=False,
    )  # fmt: skip


def front(title):
    """Return axes for a picture from the camera's place."""
    _, ax = plt.subplots(figsize=(4.6, 5.0))
    ax.set(xlim=(-85, 85), ylim=(-14, 190), aspect="equal", title=title)
    ax.axis("off")
    ax.annotate("target", (80, -6), (44, -6), arrowprops={"arrowstyle": "->"}, va="center")
    return ax


def draw(ax, points, colour):
    """Draw a stick golfer from picture points."""
    flat = np.column_stack([(points[:, 0] - 640) / PX_PER_CM, (700 - points[:, 1]) / PX_PER_CM])
    for a, b in BONES:
        ax.plot(*flat[[a, b]].T, color=colour, lw=2.2, solid_capstyle="round")
    head = geo.head_point(flat)
    ax.add_patch(plt.Circle(head, 11, fill=False, color=colour, lw=2.2))
    return flat


def arrow(ax, start, end, words, at):
    """Draw a marked arrow and its words."""
    ax.annotate("", end, start, arrowprops={"arrowstyle": "->", "color": MARK, "lw": 2.2})
    ax.text(*at, words, color=MARK, ha="center")


def all_by(rows, x, y=0.0):
    """Return the same move for several points."""
    return dict.fromkeys(rows, (x, y))


HEAD = (L.NOSE, L.LEFT_EAR, L.RIGHT_EAR)
HIPS = (L.LEFT_HIP, L.RIGHT_HIP)


def head_drift():
    """Setup and now, the head moved away from the target and up."""
    ax = front("head drift")
    moved = all_by(HEAD, -16, 5)
    before, after = draw(ax, picture(), SETUP), draw(ax, picture(moved), NOW)
    lateral, vertical = measures.head_drift_cm(pose(moved), reference())
    start, end = geo.head_point(before), geo.head_point(after)
    ax.plot(*start, "o", color=SETUP)
    arrow(ax, start, end, f"lateral {lateral:+.0f} cm\nvertical {vertical:+.0f} cm", (-52, 172))


def hip_drift():
    """Setup and now, the hips moved away from the target."""
    ax = front("hip drift")
    moved = all_by(HIPS, -10) | all_by((L.LEFT_KNEE, L.RIGHT_KNEE), -4)
    before, after = draw(ax, picture(), SETUP), draw(ax, picture(moved), NOW)
    drift = measures.hip_drift_cm(pose(moved), reference())
    start, end = geo.middle(before, "hip"), geo.middle(after, "hip")
    arrow(ax, start, end, f"{drift:+.0f} cm", (-45, 96))


def hands():
    """The hands' way from setup to the top, with what is read of it."""
    ax = front("hands")
    chest = np.add(BODY[L.LEFT_SHOULDER], BODY[L.RIGHT_SHOULDER]) / 2
    low = np.add(BODY[L.LEFT_WRIST], BODY[L.RIGHT_WRIST]) / 2
    draw(ax, picture(), SETUP)
    ref = reference()
    swing = np.radians(np.linspace(0, 120, 60))
    reach = np.hypot(*(low - chest))
    start_angle = np.arctan2(low[1] - chest[1], low[0] - chest[0])
    way = chest[:, None] + reach * np.array(
        [np.cos(start_angle - swing), np.sin(start_angle - swing)]
    )
    ax.plot(*way, color=NOW, lw=2)
    end = way[:, -1]
    moved = all_by((L.LEFT_WRIST, L.RIGHT_WRIST), *(end - low))
    lateral, height = measures.hand_place_cm(pose(moved), ref)
    arc = measures.hand_arc_deg(lateral, height, ref)
    ax.plot([chest[0], low[0]], [chest[1], low[1]], color=SETUP, ls="--")
    ax.plot([chest[0], end[0]], [chest[1], end[1]], color=NOW, ls="--")
    ax.plot(*end, "o", color=NOW)
    ax.text(-24, 112, f"arc {arc:.0f}°", color=NOW, ha="center")
    arrow(ax, (end[0], low[1]), end, f"height\n{height:+.0f} cm", (-66, 116))
    arrow(ax, low, (end[0], low[1]), f"lateral {lateral:+.0f} cm", (-28, 72))
    hips, chest_y = BODY[L.LEFT_HIP][1], chest[1]
    for y, words in ((hips, "level 0"), (chest_y, "level 1")):
        ax.plot([-30, 60], [y, y], color="#bbbbbb", lw=1, zorder=0)
        ax.text(62, y - 2, words, color="#555555")


def scale():
    """The legs as the ruler."""
    ax = front("scale")
    flat = draw(ax, picture(), SETUP)
    for side in ("LEFT", "RIGHT"):
        rows = [L[f"{side}_{joint}"] for joint in ("HIP", "KNEE", "ANKLE")]
        ax.plot(*flat[rows].T, color=MARK, lw=4)
    cm_per_px, _ = scale_cm_per_px(picture(), np.zeros((LANDMARK_COUNT, 3)), 175.0)
    legs_px = LEG_SEEN * LEG_OF_STATURE * 175.0 / cm_per_px
    ax.text(40, 70, f"legs {legs_px:.0f} px", color=MARK)
    ax.text(40, 58, f"= {LEG_SEEN:g} × {LEG_OF_STATURE:g} × stature", color=MARK)
    ax.text(40, 46, f"175 cm: {cm_per_px:.3f} cm/px", color=MARK)


def turned(part, half_cm, degrees):
    """The line between both shoulders or hips, seen from above."""
    _, ax = plt.subplots(figsize=(4.6, 3.6))
    ax.set(xlim=(-42, 42), ylim=(-38, 26), aspect="equal", title=f"{part} turn, seen from above")
    ax.axis("off")
    angle = np.radians(degrees)
    for colour, x, y, words in (
        (SETUP, half_cm, 0.0, "at setup"),
        (NOW, half_cm * np.cos(angle), -half_cm * np.sin(angle), "now"),
    ):
        ax.plot([-x, x], [-y, y], color=colour, lw=4, solid_capstyle="round")
        ax.plot(x, y, "o", color=colour, ms=9)
        ax.text(x + 3, y - (4 if y else 1), f"lead, {words}", color=colour)
    bow = -np.linspace(0, angle, 40)
    ax.plot(9 * np.cos(bow), 9 * np.sin(bow), color=MARK, lw=2)
    ax.text(10, -6, f"+{degrees}°", color=MARK)
    ax.annotate("target", (40, 20), (14, 20), arrowprops={"arrowstyle": "->"}, va="center")
    ax.plot([-3, 3, 0, -3], [-36, -36, -31, -36], color="#333333")
    ax.text(5, -36, "camera")


def chest_pitch():
    """The trunk seen along the target line, and where the chest faces."""
    lean = np.radians(35)
    trunk = 50 * np.array([np.cos(lean), np.sin(lean)])  # up, toward the camera
    world = np.zeros((LANDMARK_COUNT, 3))
    for side, x in (("LEFT", 0.18), ("RIGHT", -0.18)):
        world[L[f"{side}_SHOULDER"]] = (x, -trunk[0] / 100, -trunk[1] / 100)
        world[L[f"{side}_HIP"]] = (x, 0, 0)
    pitch = measures.chest_pitch_deg(pose(world=world))
    _, ax = plt.subplots(figsize=(4.6, 4.0))
    ax.set(xlim=(-30, 95), ylim=(-12, 80), aspect="equal", title="chest pitch, seen from the side")
    ax.axis("off")
    ax.plot([0, trunk[1]], [0, trunk[0]], color=NOW, lw=5, solid_capstyle="round")
    ax.text(-5, -8, "hips", color=NOW)
    ax.text(trunk[1] - 6, trunk[0] + 5, "shoulders", color=NOW, ha="right")
    middle = np.array([trunk[1], trunk[0]]) * 0.75
    facing = 34 * np.array([np.cos(lean), -np.sin(lean)])
    arrow(ax, middle, middle + facing, "", (0, 0))
    ax.plot([middle[0], middle[0] + 42], [middle[1]] * 2, color="#555555", ls="--")
    ax.text(middle[0] + 26, middle[1] - 9, f"{pitch:.0f}°", color=MARK)
    ax.text(middle[0] + 14, middle[1] + 3, "horizontal", color="#555555", size=9)
    ax.text(62, 70, "camera ▷", color="#333333")


FIGURES = {
    "shoulder-turn": lambda: turned("shoulder", 19, 60),
    "hip-turn": lambda: turned("hip", 14, 40),
    "head-drift": head_drift,
    "hip-drift": hip_drift,
    "chest-pitch": chest_pitch,
    "hands": hands,
    "scale": scale,
}


def main(folder):
    """Draw every figure into ``folder``."""
    for name, make in FIGURES.items():
        make()
        plt.savefig(folder / f"{name}.svg", metadata={"Date": None}, bbox_inches="tight")
        plt.close("all")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
