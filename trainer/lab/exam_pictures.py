"""A sheet of small pictures: the tops whose shoulder turn was read furthest from the truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab.exam_results import TURN, Matched, worst

Image = NDArray[np.uint8]

#: Pictures in a row of the sheet.
ACROSS: Final = 4
#: The sheet stays under this many bytes.
MOST_BYTES: Final = 300_000
_TILE_WH: Final = (200, 220)
_TEXT_PX: Final = 34


def draw_worst(reps: list[Matched], clips_dir: Path, path: Path) -> bool:
    """Write the sheet of the worst tops from the clips' own pictures.

    Returns False, writing nothing, when no picture can be had.
    """
    tiles = []
    for one, off in worst(reps):
        picture = _picture_at_top(one, clips_dir)
        if picture is None:
            continue
        true = one.true_top[TURN]
        tiles.append(_tile(picture, f"true {true:.0f} deg", f"said {true + off:.0f} deg"))
    if not tiles:
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(_png(sheet(tiles)))
    return True


def sheet(tiles: list[Image]) -> Image:
    """Return tiles of one size (H, W, 3) laid out in rows of ``ACROSS``, white where none is."""
    height, width = tiles[0].shape[:2]
    rows = -(-len(tiles) // ACROSS)
    across = min(ACROSS, len(tiles))
    out = np.full((rows * height, across * width, 3), 255, dtype=np.uint8)
    for number, tile in enumerate(tiles):
        row, column = divmod(number, ACROSS)
        out[row * height : (row + 1) * height, column * width : (column + 1) * width] = tile
    return out


def _picture_at_top(one: Matched, clips_dir: Path) -> Image | None:
    """Return the picture (H, W, 3) BGR of the true top, cut to the player."""
    import cv2

    told = json.loads((clips_dir / f"{one.clip.name}.truth.json").read_text(encoding="utf-8"))
    row = min(round(one.clip.events["top_s"] * told["fps"]), len(told["frames"]) - 1)
    video = cv2.VideoCapture(str(clips_dir / f"{one.clip.name}.mp4"))
    try:
        picture: Any = None
        for _ in range(row + 1):
            read, picture = video.read()
            if not read:
                return None
    finally:
        video.release()
    return cut_round(picture, np.array(list(told["frames"][row]["joints_px"].values())))


def cut_round(picture: Image, joints_px: NDArray[np.float64]) -> Image:
    """Return the part of a picture round its joints (J, 2), in the shape of a tile."""
    import cv2

    joints_px = joints_px[np.isfinite(joints_px).all(axis=1)]
    low, high = joints_px.min(axis=0), joints_px.max(axis=0)
    middle, size = (low + high) / 2, 1.15 * (high - low)
    width, height = _TILE_WH
    scale = min(width / size[0], height / size[1])
    move = np.array(
        [
            [scale, 0, width / 2 - scale * middle[0]],
            [0, scale, height / 2 - scale * middle[1]],
        ]
    )
    # A blur as wide as the shrinking asks for: else grain survives and the file is large.
    soft = cv2.GaussianBlur(picture, (0, 0), max(0.5 / scale, 0.3))
    tile: Image = cv2.warpAffine(soft, move, _TILE_WH, borderMode=cv2.BORDER_REPLICATE)
    return tile


def _tile(picture: Image, *lines: str) -> Image:
    import cv2

    text = np.full((_TEXT_PX, picture.shape[1], 3), 255, dtype=np.uint8)
    for number, line in enumerate(lines):
        place = (6, 14 + 15 * number)
        cv2.putText(text, line, place, cv2.FONT_HERSHEY_SIMPLEX, 0.45, (0, 0, 0), 1, cv2.LINE_AA)
    tile: Image = np.concatenate([picture, text])
    tile[:, -1] = tile[-1] = 255
    return tile


def _png(image: Image) -> bytes:
    """Return the sheet as PNG, with as many levels of colour as fit the limit."""
    import cv2

    for step in (4, 8, 16, 32):
        coarse = (image // step * step + step // 2).astype(np.uint8)
        done, packed = cv2.imencode(".png", coarse, [cv2.IMWRITE_PNG_COMPRESSION, 9])
        if done and packed.size < MOST_BYTES:
            break
    return packed.tobytes()
