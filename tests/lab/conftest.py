"""A stick figure that stands in for the baked body, so that the lab's geometry needs no torch."""

import numpy as np
import pytest

from trainer.lab.body import PARTS, Body

#: Bones of one side: name, parent, joint at rest for the body's own left side (metres).
SIDE = (
    ("pelvis", "root", (0.0, 0.96, 0.0)),
    ("upperleg01", "pelvis", (0.11, 0.95, -0.01)),
    ("lowerleg01", "upperleg01", (0.13, 0.52, 0.02)),
    ("foot", "lowerleg01", (0.15, 0.08, 0.0)),
    ("toe2-1", "foot", (0.16, 0.03, 0.15)),
    ("clavicle", "spine01", (0.02, 1.45, 0.02)),
    ("shoulder01", "clavicle", (0.11, 1.47, 0.02)),
    ("upperarm01", "shoulder01", (0.18, 1.43, 0.02)),
    ("lowerarm01", "upperarm01", (0.37, 1.22, 0.02)),
    ("wrist", "lowerarm01", (0.50, 1.09, 0.21)),
    ("finger2-1", "wrist", (0.53, 1.05, 0.32)),
    ("finger3-1", "wrist", (0.55, 1.04, 0.30)),
    ("finger5-1", "wrist", (0.56, 1.02, 0.26)),
)
MIDDLE = (
    ("root", None, (0.0, 0.96, 0.0)),
    ("spine05", "root", (0.0, 0.96, 0.0)),
    ("spine04", "spine05", (0.0, 1.03, -0.03)),
    ("spine03", "spine04", (0.0, 1.10, -0.02)),
    ("spine02", "spine03", (0.0, 1.17, -0.02)),
    ("spine01", "spine02", (0.0, 1.32, -0.03)),
    ("neck01", "spine01", (0.0, 1.53, 0.01)),
    ("neck02", "neck01", (0.0, 1.56, 0.02)),
    ("neck03", "neck02", (0.0, 1.60, 0.03)),
    ("head", "neck03", (0.0, 1.63, 0.04)),
)


def stick_body() -> Body:
    """Return a body whose mesh is only two ears, a crown and a nose."""
    rows = list(MIDDLE)
    for suffix, sign in ((".L", 1.0), (".R", -1.0)):
        rows += [
            (
                name + suffix,
                parent if parent in ("root", "spine01") else parent + suffix,
                (sign * x, y, z),
            )
            for name, parent, (x, y, z) in SIDE
        ]
    names = [row[0] for row in rows]
    vertices = np.array([[0.09, 1.66, 0.03], [-0.09, 1.66, 0.03], [0, 1.78, 0.03], [0, 1.63, 0.17]])
    faces = np.array([[0, 1, 2], [0, 3, 1]])
    return Body(
        vertices=vertices,
        faces=faces,
        bone_names=tuple(names),
        parents=np.array([-1 if row[1] is None else names.index(row[1]) for row in rows]),
        heads=np.array([row[2] for row in rows], dtype=float),
        weight_bones=np.full((4, 1), names.index("head")),
        weights=np.ones((4, 1)),
        parts={part: np.full(2, part == "head") for part in PARTS},
    )


@pytest.fixture(scope="session")
def body() -> Body:
    return stick_body()
