"""Films random people moving and reads them with the pose model, for the fit.

One ``.npz`` a person, one row a picture: what the tracker said while the body moved, the
silhouette, a small picture of the trunk, and what was true. First the still address, then
pieces: backswings, and movements in which parts of the body go without the others. A file that
is there is left as it is, so an interrupted run goes on where it stopped.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.outline import ROWS, outline_of
from trainer.adapters.trunk_picture import SIDE_LENGTHS, SIDE_PX, cut, trunk_box
from trainer.lab import crowd, exam, truth
from trainer.lab.body import load_body
from trainer.lab.camera import Camera
from trainer.lab.crowd import Sitter
from trainer.lab.figure import Figure, Posed, mirrored
from trainer.lab.motion import DOFS, Curves, Motion, backswing, sway_a_little
from trainer.lab.scene import Stage
from trainer.lab.watched import Reader, shot

Floats = NDArray[np.float64]
Image = NDArray[np.uint8]

FPS: Final = 30.0
#: Pictures of the still address, and how often it is shown again before each later piece.
ADDRESS: Final = 14
AGAIN: Final = 4
#: Instants drawn of a backswing and of another movement. Each is shown twice, as in a film of
#: 30 pictures a second of a movement a little slower than full speed; drawing is what costs.
SWING: Final = 13
APART: Final = 8
SHOWN: Final = 2
#: The end of a movement is shown this often more, as in a slow rehearsal.
HELD: Final = 3
#: The small picture of the trunk: as the program cuts it and as sharp, with a margin to be cut
#: elsewhere.
CHIP_PX: Final = 112


@dataclass(frozen=True, slots=True)
class Piece:
    """One movement of a person, frame by frame."""

    kind: str  #: "address", "natural", or what moves alone
    dofs: dict[str, Floats]
    held: int = 0  #: how often the last picture is shown again


def pieces_of(one: Sitter) -> list[Piece]:
    """Return the address and the movements of that person; the same for the same seed."""
    rng = np.random.default_rng([one.seed, 91])
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    still = np.linspace(0, 1.0, 5)
    return [
        Piece("address", curves.at(still)),
        _swing(one, rng),
        _swing(one, rng),
        _apart(one, exam.ALONE[one.seed % len(exam.ALONE)], rng),
        _apart(one, "everything apart", rng),
    ]


def _swing(one: Sitter, rng: np.random.Generator) -> Piece:
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    swing = replace(
        crowd.random_swing(rng),
        backswing_s=float(rng.uniform(0.7, 1.25)),
        hold_s=0.0,
        finish="return",
    )
    backswing(curves, swing, setup_s=0.0, takeaway_s=0.0)
    return Piece("natural", curves.at(_instants(rng, 0.1, swing.backswing_s, SWING)), held=HELD)


def _apart(one: Sitter, what: str, rng: np.random.Generator) -> Piece:
    """Return a second or so in which ``what`` moves; ``everything`` on paths of their own."""
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    drawn = {name: float(v[0]) for name, v in crowd.free_poses(one, 1, rng).items()}
    length = float(rng.uniform(0.8, 1.1))
    targets = drawn if what == "everything apart" else exam.only(what, drawn, rng)
    exam.move_apart(curves, rng, 0.0, length, targets)
    return Piece(what, curves.at(_instants(rng, 0.15, length, APART)), held=HELD)


def _instants(rng: np.random.Generator, from_s: float, to_s: float, count: int) -> Floats:
    """Return ``count`` rising times, the last at the end; not even, so that few tell of many."""
    steps = rng.uniform(0.6, 1.4, count)
    steps[0] = 0.0
    return from_s + (to_s - from_s) * np.cumsum(steps) / steps.sum()


def film_person(seed: int, out_dir: Path, model: Path) -> Path:
    """Render and read one person; return the path of ``film-<seed>.npz``."""
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    target = out_dir / f"film-{seed:06d}.npz"
    if target.exists():
        return target
    out_dir.mkdir(parents=True, exist_ok=True)
    one = crowd.sitter(seed)
    pieces = pieces_of(one)
    with tempfile.TemporaryDirectory() as bodies:
        body = load_body(one.shape, Path(bodies))
    dofs = {name: np.concatenate([piece.dofs[name] for piece in pieces]) for name in DOFS}
    count = len(dofs[DOFS[0]])
    motion = Motion(np.arange(count) / FPS, dofs, (), one.address)
    posed = Figure(body, one.stance).pose(motion)
    if one.handed == "left":
        posed = mirrored(posed)
    joints = truth.joints(body, posed)
    setup = np.arange(count) < len(pieces[0].dofs[DOFS[0]])
    told = {**truth.measures(joints, one.handed, setup), **truth.lean(joints, one.handed)}
    told["thorax_turn_deg"], told["chest_pitch_deg"] = truth.thorax_angles(body, posed, setup)
    pixels = {name: one.camera.project(points) for name, points in joints.items()}
    stage = Stage(body, one.outfit, one.room, one.camera, mirror=posed.mirrored)
    taken = _Taken(model, one, posed, stage, pixels)
    try:
        taken.film(pieces)
    finally:
        taken.close()
    rows = np.array(taken.rows)
    names = sorted(joints)
    part = target.with_suffix(".part.npz")
    np.savez_compressed(
        part,
        seed=seed,
        handed=one.handed,
        stature_cm=one.shape.stature_cm,
        size_wh=one.camera.size_wh,
        camera=_camera_row(one.camera),
        kind=np.array(taken.kinds),
        piece=np.array(taken.piece),
        back_px=np.array(taken.back_px),
        row_px=taken.row_px,
        true_cm_per_px=truth.cm_per_px(joints, one.camera),
        joints_px=np.stack([pixels[name] for name in names], axis=1).astype(np.float32)[rows],
        joint_names=np.array(names),
        chips=np.frombuffer(b"".join(taken.chips), dtype=np.uint8),
        chip_ends=np.cumsum([len(chip) for chip in taken.chips]),
        **{name: np.asarray(values)[rows] for name, values in told.items()},
        **taken.said(),
    )
    os.replace(part, target)
    return target


def _camera_row(camera: Camera) -> Floats:
    return np.array(
        [
            camera.hfov_deg,
            camera.distance_m,
            camera.height_m,
            camera.yaw_deg,
            camera.pitch_deg,
            camera.roll_deg,
        ]
    )


class _Taken:
    """What has been filmed so far."""

    def __init__(
        self, model: Path, one: Sitter, posed: Posed, stage: Stage, pixels: dict[str, Floats]
    ) -> None:
        self._reader = Reader(model)
        self._one, self._posed, self._stage, self._pixels = one, posed, stage, pixels
        self._rng = np.random.default_rng([one.seed, 92])
        self.row_px: Floats = np.empty(0)
        self.rows: list[int] = []
        self.kinds: list[str] = []
        self.piece: list[int] = []
        self.back_px: list[float] = []
        self.chips: list[bytes] = []
        self._said: list[dict[str, Any] | None] = []

    def close(self) -> None:
        self._reader.close()

    def film(self, pieces: list[Piece]) -> None:
        first = len(pieces[0].dofs[DOFS[0]])
        still = [self._draw(index) for index in range(first)]
        for turn in range(ADDRESS):
            self._take(turn % first, *still[turn % first], "address", 0)
        start = first
        for number, piece in enumerate(pieces[1:], start=1):
            for turn in range(AGAIN):  # seen, not kept: the tracker settles on the address
                self._reader.read(shot(still[turn % first][0], self._one, self._rng))
            length = len(piece.dofs[DOFS[0]])
            for index in range(start, start + length):
                drawn = self._draw(index)
                again = piece.held if index == start + length - 1 else 0
                for _ in range(SHOWN + again):
                    self._take(index, *drawn, piece.kind, number)
            start += length

    def _draw(self, index: int) -> tuple[Image, float]:
        image = self._stage.draw(self._posed, index)
        return image, self._back_edge_px(index)

    def _take(self, index: int, image: Image, back_px: float, kind: str, number: int) -> None:
        seen = shot(image, self._one, self._rng)
        said = self._reader.read(seen)
        self.rows.append(index)
        self.kinds.append(kind)
        self.piece.append(number)
        self.back_px.append(back_px)
        self._said.append(said)
        self.chips.append(b"" if said is None else _packed(_chip(seen, said["image_px"])))
        if said is not None:
            ends = outline_of(said["mask"])
            said["rows_px"] = np.stack([ends.left_px, ends.right_px], axis=1)
            self.row_px = ends.row_px
            mask = _chip(said.pop("mask"), said["image_px"])
            said["mask"] = np.packbits(mask > 0.5, axis=-1)

    def _back_edge_px(self, index: int) -> float:
        """Return where the trunk, clothes included, ends on the target side; NaN for nowhere."""
        seen = self._one.camera.project(self._stage.trunk_m)
        hips, chest = self._middle("hip", index), self._middle("shoulder", index)
        edge = truth.back_edge_px(seen, hips, chest, self._one.handed)
        return float("nan") if edge is None else edge

    def _middle(self, part: str, index: int) -> Floats:
        both = self._pixels[f"left_{part}"][index] + self._pixels[f"right_{part}"][index]
        middle: Floats = both / 2
        return middle

    def said(self) -> dict[str, Any]:
        """Return what the pose model said of every picture as arrays."""
        none = {
            "image_px": np.zeros((33, 2)),
            "depth_px": np.zeros(33),
            "world_m": np.zeros((33, 3)),
            "rows_px": np.full((ROWS, 2), np.nan),
            "mask": np.zeros((CHIP_PX, CHIP_PX // 8), dtype=np.uint8),
        }
        rows = [none if row is None else row for row in self._said]
        kept = {
            name: np.array([row[name] for row in rows], dtype=np.float32)
            for name in ("image_px", "depth_px", "world_m", "rows_px")
        }
        return {
            **kept,
            "mask": np.array([row["mask"] for row in rows]),
            "found": np.array([row is not None for row in self._said]),
        }


def _chip(image: NDArray[Any], points_px: Floats) -> NDArray[Any]:
    """Return the small picture, or mask, of the trunk; black where it is not in the picture."""
    box = trunk_box(points_px, SIDE_LENGTHS * CHIP_PX / SIDE_PX)
    chip = cut(image, box, CHIP_PX)
    return np.zeros((CHIP_PX, CHIP_PX), dtype=image.dtype) if chip is None else chip


def _packed(chip: Image) -> bytes:
    import cv2

    _, packed = cv2.imencode(".jpg", chip, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return packed.tobytes()
