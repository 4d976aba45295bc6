"""Rendered players at address, with and without a rod along the target line before their toes.

One ``rods-<seed>-<what>.npz`` a scene: pictures as a camera delivers them, what the pose model
said of each, and how the camera truly stood to the player and to the rod. What lies on the floor
besides is drawn by chance: boards, tiles, carpets, turf, mats with rims and lines, and a club
dropped at an angle. vtk, cv2 and the pose model are imported on use.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab import crowd
from trainer.lab.body import Body, load_body
from trainer.lab.camera import Camera
from trainer.lab.clothes import Colour, shoe_points
from trainer.lab.crowd import Sitter
from trainer.lab.figure import Figure, Posed, mirrored
from trainer.lab.on_floor import Mat, Rod
from trainer.lab.props import Room
from trainer.lab.variety import fills, has_all

Floats = NDArray[np.float64]

#: Scenes of one person: nothing, a rod, a rod with other things about, other things alone.
SCENES: Final = ("rod", "bare", "rod-and-things", "things")
#: Pictures of each scene, a moment apart.
SHOTS: Final = 5
SIZE_WH: Final = (1280, 720)
DISTANCE_M: Final = (2.5, 3.5)
HEIGHT_M: Final = (0.8, 1.3)
VIEW_DEG: Final = (58.0, 82.0)
YAW_DEG: Final = 15.0
#: So far the player may stand open or closed to the rod; a third of them stand square.
OPEN_DEG: Final = 10.0
#: Sticks as they are sold: 6 to 12 mm thick (common practice, no source).
THICK_M: Final = (0.006, 0.012)
_STICKS: Final[tuple[Colour, ...]] = (
    (240, 240, 235), (235, 220, 40), (240, 120, 30), (210, 40, 40), (25, 25, 28), (180, 184, 188),
    (60, 140, 70), (40, 80, 190), (200, 165, 110),
)  # fmt: skip
_SHAFTS: Final[tuple[Colour, ...]] = ((176, 180, 186), (30, 30, 34), (110, 114, 120))


def film_person(seed: int, out_dir: Path, model: Path) -> list[Path]:
    """Render and read the scenes of one person that are not there yet; return their files."""
    from trainer.lab.watched import Reader

    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    targets = {what: out_dir / f"rods-{seed:06d}-{what}.npz" for what in SCENES}
    if all(target.exists() for target in targets.values()):
        return list(targets.values())
    out_dir.mkdir(parents=True, exist_ok=True)
    one = crowd.sitter(seed)
    rng = np.random.default_rng([seed, 96])
    one = replace(one, camera=_camera(rng, one.shape.stature_cm / 100), room=_room(one.room, rng))
    with tempfile.TemporaryDirectory() as bodies:
        body = load_body(one.shape, Path(bodies))
    posed = Figure(body, one.stance).pose_one(one.address)
    if one.handed == "left":
        posed = mirrored(posed)
    rod = _rod(rng, _shoes(body, posed))
    lying: dict[str, tuple[Rod | Mat, ...]] = {
        "bare": (),
        "rod": (rod,),
        "rod-and-things": (*_mats(rng), rod),
        "things": (*_mats(rng), *_dropped(rng)),
    }
    for what, target in targets.items():
        with_it = replace(one, room=replace(one.room, lying=lying[what]))
        reader = Reader(model)
        try:
            said = _seen(with_it, body, posed, reader)
        finally:
            reader.close()
        camera = one.camera
        part = target.with_suffix(".part.npz")
        np.savez_compressed(
            part,
            seed=seed,
            what=what,
            handed=one.handed,
            stature_cm=one.shape.stature_cm,
            hfov_deg=camera.hfov_deg,
            distance_m=camera.distance_m,
            height_m=camera.height_m,
            attitude_deg=[camera.yaw_deg, camera.pitch_deg, camera.roll_deg],
            rod=rod in lying[what],
            rod_turn_deg=rod.turn_deg,
            rod_club=rod.club,
            rod_px=camera.project(rod.ends_m()),
            rod_thick_m=rod.thick_m,
            floor=f"{one.room.place} {one.room.floor_kind}",
            **said,
        )
        os.replace(part, target)
    return list(targets.values())


def _seen(one: Sitter, body: Body, posed: Posed, reader: Any) -> dict[str, Any]:
    import cv2

    from trainer.lab.scene import Stage
    from trainer.lab.watched import shot

    stage = Stage(body, one.outfit, one.room, one.camera, mirror=posed.mirrored, fine=True)
    drawn = stage.draw(posed, 0)
    rng = np.random.default_rng([one.seed, 97])
    poses, packed = [], []
    for _ in range(SHOTS):
        image = shot(drawn, one, rng)
        poses.append(reader.read(image))
        packed.append(cv2.imencode(".png", image[..., ::-1])[1])
    none = {"image_px": np.zeros((33, 2)), "depth_px": np.zeros(33), "world_m": np.zeros((33, 3))}
    said = [none if pose is None else pose for pose in poses]
    return {
        "found": [pose is not None for pose in poses],
        **{name: np.array([pose[name] for pose in said]) for name in none},
        "pictures": np.concatenate(packed).ravel(),
        "picture_ends": np.cumsum([len(one) for one in packed]),
    }


def _camera(rng: np.random.Generator, stature_m: float) -> Camera:
    """Return a camera that has the whole player in its picture."""
    for _ in range(2000):
        height, distance = float(rng.uniform(*HEIGHT_M)), float(rng.uniform(*DISTANCE_M))
        aim = np.degrees(np.arctan2(height - 0.56 * stature_m, distance))
        camera = Camera(
            size_wh=SIZE_WH,
            hfov_deg=float(rng.uniform(*VIEW_DEG)),
            distance_m=distance,
            height_m=height,
            yaw_deg=float(rng.uniform(-YAW_DEG, YAW_DEG)),
            pitch_deg=float(aim + rng.normal(0, 2.0)),
            roll_deg=float(np.clip(rng.normal(0, 1.2), -3, 3)),
        )
        if has_all(camera, stature_m) and fills(camera, stature_m) > 0.46:
            return camera
    raise ValueError(
        f"no camera has a player of {stature_m:.2f} m in its picture. One of 2000 was wanted. "
        "Ask for one further away."
    )


def _room(room: Room, rng: np.random.Generator) -> Room:
    """Return that place without rods lying about; half of them rooms with a patterned floor."""
    room = replace(room, loose=False)
    if rng.random() < 0.5:
        return room
    kind = str(rng.choice(["boards", "tiles", "tiles", "carpet"]))
    return replace(room, place="room", floor_kind=kind, furniture=bool(rng.random() < 0.5))


def _shoes(body: Body, posed: Posed) -> Floats:
    """Return points of both shoes (P, 3) as they stand."""
    found = []
    for side in (".L", ".R"):
        bone = f"foot{side}"
        index, rest = body.bone(bone), shoe_points(body, side)
        turned = (rest - body.heads[index]) @ posed.rotations[0][index].T
        found.append(posed.joints[0][index] + turned)
    flip = np.array([-1.0, 1.0, 1.0]) if posed.mirrored else np.ones(3)
    return np.concatenate(found) * flip


def _rod(rng: np.random.Generator, shoes: Floats) -> Rod:
    """Return a rod that touches a toe or lies a hand's breadth or less before it."""
    turn = 0.0 if rng.random() < 1 / 3 else float(rng.uniform(-OPEN_DEG, OPEN_DEG))
    club = bool(rng.random() < 0.3)
    slope = np.tan(np.radians(turn))
    before = float((shoes[:, 2] + slope * shoes[:, 0]).max() + rng.uniform(0.015, 0.06))
    x = float(rng.uniform(-0.2, 0.2))
    shades = _SHAFTS if club else _STICKS
    return Rod(
        middle_m=(x, before - slope * x),
        turn_deg=turn,
        length_m=float(rng.uniform(0.9, 1.15) if club else rng.uniform(0.95, 1.25)),
        thick_m=float(rng.uniform(0.009, 0.013) if club else rng.uniform(*THICK_M)),
        colour=shades[int(rng.integers(len(shades)))],
        club=club,
    )


def _mats(rng: np.random.Generator) -> tuple[Mat, ...]:
    """Return no mat, or one under the player, with or without a rim and lines."""
    if rng.random() < 0.25:
        return ()
    tone = np.clip(rng.uniform(30, 190) + rng.normal(0, 30, 3), 10, 245)
    ink = np.clip(tone + rng.choice([-1, 1]) * rng.uniform(40, 150), 5, 250)
    lines = int(rng.integers(0, 4))
    to_m = float(rng.uniform(0.25, 1.3))  # some end just before the toes
    return (
        Mat(
            half_m=float(rng.uniform(0.6, 1.1)),
            from_m=-0.8,
            to_m=to_m,
            colour=(int(tone[0]), int(tone[1]), int(tone[2])),
            rim=(int(ink[0]), int(ink[1]), int(ink[2])) if rng.random() < 0.6 else None,
            rim_m=float(rng.uniform(0.008, 0.05)),
            stripes_m=tuple(float(z) for z in rng.uniform(0.0, to_m, lines)),
            stripe_m=float(rng.uniform(0.008, 0.05)),
            turn_deg=float(rng.normal(0, 3)),
        ),
    )


def _dropped(rng: np.random.Generator) -> tuple[Rod, ...]:
    """Return no club, or one that was dropped at an angle before the toes."""
    if rng.random() < 0.5:
        return ()
    turn = float(rng.choice([-1, 1]) * rng.uniform(30, 85))
    middle = (float(rng.uniform(-0.5, 0.5)), float(rng.uniform(0.5, 0.8)))
    return (Rod(middle_m=middle, turn_deg=turn, thick_m=0.011, club=True, colour=_SHAFTS[0]),)
