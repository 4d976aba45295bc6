"""Clothes, hair and shoes as shells cut out of the body mesh. Numpy only.

A garment is the part of the body where a field over the rest mesh is positive, pushed outwards
along the normals. Triangles that straddle the edge are cut, so hems and sleeves run straight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab.body import Body, skull_centre

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Image = NDArray[np.uint8]
Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outfit:
    """What the player wears. Colours are sRGB 0..255."""

    skin: Colour = (224, 172, 140)
    shirt: Colour = (40, 84, 140)
    collar: Colour = (235, 235, 235)
    trousers: Colour = (62, 62, 70)
    shoes: Colour = (240, 240, 240)
    hair: Colour = (60, 40, 28)
    hat: Colour | None = None  #: a cap; None shows the hair
    glove: Colour | None = (245, 245, 245)  #: worn on the lead hand
    sleeve: float = 0.72  #: share of the upper arm that is covered; above 1 reaches the forearm
    shorts: bool = False
    loose_cm: float = 2.0  #: how far the shirt stands off the body
    stripe: Colour | None = None  #: bands round the chest and the sleeves
    placket: Colour | None = None  #: a strip down the front, from the collar
    pattern: str = "plain"  #: print of the shirt, one of trainer.lab.cloth.PATTERNS
    pattern_colour: Colour = (235, 235, 235)
    legs_pattern: str = "plain"  #: print of trousers or skirt
    relief_cm: float = 0.0  #: height of the folds
    leg_loose: float = 1.0  #: width of the trousers; 0.15 are leggings
    belt: Colour | None = None  #: worn with the shirt tucked in
    skirt: Colour | None = None  #: in place of trousers; of the shirt's colour it is a dress
    skirt_reach: float = 0.8  #: share of the thigh that the skirt covers
    skirt_flare: float = 0.05  #: how much wider the hem is than the hips, metres
    jacket: Colour | None = None
    jacket_cm: float = 4.0  #: how far the jacket stands off the body
    jacket_open: bool = False
    jacket_sleeve: float = 1.85  #: as ``sleeve``; 0.15 is a vest
    hood: bool = False
    hair_style: str = "short"  #: "short", "bald", "long", "ponytail" or "bun"
    hat_kind: str = "cap"  #: "cap", "visor", "bucket", "back" (peak behind) or "beanie"
    seed: int = 0  #: of prints and folds


@dataclass(frozen=True, slots=True, eq=False)
class Shell:
    """A surface carried by the body's vertices: each point is a mix of two, pushed outwards."""

    first: Ints  #: (P,)
    second: Ints  #: (P,)
    mix: Floats  #: (P,) 0 is first, 1 second
    out_m: Floats  #: (P,)
    faces: Ints  #: (F, 3)
    colour: Colour
    shine: float = 0.05
    smooth: int = 0  #: rounds of smoothing once posed, so that cloth hangs over the muscles
    net: tuple[Ints, Ints, Floats] | None = None  #: neighbours, for the smoothing
    part: str = ""  #: which garment it is
    relief_m: Floats | None = None  #: (P,) folds, outwards, added once smoothed
    across_down: Floats | None = None  #: (P, 2) where in the print each point is
    print_of: Image | None = None  #: the print (H, W, 3), repeated

    def place(self, vertices: Floats, normals: Floats) -> Floats:
        """Return the points (P, 3) for a posed body."""
        mix = self.mix[:, None]
        points = (1 - mix) * vertices[self.first] + mix * vertices[self.second]
        way = (1 - mix) * normals[self.first] + mix * normals[self.second]
        points = points + self.out_m[:, None] * way
        if self.net is not None:
            points = _smoothed(points, self.net, self.smooth)
        return points if self.relief_m is None else points + self.relief_m[:, None] * way


def vertex_normals(vertices: Floats, faces: Ints) -> Floats:
    """Return outward unit normals (N, 3), weighted by the area of the faces around."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    total = np.zeros_like(vertices)
    for axis in range(3):
        for corner in range(3):
            total[:, axis] += np.bincount(
                faces[:, corner], weights=face[:, axis], minlength=len(vertices)
            )
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def cut(faces: Ints, field: Floats) -> tuple[Ints, Ints, Floats, Ints]:
    """Keep the part of a mesh where ``field`` (N,) is positive.

    Returns first, second, mix (P,) and faces (F, 3) of the new points, as in Shell.
    """
    inside = field > 0
    count = inside[faces].sum(axis=1)
    whole = faces[count == 3]
    points: dict[tuple[int, int], int] = {}

    def point(i: int, j: int) -> int:
        key = (i, j) if i == j else (min(i, j), max(i, j))
        return points.setdefault(key, len(points))

    new: list[tuple[int, int, int]] = [
        (point(a, a), point(b, b), point(c, c)) for a, b, c in whole.tolist()
    ]
    for face in faces[(count == 1) | (count == 2)].tolist():
        flags = [bool(inside[v]) for v in face]
        lone = flags.index(True) if sum(flags) == 1 else flags.index(False)
        a, b, c = face[lone], face[(lone + 1) % 3], face[(lone + 2) % 3]
        if sum(flags) == 1:
            new.append((point(a, a), point(a, b), point(a, c)))
        else:
            ab, ac, bb, cc = point(a, b), point(a, c), point(b, b), point(c, c)
            new.extend([(ab, bb, cc), (ab, cc, ac)])
    first = np.array([k[0] for k in points], dtype=np.int64)
    second = np.array([k[1] for k in points], dtype=np.int64)
    gap = field[first] - field[second]
    mix = np.where(first == second, 0.0, field[first] / np.where(gap == 0, 1.0, gap))
    return first, second, mix, np.array(new, dtype=np.int64).reshape(-1, 3)


def dress(body: Body, outfit: Outfit) -> tuple[list[Shell], Ints]:
    """Return the shells of an outfit, and the body faces (F, 3) that still show."""
    v, k = body.vertices, body.vertices[:, 1].max() / 1.78
    big = np.full(len(v), 1.0)
    arms = share(body, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal"))
    hips, neck = body.head_of("upperleg01.L"), body.head_of("neck01")
    ankle, knee = body.head_of("foot.L"), body.head_of("lowerleg01.L")
    head = share(body, ("head", "eye"))
    # away from the arm proper the sleeve's edge must not run on over the chest
    sleeve = outfit.sleeve - along_arm(body) + 4.0 * np.maximum(0.9 - arms, 0.0)
    collar = neck[1] + 0.022 * k - v[:, 1] - 0.45 * (v[:, 2] - neck[2])
    collar = np.where(arms > 0.3, big, collar)
    tucked = outfit.belt is not None
    edge = hips[1] + (0.032 if tucked else -0.05) * k
    hem = v[:, 1] - edge
    hem = np.where(arms > 0.3, big, hem)
    shirt = np.minimum.reduce([sleeve * 0.3, collar, hem])
    loose = outfit.loose_cm / 100 * k
    low = np.interp(v[:, 1], [hips[1], hips[1] + 0.16 * k], [0.010 * k, 0.0])
    if tucked:  # gathered at the waist
        low = np.interp(v[:, 1], [edge, edge + 0.1 * k], [0.005 * k - loose, 0.0])
    hang = loose + np.where(arms > 0.3, 0.0, low)
    shells = _shirt(body, outfit, shirt, hang, arms, k)
    band = np.minimum.reduce(
        [
            collar + 0.022 * k,
            0.014 * k - collar,
            0.5 - head,
            0.5 - arms,
            v[:, 1] - neck[1] + 0.1 * k,
        ]
    )
    shells.append(make_shell(body, band, loose * 0.6 + 0.005 * k, outfit.collar, smooth=2))
    cuff = np.minimum.reduce([sleeve * 0.3, 0.024 - sleeve * 0.3, arms - 0.9])
    shells.append(make_shell(body, cuff, loose + 0.003 * k, outfit.collar, smooth=3, part="cuff"))
    if outfit.belt is not None:
        waist = np.minimum(0.019 * k - np.abs(v[:, 1] - edge - 0.015 * k), 0.2 - arms)
        shells.append(make_shell(body, waist, 0.016 * k, outfit.belt, smooth=3))
    short = outfit.shorts or outfit.skirt is not None
    bottom = knee[1] + 0.02 * k if short else ankle[1] - 0.005 * k
    if outfit.skirt is not None:
        bottom = hips[1] + 0.3 * outfit.skirt_reach * (knee[1] - hips[1])
    trousers = np.minimum.reduce(
        [hips[1] + 0.05 * k - v[:, 1], v[:, 1] - bottom, (0.2 - arms) * 0.2]
    )
    # snug under the shirt, wider down the leg
    heights = [bottom, knee[1] + 0.06 * k, hips[1] - 0.07 * k, hips[1] - 0.01 * k]
    flare = np.interp(v[:, 1], heights, [0.026, 0.016, 0.014, 0.003]) * k
    if short:
        flare = np.interp(v[:, 1], [bottom, *heights[2:]], [0.024, 0.014, 0.003]) * k
    wide = outfit.leg_loose if outfit.skirt is None else 0.2
    flare = np.maximum(flare * wide, 0.003 * k)
    shells.append(make_shell(body, trousers, flare, outfit.trousers, smooth=3, part="trousers"))
    if outfit.glove is not None:
        hand = share(body, ("wrist.L", "metacarpal", "finger")) - 0.5
        hand = np.where(v[:, 0] > 0, hand, -1.0)
        shells.append(make_shell(body, hand, 0.003 * k, outfit.glove, part="glove"))
    if outfit.hair_style != "bald":
        hair, depth = scalp(body, k, hat=False), _hair_depth(body, k)
        shells.append(make_shell(body, hair, depth, outfit.hair, smooth=3, part="hair"))
    if outfit.hat is not None:
        hat = scalp(body, k, hat=True)
        hat = np.minimum(hat, 0.034 * k - hat) if outfit.hat_kind == "visor" else hat
        shells.append(make_shell(body, hat, 0.024 * k, outfit.hat, smooth=3))
    deep = np.maximum(
        np.minimum(np.minimum(collar, hem) - 0.03 * k, sleeve * 0.3 - 0.03), trousers - 0.03 * k
    )
    hidden = np.all((deep > 0)[body.faces], axis=1)
    return shells, body.faces[~hidden]


def _shirt(
    body: Body, outfit: Outfit, field: Floats, out_m: Floats, arms: Floats, k: float
) -> list[Shell]:
    """Return the shirt, cut into its colours so that stripes and a placket have clean edges."""
    v = body.vertices
    chest = body.head_of("upperarm01.L")[1] - 0.13 * k
    parts: list[tuple[Floats, Colour]] = []
    if outfit.placket is not None:
        front = np.where(v[:, 2] > body.head_of("neck01")[2], 1.0, -1.0)
        strip = np.minimum.reduce([0.016 * k - np.abs(v[:, 0]), v[:, 1] - chest - 0.02 * k, front])
        parts.append((strip, outfit.placket))
    if outfit.stripe is not None:
        torso = np.where(arms > 0.5, 0.33 - 2.0 * np.abs(along_arm(body) - 0.45), 1.0)
        band = 0.03 * k - np.abs(v[:, 1] - chest + 0.06 * k)
        stripe = np.where(arms > 0.5, torso * 0.1, band)
        parts.append((stripe, outfit.stripe))
    shells, rest = [], field
    for part, colour in parts:
        own = np.minimum(rest, part)
        shells.append(make_shell(body, own, out_m, colour, smooth=5, part="trim"))
        rest = np.minimum(rest, -part)
    return [make_shell(body, rest, out_m, outfit.shirt, smooth=5, part="shirt"), *shells]


def shoe_points(body: Body, side: str) -> Floats:
    """Return points at rest (P, 3) whose convex hull is a shoe."""
    v = body.vertices
    sign = 1.0 if side == ".L" else -1.0
    ankle = body.head_of(f"foot{side}")
    picked = v[
        (v[:, 1] < ankle[1] + 0.005) & (sign * v[:, 0] > 0) & (share(body, ("foot", "toe")) > 0.4)
    ]
    middle = picked.mean(axis=0)
    grown = middle + (picked - middle) * [1.12, 1.0, 1.06]
    high = (picked[:, 1:2] - picked[:, 1].min()) > 0.02
    return np.where(high, grown + np.array([0.0, 0.008, 0.0]), grown)


def brim(body: Body) -> tuple[Floats, Ints]:
    """Return a cap's brim at rest: points (P, 3) and faces (F, 3)."""
    k = body.vertices[:, 1].max() / 1.78
    centre = skull_centre(body)
    found = body.vertices[body.part_vertices("head")]
    level = centre[1] + 0.058 * k
    near = found[np.abs(found[:, 1] - level) < 0.012 * k]
    front, half = near[:, 2].max() + 0.02 * k, near[:, 0].max() + 0.016 * k
    back = centre[2] + 0.02 * k
    across, outward = np.meshgrid(np.linspace(-1, 1, 17), np.linspace(0, 1, 5), indexing="ij")
    angle = across * np.radians(72)
    reach = 1 + outward * 0.62 * np.cos(angle) ** 0.6
    x = half * np.sin(angle) * (1 + outward * 0.06)
    z = back + (front - back) * np.cos(angle) * reach
    y = level - 0.002 + 0 * x - outward * 0.018 * k - 0.012 * across**2 * k
    points = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    faces = []
    for i in range(16):
        for j in range(4):
            a, b = i * 5 + j, (i + 1) * 5 + j
            faces += [(a, a + 1, b), (b, a + 1, b + 1)]
    return points, np.array(faces)


def face_colours(body: Body, outfit: Outfit) -> NDArray[np.uint8]:
    """Return the colour of every body vertex (N, 3): skin, lips, brows, eyes."""
    v, k = body.vertices, body.vertices[:, 1].max() / 1.78
    skin = np.array(outfit.skin, dtype=float)
    colours = np.tile(skin, (len(v), 1))
    front = v[:, 2] > skull_centre(body)[2] + 0.045 * k
    for side in (".L", ".R"):
        for part in (f"eye_back{side}", f"eye_front{side}"):
            colours[body.part_vertices(part)] = (238, 236, 230)
        eye = body.part_vertices(f"eye_front{side}")
        pupil = v[eye][v[eye][:, 2].argmax()]
        off = np.linalg.norm(v[eye][:, :2] - pupil[:2], axis=1)
        colours[eye[off < 0.0065 * k]] = (58, 40, 30)
        dx, dy = np.abs(v[:, 0] - pupil[0]), v[:, 1] - pupil[1]
        socket = front & (np.hypot(dx / 1.6, dy) < 0.013 * k) & ~mask_of(body, eye)
        white = mask_of(body, body.part_vertices(f"eye_back{side}"))
        colours[socket & ~white] = skin * 0.82
        brow = front & (dx < 0.019 * k) & (np.abs(dy - 0.021 * k + 4 * dx**2) < 0.0045 * k)
        colours[brow] = 0.7 * np.array(outfit.hair) + 0.3 * skin
    mouth = body.part_vertices("mouth_cavity")
    rim = v[mouth][v[mouth][:, 2].argmax()]
    close = np.hypot(v[:, 0] / 2.6, v[:, 1] - rim[1]) < 0.0105 * k
    colours[front & close] = skin * [0.78, 0.5, 0.5]
    return np.clip(colours, 0, 255).astype(np.uint8)


def _net(faces: Ints, count: int) -> tuple[Ints, Ints, Floats]:
    """Return who listens to whom when a surface of ``count`` points is smoothed.

    A point on the rim listens only to its neighbours on the rim, so hems stay where they are
    and lose their points.
    """
    sides = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    low, high = sides.min(axis=1), sides.max(axis=1)
    _, where, times = np.unique(low * count + high, return_index=True, return_counts=True)
    first, second, lone = low[where], high[where], times == 1
    rim = np.zeros(count, dtype=bool)
    rim[first[lone]] = rim[second[lone]] = True
    keep = lone | ~(rim[first] & rim[second])
    ends = np.concatenate([first[keep], second[keep]])
    others = np.concatenate([second[keep], first[keep]])
    fit = ~rim[ends] | rim[others]
    degree = np.bincount(ends[fit], minlength=count).astype(np.float64)[:, None]
    return ends[fit], others[fit], degree


def _smoothed(points: Floats, net: tuple[Ints, Ints, Floats], rounds: int) -> Floats:
    """Move every point part of the way to its neighbours' middle, ``rounds`` times."""
    ends, others, degree = net
    for _ in range(rounds):
        total = np.stack(
            [np.bincount(ends, points[others, k], minlength=len(points)) for k in range(3)], axis=1
        )
        mean = np.where(degree > 0, total / np.maximum(degree, 1), points)
        points = 0.4 * points + 0.6 * mean
    return points


def mask_of(body: Body, vertices: Ints) -> NDArray[np.bool_]:
    """Return which vertices are among ``vertices`` (N,)."""
    mask = np.zeros(len(body.vertices), dtype=bool)
    mask[vertices] = True
    return mask


def make_shell(
    body: Body,
    field: Floats,
    out_m: Floats | float,
    colour: Colour,
    *,
    smooth: int = 0,
    part: str = "",
) -> Shell:
    """Return the garment where ``field`` (N,) over the body at rest is positive."""
    # a point laid exactly on the edge would make slivers; a hair's breadth inside is as good
    first, second, mix, faces = cut(body.faces, np.where(np.abs(field) < 1e-9, 1e-9, field))
    out = np.broadcast_to(np.asarray(out_m, dtype=float), field.shape)
    return Shell(
        first=first,
        second=second,
        mix=mix,
        out_m=(1 - mix) * out[first] + mix * out[second],
        faces=faces,
        colour=colour,
        smooth=smooth,
        net=_net(faces, len(first)) if smooth else None,
        part=part,
    )


def trunk_vertices(body: Body) -> NDArray[np.bool_]:
    """Return which vertices the ribs, the spine and the shoulder blades carry (N,)."""
    return share(body, ("spine", "clavicle", "shoulder")) > 0.6


def share(body: Body, names: tuple[str, ...]) -> Floats:
    """Return how much of each vertex is carried by bones whose names begin so (N,)."""
    picked = np.array([name.startswith(names) for name in body.bone_names])
    return np.sum(body.weights * picked[body.weight_bones], axis=1)


def along_arm(body: Body) -> Floats:
    """Return how far down its upper arm each vertex is: 0 shoulder, 1 elbow (N,)."""
    result = np.zeros(len(body.vertices))
    for side, sign in ((".L", 1.0), (".R", -1.0)):
        shoulder, elbow = body.head_of(f"upperarm01{side}"), body.head_of(f"lowerarm01{side}")
        along = (body.vertices - shoulder) @ (elbow - shoulder) / np.sum((elbow - shoulder) ** 2)
        result = np.where(sign * body.vertices[:, 0] > 0, along, result)
    return result


def scalp(body: Body, k: float, *, hat: bool) -> Floats:
    """Return the field (N,) that is positive where hair grows, or a hat sits."""
    v, centre = body.vertices, skull_centre(body)
    z = (v[:, 2] - centre[2]) / k
    if hat:
        limit = np.interp(z, [-0.10, 0.10], [0.022, 0.040])
    else:
        limit = np.interp(
            z, [-0.08, -0.04, -0.015, 0.03, 0.045, 0.085], [-0.06, -0.035, 0.03, 0.03, 0.05, 0.088]
        )
    field = (v[:, 1] - centre[1]) - limit * k
    only = mask_of(body, body.part_vertices("head"))
    inner = mask_of(
        body, np.concatenate([body.part_vertices(p) for p in body.parts if p != "head"])
    )
    near = np.linalg.norm(v - centre, axis=1) < 0.2 * k
    return np.where(only & ~inner & near, field, -1.0)


def _hair_depth(body: Body, k: float) -> Floats:
    high = body.vertices[:, 1] - skull_centre(body)[1]
    return np.interp(high, [-0.07 * k, 0.0, 0.11 * k], [0.006, 0.011, 0.020]) * k
