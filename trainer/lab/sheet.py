"""A sheet of random people at address, half way and at the top, to be looked at before a fit."""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab import crowd
from trainer.lab.body import load_body
from trainer.lab.figure import Figure, mirrored
from trainer.lab.motion import Curves, Motion, backswing
from trainer.lab.scene import Stage
from trainer.lab.watched import shot

Image = NDArray[np.uint8]

#: Each picture is shown this high; so many people stand in a row of the sheet.
HIGH_PX: Final = 200
IN_A_ROW: Final = 3


def draw_sheet(seeds: range, target: Path, *, unseen_style: bool = False) -> Path:
    """Render three pictures of each person and write them as one PNG; return its path."""
    import cv2

    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    strips = [_strip(seed, unseen_style=unseen_style) for seed in seeds]
    wide = max(strip.shape[1] for strip in strips)
    padded = [np.pad(strip, ((0, 0), (0, wide - strip.shape[1]), (0, 0))) for strip in strips]
    padded += [np.zeros_like(padded[0])] * (-len(padded) % IN_A_ROW)
    rows = [np.hstack(padded[k : k + IN_A_ROW]) for k in range(0, len(padded), IN_A_ROW)]
    target.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(target), np.vstack(rows)[..., ::-1])
    return target


def _strip(seed: int, *, unseen_style: bool) -> Image:
    import cv2

    one = crowd.sitter(seed, unseen_style=unseen_style)
    rng = np.random.default_rng([seed, 95])
    curves = Curves(one.address)
    swing = replace(crowd.random_swing(rng), backswing_s=1.0)
    backswing(curves, swing, setup_s=0.0, takeaway_s=0.0)
    t_s = np.array([0.0, 0.55, 1.0])
    with tempfile.TemporaryDirectory() as bodies:
        body = load_body(one.shape, Path(bodies))
    posed = Figure(body, one.stance).pose(Motion(t_s, curves.at(t_s), (), one.address))
    if one.handed == "left":
        posed = mirrored(posed)
    stage = Stage(body, one.outfit, one.room, one.camera, mirror=posed.mirrored)
    pictures = []
    for frame in range(len(t_s)):
        image = shot(stage.draw(posed, frame), one, rng)
        width = round(image.shape[1] * HIGH_PX / image.shape[0])
        pictures.append(cv2.resize(image, (width, HIGH_PX), interpolation=cv2.INTER_AREA))
    strip = np.hstack(pictures)
    cv2.putText(strip, str(seed), (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (255, 255, 0), 1)
    return strip
