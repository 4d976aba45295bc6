"""Pelvis, spine, shoulder blades and head. Pure numpy, all frames at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot
from trainer.lab.body import Body, skull_centre

Floats = NDArray[np.float64]

#: The measures that are met exactly, see Figure.
SOLVE_ALL = frozenset({"shoulders", "hips", "head", "height"})
#: Share of the way from the pelvis to the upper thorax that each spine bone has turned.
SPINE = (("spine05", 0.06), ("spine04", 0.25), ("spine03", 0.5), ("spine02", 0.78), ("spine01", 1))
#: Share of the way from the upper thorax to the skull.
NECK = (("neck01", 0.2), ("neck02", 0.42), ("neck03", 0.66), ("head", 1.0))
#: Bones whose joints follow from the trunk alone, a parent before its children.
CHAIN = (
    *(name for name, _ in SPINE),
    *(name for name, _ in NECK),
    *(f"{name}.L" for name in ("clavicle", "shoulder01", "upperarm01", "pelvis", "upperleg01")),
    *(f"{name}.R" for name in ("clavicle", "shoulder01", "upperarm01", "pelvis", "upperleg01")),
)


@dataclass(slots=True)
class Trunk:
    """The posed trunk over T frames."""

    pelvis: Floats  #: (T, 3, 3) turn from rest
    thorax: Floats
    skull: Floats
    bones: dict[str, Floats]  #: rotations by bone name, (T, 3, 3)
    joints: dict[str, Floats]  #: joints by bone name, and "skull", (T, 3) metres


def solved_trunk(
    body: Body,
    dofs: Mapping[str, Floats],
    hip_height_m: Floats,
    zero: Mapping[str, Floats],
    solve: frozenset[str],
) -> Trunk:
    """Pose the trunk so that the measures named in ``solve`` come out as asked for.

    ``zero`` holds the measures of the address (see :func:`measures`). Each round corrects every
    measure by what it misses; the joints stay the body's own.
    """
    turn, hips = dofs["thorax_turn_deg"].copy(), dofs["hip_turn_deg"].copy()
    lean, bend = dofs["side_bend_deg"].copy(), dofs["trunk_bend_deg"].copy()

    def at() -> Trunk:
        return trunk_at(body, dofs, hip_height_m, turn=turn, hips=hips, lean=lean, bend=bend)

    for _ in range(25):
        trunk = at()
        now = measures(trunk, dofs["stance_turn_deg"])
        if "hips" in solve:
            hips = hips + wrap(dofs["hip_turn_deg"] + zero["hips"] - now["hips"])
        if "shoulders" in solve:
            turn = turn + wrap(dofs["shoulder_turn_deg"] + zero["shoulders"] - now["shoulders"])
        if "head" in solve:
            reach = now["head_up"] - now["hip_up"]
            miss = -(dofs["head_drift_cm"] / 100.0) + zero["head"] - now["head"]
            lean = lean - np.degrees(miss / np.maximum(reach, 0.2))
        if "height" in solve:
            over = now["head_up"] - zero["head_up"] - dofs["head_rise_cm"] / 100.0
            ahead = np.maximum(now["head_ahead"], 0.25)
            bend = np.clip(bend + np.degrees(0.7 * over / ahead), -5.0, 70.0)
    return at()


def measures(trunk: Trunk, stance_turn_deg: Floats) -> dict[str, Floats]:
    """Measure in the frame of the stance, however the whole figure is turned."""
    names = ("upperarm01.L", "upperarm01.R", "upperleg01.L", "upperleg01.R", "skull")
    back = rot.about_y(stance_turn_deg)
    p = {name: rot.apply(back, trunk.joints[name]) for name in names}
    line = p["upperarm01.L"] - p["upperarm01.R"]
    hips = p["upperleg01.L"] - p["upperleg01.R"]
    middle = (p["upperleg01.L"] + p["upperleg01.R"]) / 2
    centre = p["skull"]
    return {
        "shoulders": np.degrees(np.arctan2(line[:, 2], line[:, 0])),
        "hips": np.degrees(np.arctan2(hips[:, 2], hips[:, 0])),
        "head": centre[:, 0],
        "head_up": centre[:, 1],
        "hip_up": middle[:, 1],
        "head_ahead": centre[:, 2] - middle[:, 2],
    }


def trunk_at(
    body: Body,
    d: Mapping[str, Floats],
    hip_height_m: Floats,
    *,
    turn: Floats,
    hips: Floats,
    lean: Floats,
    bend: Floats,
) -> Trunk:
    """Pose pelvis, spine, shoulder blades, neck and skull.

    ``hip_height_m`` (T,) is the height of the middle of the hips; the four angles (T,) stand in
    for thorax_turn_deg, hip_turn_deg, side_bend_deg and trunk_bend_deg of the pose.
    """
    head_of = body.head_of
    whole = rot.about_y(-d["stance_turn_deg"])
    pelvis = whole @ rot.about_z(d["hip_side_deg"]) @ rot.about_x(d["hip_tilt_deg"])
    pelvis = pelvis @ rot.about_y(-hips)
    thorax = whole @ rot.about_z(lean) @ rot.about_x(bend) @ rot.about_y(-turn)
    thorax = thorax @ rot.about_x(d["chest_pitch_deg"])
    skull = whole @ rot.about_z(d["head_tilt_deg"]) @ rot.about_y(-d["head_turn_deg"])
    skull = skull @ rot.about_x(d["head_pitch_deg"])
    bones = {"root": pelvis}
    bones.update({name: rot.between(pelvis, thorax, part) for name, part in SPINE})
    bones.update({name: rot.between(thorax, skull, part) for name, part in NECK})
    for side, who, sign in ((".L", "lead", 1.0), (".R", "trail", -1.0)):
        blade = rot.about_y(-sign * d[f"{who}_protract_deg"])
        blade = thorax @ blade @ rot.about_z(sign * d[f"{who}_raise_deg"])
        bones[f"clavicle{side}"] = blade
        bones[f"shoulder01{side}"] = blade
    middle = (head_of("upperleg01.L") + head_of("upperleg01.R")) / 2
    place = np.stack([-d["hip_drift_cm"] / 100, hip_height_m, d["hip_forward_cm"] / 100], axis=-1)
    place = rot.apply(whole, place)
    joints = {"root": place + rot.apply(pelvis, head_of("root") - middle)}
    for name in CHAIN:
        parent = body.bone_names[body.parents[body.bone(name)]]
        offset = head_of(name) - head_of(parent)
        joints[name] = joints[parent] + rot.apply(bones.get(parent, pelvis), offset)
    joints["skull"] = joints["head"] + rot.apply(skull, skull_centre(body) - head_of("head"))
    return Trunk(pelvis, thorax, skull, bones, joints)


def wrap(angle_deg: Floats) -> Floats:
    """Return angles brought into -180..180."""
    return (angle_deg + 180.0) % 360.0 - 180.0
