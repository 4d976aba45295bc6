"""A parametric body as plain arrays: mesh, bones and skinning weights.

The shape comes from the ``anny`` package (code Apache-2.0, body data CC0), which needs torch.
It is asked once per shape; the result is kept as an ``.npz`` in the user's cache folder, and
everything after that is numpy. The rest pose is an A-pose.

World axes, used by the whole lab: x to the right of a picture taken from the front, y up, z
towards the camera. The origin is on the floor under the middle of the stance. A body at rest
faces the camera (+z), so its own left side is at +x.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.lab.stretch import stretched

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BAKE_VERSION = 3
#: Labelled patches of the mesh kept in the bake.
PARTS = ("head", "eye_front.L", "eye_front.R", "eye_back.L", "eye_back.R", "mouth_cavity", "tongue")


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyShape:
    """What the body is like. All but ``stature_cm`` run from 0 to 1.

    ``female`` 0 is a male body and 1 a female one; ``age`` 2/3 is a young adult and 1 an old
    one; the mesh is scaled as a whole to ``stature_cm`` (crown to sole, standing).
    """

    stature_cm: float = 178.0
    female: float = 0.0
    age: float = 0.72
    muscle: float = 0.55
    weight: float = 0.5
    height: float = 0.5
    proportions: float = 0.6

    def key(self) -> str:
        """Return a short name for this shape, the same on every machine."""
        baked = {one.name: getattr(self, one.name) for one in fields(BodyShape)}
        text = json.dumps([BAKE_VERSION, baked], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def finish(self, body: Body) -> Body:
        """Return a baked body with what the body model itself cannot vary; here nothing."""
        return body


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbShape(BodyShape):
    """A shape whose limbs are scaled after the bake: 1 is as the body model makes them."""

    arm: float = 1.0  #: length of upper arm and forearm
    leg: float = 1.0  #: length of thigh and shank, before the body is scaled to its stature
    shoulders: float = 1.0  #: reach of the shoulder girdle to either side

    def finish(self, body: Body) -> Body:
        """Return the baked body with its limbs scaled."""
        return stretched(body, arm=self.arm, leg=self.leg, shoulders=self.shoulders)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A body at rest, in metres and world axes (see the module)."""

    vertices: Floats  #: (N, 3)
    faces: Ints  #: (F, 3), counter-clockwise seen from outside
    bone_names: tuple[str, ...]  #: B names
    parents: Ints  #: (B,), -1 for the root; a parent always comes before its children
    heads: Floats  #: (B, 3) the joint each bone turns about
    weight_bones: Ints  #: (N, K) bones that move each vertex
    weights: Floats  #: (N, K), rows sum to 1
    parts: dict[str, NDArray[np.bool_]]  #: for each of PARTS, which faces belong to it, (F,)

    def bone(self, name: str) -> int:
        """Return the index of a bone; KeyError if there is none of that name."""
        try:
            return self.bone_names.index(name)
        except ValueError:
            raise KeyError(f"the body has no bone {name!r}") from None

    def head_of(self, name: str) -> Floats:
        """Return the rest position (3,) of the joint a bone turns about."""
        return self.heads[self.bone(name)]

    def part_vertices(self, part: str) -> Ints:
        """Return the vertices that belong to a labelled patch."""
        return np.unique(self.faces[self.parts[part]])


def load_body(shape: BodyShape, cache_dir: Path | None = None) -> Body:
    """Return the body of this shape, baking it on first use (about a minute the first time).

    Raises ImportError if the shape is not cached and the lab's packages are not installed.
    """
    if cache_dir is None:
        cache_dir = _cache_dir()
    path = cache_dir / f"{shape.key()}.npz"
    if not path.exists():
        arrays = bake(shape)
        cache_dir.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part.npz")
        np.savez_compressed(part, **arrays)
        part.replace(path)
    with np.load(path, allow_pickle=False) as stored:
        return shape.finish(_from_arrays({name: stored[name] for name in stored.files}))


def _cache_dir() -> Path:
    """Return where baked bodies are kept; ``TRAINER_CACHE_DIR`` moves it."""
    import platformdirs

    chosen = os.environ.get("TRAINER_CACHE_DIR")
    base = chosen or platformdirs.user_cache_dir("backswing-mirror", appauthor=False)
    return Path(base) / "lab" / "bodies"


@lru_cache(maxsize=1)
def _model() -> tuple[Any, NDArray[np.bool_]]:
    """Return the body model and which faces belong to each of PARTS; loaded once."""
    import anny  # heavy: torch comes with it
    from anny.face_segmentation import get_face_segmentation_mask

    model = anny.Anny()
    return model, np.stack([get_face_segmentation_mask(model, [p]).numpy() for p in PARTS])


def bake(shape: BodyShape) -> dict[str, NDArray[Any]]:
    """Ask the body model for a shape and return it as arrays ready for ``np.savez``."""
    import torch

    model, parts = _model()
    known = {
        "gender": shape.female,
        "age": shape.age,
        "muscle": shape.muscle,
        "weight": shape.weight,
        "height": shape.height,
        "proportions": shape.proportions,
    }
    still = torch.eye(4)[None, None].repeat(1, model.bone_count, 1, 1)
    with torch.no_grad():
        out = model(pose_parameters=still, phenotype_kwargs=known)
    # the model has z up and faces -y
    vertices = out["rest_vertices"][0].double().numpy()[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    heads = out["rest_bone_heads"][0].double().numpy()[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
    floor, crown = vertices[:, 1].min(), vertices[:, 1].max()
    scale = shape.stature_cm / 100.0 / (crown - floor)
    vertices, heads = vertices * scale, heads * scale
    lift = np.array([0.0, floor * scale, 0.0])
    weights = model.vertex_bone_weights.double().numpy()
    return {
        "vertices": vertices - lift,
        "heads": heads - lift,
        "faces": np.asarray(model.faces, dtype=np.int64),
        "bone_names": np.array(list(model.bone_labels)),
        "parents": np.asarray(model.bone_parents, dtype=np.int64),
        "weight_bones": model.vertex_bone_indices.numpy().astype(np.int64),
        "weights": weights / weights.sum(axis=1, keepdims=True),
        "parts": parts,
    }


def _from_arrays(stored: dict[str, NDArray[Any]]) -> Body:
    return Body(
        vertices=stored["vertices"],
        faces=stored["faces"],
        bone_names=tuple(str(name) for name in stored["bone_names"]),
        parents=stored["parents"],
        heads=stored["heads"],
        weight_bones=stored["weight_bones"],
        weights=stored["weights"],
        parts=dict(zip(PARTS, stored["parts"], strict=True)),
    )


def skull_centre(body: Body) -> Floats:
    """Return, at rest, the middle of the skull between the ears (3,)."""
    found = body.vertices[body.part_vertices("head")]
    left, right = found[found[:, 0].argmax()], found[found[:, 0].argmin()]
    return (left + right) / 2


def nose_tip(body: Body) -> Floats:
    """Return the tip of the nose at rest (3,)."""
    found = body.vertices[body.part_vertices("head")]
    return found[found[:, 2].argmax()]


def skin(body: Body, rotations: Floats, joints: Floats) -> Floats:
    """Linear blend skinning.

    ``rotations`` (B, 3, 3) turn each bone from rest, in world axes; ``joints`` (B, 3) are where
    the bones' joints now are. Returns the moved vertices (N, 3).
    """
    shifts = joints - np.einsum("bij,bj->bi", rotations, body.heads)
    moved = np.zeros_like(body.vertices)
    for column in range(body.weights.shape[1]):
        bones, share = body.weight_bones[:, column], body.weights[:, column]
        used = share > 0
        turned = np.einsum("nij,nj->ni", rotations[bones[used]], body.vertices[used])
        moved[used] += share[used, None] * (turned + shifts[bones[used]])
    return moved
