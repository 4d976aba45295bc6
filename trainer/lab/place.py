"""Fits what the placement guide tells of the camera's attitude, and says how far off it is.

The films of ``python -m trainer.lab films`` hold each person's address and where the camera
truly stood. Printed are the weights as they would be fitted now, to be put into
``core/placement_view.py`` by hand, and the errors of those that are in force there.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.placement import LIMITS, Check
from trainer.core.placement_view import (
    CameraView,
    attitude_read,
    focal_of,
    view_of,
)
from trainer.core.records import Handed, Pose

Floats = NDArray[np.float64]

#: What counts as a webcam: degrees across the longer side.
WEBCAM_DEG: Final = (58.0, 82.0)
LEAST_SEEN: Final = 5  #: pictures of a person's address


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One person's address, and where the camera truly was."""

    pose: Pose
    handed: Handed
    stature_cm: float
    hfov_deg: float
    distance_m: float
    truth_deg: tuple[float, float, float]  #: yaw, pitch, roll
    steep_deg: float  #: how steeply the floor at the feet was seen, from the height of the ankles


def seen_in(path: Path) -> Seen | None:
    """Return the address of a film; None where too little of it was read."""
    with np.load(path) as film:
        held = (film["kind"] == "address") & film["found"]
        if held.sum() < LEAST_SEEN:
            return None
        hfov, distance, height, yaw, pitch, roll = (float(v) for v in film["camera"])
        image, world, depth = (
            np.median(film[name][held].astype(float), axis=0)
            for name in ("image_px", "world_m", "depth_px")
        )
        size_wh = (int(film["size_wh"][0]), int(film["size_wh"][1]))
        stature_cm = float(film["stature_cm"])
        pose = Pose(
            t_s=0.0,
            size_wh=size_wh,
            image_px=image,
            depth_px=depth,
            world_m=world,
            visibility=np.ones(len(image)),
        )
        ankles_m = 0.052 * stature_cm / 100.0  # ankle points of the pose model, about
        return Seen(
            pose=pose,
            handed=Handed(str(film["handed"])),
            stature_cm=stature_cm,
            hfov_deg=hfov,
            distance_m=distance,
            truth_deg=(yaw, pitch, roll),
            steep_deg=float(np.degrees(np.arctan2(height - ankles_m, distance))),
        )


def weights_of(people: Sequence[Seen]) -> dict[str, Floats]:
    """Return the weights fitted on ``people``: "yaw" and "roll" (5 and two), "floor" (2).

    Yaw and roll by generalised least squares: the readings are what the attitude makes of them
    and an error of known covariance, so that on average nothing is told too small.
    """
    read = np.array([attitude_read(one.pose.image_px, one.pose.world_m)[0] for one in people])
    toes = np.array([attitude_read(one.pose.image_px, one.pose.world_m)[1] for one in people])
    truth = np.array([one.truth_deg for one in people])[:, (0, 2)]
    hand = np.array([1.0 if one.handed is Handed.RIGHT else -1.0 for one in people])
    front = (np.abs(read[:, 0]) < 60) & (np.abs(read[:, 2]) < 45)
    design = np.column_stack([truth, hand, np.ones(len(hand))])[front]
    made = np.linalg.lstsq(design, read[front], rcond=None)[0]
    error = np.linalg.inv(np.cov((read[front] - design @ made).T))
    slope = made[:2].T
    told = np.linalg.solve(slope.T @ error @ slope, slope.T @ error)
    yaw, roll = (np.concatenate([told[k], -told[k] @ made[[3, 2]].T]) for k in range(2))
    steep = np.array([one.steep_deg for one in people])
    floor = np.polyfit(toes[front], steep[front], 1)
    return {"yaw": yaw, "roll": roll, "floor": floor}


def read_all(people: Sequence[Seen], *, lens_known: bool) -> list[tuple[Seen, CameraView]]:
    """Return what the guide reads of each person whose camera is like a webcam."""
    found = []
    for one in people:
        width, height = one.pose.size_wh
        focal = focal_of(one.pose.size_wh, one.hfov_deg)
        across = float(np.degrees(2 * np.arctan(max(width, height) / 2 / focal)))
        if not WEBCAM_DEG[0] < across < WEBCAM_DEG[1]:
            continue
        view = view_of(
            one.pose,
            one.handed,
            stature_cm=one.stature_cm,
            focal_px=focal if lens_known else focal_of(one.pose.size_wh, None),
        )
        if view is not None:
            found.append((one, view))
    return found


def error_lines(people: Sequence[Seen]) -> list[str]:
    """Return how far off the weights in force are, as lines to print."""
    lines = []
    for lens_known in (True, False):
        read = read_all(people, lens_known=lens_known)
        lines.append(f"lens {'known' if lens_known else 'not known'}: {len(read)} people")
        for at, check in enumerate((Check.YAW, Check.PITCH, Check.ROLL)):
            told = np.array([getattr(view, f"{check.value}_deg") for _, view in read])
            true = np.array([one.truth_deg[at] for one, _ in read])
            off, limit = told - true, LIMITS[check][1]
            fine, wrong = np.abs(true) < limit / 2, np.abs(true) > 1.4 * limit
            flagged = np.abs(told) > limit
            lines.append(
                f"  {check.value}: mean {off.mean():+.1f}, sd {off.std():.1f}, 95 % within "
                f"{np.percentile(np.abs(off), 95):.1f} degrees; told wrong {_share(flagged, fine)} "
                f"under half the limit, {_share(flagged, wrong)} beyond 1.4 of it"
            )
        ratio = np.array([view.distance_m / one.distance_m for one, view in read])
        lines.append(f"  distance: mean {ratio.mean():.3f}, sd {ratio.std():.3f} of the true one")
    return lines


def _share(flagged: Any, among: Any) -> str:
    return f"{int((flagged & among).sum())} of {int(among.sum())}"


def add_command(commands: Any) -> None:
    """Add ``place``."""
    parser = commands.add_parser("place", help="fit and check what tells how the camera stands")
    parser.add_argument("--films", type=Path, required=True, metavar="DIR")
    parser.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    paths = sorted(options.films.glob("film-*.npz"))
    people = [one for one in map(seen_in, paths) if one is not None]
    if len(people) < 20:
        print(
            f"{len(people)} people in {options.films}. Some hundred films were wanted. Make more."
        )
        return 2
    for name, weights in weights_of(people).items():
        print(f"{name}: {', '.join(f'{weight:.3f}' for weight in weights)}")
    for line in error_lines(people):
        print(line)
    return 0
