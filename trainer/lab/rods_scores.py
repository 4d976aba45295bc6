"""Says how often the placement guide finds a rod, takes something else for one, and is off."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark
from trainer.core.placement import Asked, Look, PlacementState, step
from trainer.core.placement_rod import RodSeen
from trainer.core.placement_view import STATURE_CM, focal_of, view_of
from trainer.core.records import Handed, Pose
from trainer.lab.rods import SCENES, film_person

Floats = NDArray[np.float64]

#: A line whose middle lies this far from the rod's, or runs so many degrees off it in the
#: picture, is not the rod.
OFF_CM: Final = 2.0
OFF_DEG: Final = 1.0
SEARCH_EVERY: Final = 2  #: pictures: three searches a scene, as in as many seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the guide made of one scene."""

    what: str
    club: bool
    open_deg: float  #: + the player stands turned from the rod so far as the rod lies turned
    rod: bool  #: whether one lay there
    counts: bool  #: whether the guide says it goes by a rod
    right: bool  #: and it is that rod
    body_off_deg: float  #: the yaw from the body alone, less the true one
    off_deg: float  #: the yaw the guide goes by, less the true one


def told_of(path: Path) -> Told | None:
    """Let the guide look at a scene for half a second; None where the pose model saw nobody."""
    from trainer.adapters.floor_rod import find_rod
    from trainer.adapters.opencv import load_cv2

    cv2 = load_cv2()
    with np.load(path) as scene:
        if not scene["found"].all():
            return None
        handed, stature = Handed(str(scene["handed"])), float(scene["stature_cm"])
        asked = Asked(handed=handed, stature_cm=stature, field_of_view_deg=float(scene["hfov_deg"]))
        state, start, scale = PlacementState(), 0, None
        body: list[float] = []
        for shot, end in enumerate(scene["picture_ends"]):
            picture = cv2.imdecode(scene["pictures"][start:end], cv2.IMREAD_COLOR)
            image, start = np.ascontiguousarray(picture[..., ::-1]), int(end)
            pose = _pose(scene, shot, (image.shape[1], image.shape[0]))
            focal = focal_of(pose.size_wh, asked.field_of_view_deg)
            view = view_of(pose, handed, stature_cm=stature, focal_px=focal)
            if view is None or not view.at_address:
                return None
            body.append(view.yaw_deg)
            scale = view.stature_px / STATURE_CM
            seen = None
            if shot % SEARCH_EVERY == 0:
                rod, _ = find_rod(image, pose.image_px, scale)
                seen = RodSeen(t_s=shot / 10, rod=rod)
            look = Look(t_s=shot / 10, pose=pose, image_rgb=None, fps=30.0, rod=seen)
            state = step(state, look, asked)
        views = [view for _, _, view in state.seen if view is not None]
        by_rod = [view.yaw_deg for view in views if view.by_rod]
        counts = state.rod_counts
        true = float(scene["attitude_deg"][0]) - float(scene["rod_turn_deg"])
        return Told(
            what=str(scene["what"]),
            club=bool(scene["rod_club"]),
            open_deg=float(scene["rod_turn_deg"]),
            rod=bool(scene["rod"]),
            counts=counts,
            right=counts and _same(state.rod_px, scene["rod_px"], scale or 1.0),
            body_off_deg=float(np.median(body)) - true,
            off_deg=float(np.median(by_rod if counts else body)) - true,
        )


def _pose(scene: Any, shot: int, size_wh: tuple[int, int]) -> Pose:
    return Pose(
        t_s=shot / 10,
        size_wh=size_wh,
        image_px=scene["image_px"][shot],
        depth_px=scene["depth_px"][shot],
        world_m=scene["world_m"][shot],
        visibility=np.ones(len(Landmark)),
    )


def _same(ends: Floats | None, true: Floats, px_per_cm: float) -> bool:
    if ends is None:
        return False
    slopes = [float((e[1, 1] - e[0, 1]) / (e[1, 0] - e[0, 0])) for e in (ends, true)]
    x, y = ends.mean(axis=0)
    row = true[0, 1] + slopes[1] * (x - true[0, 0])
    turned = abs(np.degrees(np.arctan(slopes[0]) - np.arctan(slopes[1])))
    return bool(abs(y - row) < OFF_CM * px_per_cm and turned < OFF_DEG)


def score_lines(told: Sequence[Told]) -> list[str]:
    """Return the scores as lines to print."""
    lines = []
    for what, name in (("rod", "a rod, nothing else"), ("rod-and-things", "a rod, mats and lines")):
        for club in (False, True):
            mine = [one for one in told if one.what == what and one.club is club]
            right = sum(one.right for one in mine)
            wrong = sum(one.counts and not one.right for one in mine)
            kind = "club" if club else "stick"
            lines.append(f"{name}: {kind} found {right} of {len(mine)}, another line {wrong}")
    for what, name in (("bare", "no rod, nothing else"), ("things", "no rod, mats and clubs")):
        mine = [one for one in told if one.what == what]
        lines.append(f"{name}: a rod seen {sum(one.counts for one in mine)} of {len(mine)}")
    with_rod = [one for one in told if one.rod and one.counts]
    for name, mine in (
        ("square to the rod", [one for one in with_rod if abs(one.open_deg) < 1.0]),
        ("open or closed to it", [one for one in with_rod if abs(one.open_deg) >= 1.0]),
        ("all", with_rod),
    ):
        for label, off in (
            ("body alone", [one.body_off_deg for one in mine]),
            ("with the rod", [one.off_deg for one in mine]),
        ):
            lines.append(f"yaw, players {name} ({len(mine)}), {label}: {_errors(off)}")
    return lines


def _errors(off: Sequence[float]) -> str:
    if len(off) < 2:
        return "too few"
    values = np.array(off)
    return (
        f"mean {values.mean():+.1f}, sd {values.std():.1f}, "
        f"95 % within {np.percentile(np.abs(values), 95):.1f} degrees"
    )


def add_command(commands: Any) -> None:
    """Add ``rods``."""
    parser = commands.add_parser("rods", help="render rods on the floor and score their finding")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    parser.add_argument("--people", type=int, default=100)
    parser.add_argument("--seed", type=int, default=620_000, help="of the first; then one each")
    parser.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    model = ensure_model()
    seeds = range(options.seed, options.seed + options.people)
    work = [(seed, options.out, model) for seed in seeds]
    # Spawned and renewed, because each renderer keeps some memory.
    context = multiprocessing.get_context("spawn")
    with context.Pool(1, maxtasksperchild=20) as pool:
        done = pool.imap(_one, work)
        for _ in tqdm(done, total=len(work), unit="person", file=sys.stderr):
            pass
    paths = [options.out / f"rods-{seed:06d}-{what}.npz" for seed in seeds for what in SCENES]
    told = [one for one in map(told_of, paths) if one is not None]
    print(f"{len(told)} of {len(paths)} scenes with a player at address")
    for line in score_lines(told):
        print(line)
    return 0


def _one(work: tuple[int, Path, Path]) -> list[Path]:
    return film_person(*work)
