"""Pictures of the calibration sheet through a lens that is known, for tests.

Each pixel's ray is found by OpenCV's ``undistortPoints`` and cut with the sheet's plane; the sheet
itself is the printed page, rasterised by PDFium. Nothing of the program's own lens code is used.
"""

import tempfile
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2

SIZE_WH = (1280, 720)
FOCAL_PX = (1010.0, 1004.0)
CENTRE_PX = (650.0, 352.0)
DISTORTION = (-0.12, 0.08, 0.0008, -0.0012, 0.0)
SHARPNESS = 2  #: pictures are drawn this much larger and then made smaller

#: x, y, z of the sheet's middle in mm, then degrees of lean side, down, and in its own plane.
POSES = (
    (0, 0, 420, 0, 0, 0), (-150, -40, 430, 25, 0, 0), (150, -40, 430, -25, 0, 0),
    (0, 60, 430, 0, 25, 90), (0, -60, 430, 0, -25, 90), (-190, 90, 480, 22, 20, 90),
    (190, 90, 480, -22, 20, 90), (190, -90, 480, -20, -22, 90), (-190, -90, 480, 20, -22, 90),
    (0, 0, 650, 30, 0, 10), (100, 50, 650, -30, 20, -15), (-100, 0, 560, 0, 30, 5),
    (60, -40, 520, 10, -30, 0), (-210, 0, 460, -20, 5, 90), (210, 10, 460, 20, 0, 90),
    (0, 0, 350, 0, 0, 90), (-40, 30, 380, 15, 15, 45), (40, 0, 700, -15, -25, 0),
)  # fmt: skip


def page_picture(path, page, dpi):
    """Return a page as (H, W) uint8."""
    document = pypdfium2.PdfDocument(path)
    try:
        drawn = document[page].render(scale=dpi / 72.0, grayscale=True).to_numpy()
        return np.ascontiguousarray(drawn.reshape(drawn.shape[:2]))
    finally:
        document.close()


def matrix(focal_px=FOCAL_PX, centre_px=CENTRE_PX):
    return np.array([[focal_px[0], 0, centre_px[0]], [0, focal_px[1], centre_px[1]], [0, 0, 1.0]])


def turned(side_deg, down_deg, plane_deg):
    """Return the (3, 3) turn of a sheet whose right edge leans back, then its lower edge."""
    side, down, plane = np.radians([-side_deg, down_deg, plane_deg])
    return (
        cv2.Rodrigues(np.array([0, side, 0.0]))[0]
        @ cv2.Rodrigues(np.array([down, 0, 0.0]))[0]
        @ cv2.Rodrigues(np.array([0, 0, plane]))[0]
    )


@lru_cache(maxsize=4)
def rays_of(size_wh=SIZE_WH, bend=DISTORTION):
    """Return (H, W, 3) the ray of each pixel of a picture drawn ``SHARPNESS`` times larger."""
    columns, rows = np.meshgrid(np.arange(size_wh[0]), np.arange(size_wh[1]))
    seen = np.stack([columns, rows], -1).reshape(-1, 1, 2).astype(np.float64)
    scale = size_wh[0] / SIZE_WH[0]
    lens = matrix(
        tuple(f * scale for f in FOCAL_PX), tuple((c + 0.5) * scale - 0.5 for c in CENTRE_PX)
    )
    straight = cv2.undistortPointsIter(seen, lens, np.array(bend), None, None, (3, 20, 1e-9))
    # Rays change so smoothly that those between pixels lie halfway.
    fine = cv2.resize(
        straight.reshape(size_wh[1], size_wh[0], 2),
        None,
        fx=SHARPNESS,
        fy=SHARPNESS,
        interpolation=cv2.INTER_LINEAR,
    )
    return np.concatenate([fine, np.ones((*fine.shape[:2], 1))], axis=2)


def view(page, page_mm, middle_mm, pose, *, size_wh=SIZE_WH, bend=DISTORTION, noise=2.0, seed=0):
    """Return one (H, W, 3) uint8 picture of the page; ``middle_mm`` is its point put at x, y, z."""
    rays = rays_of(size_wh, bend)
    height, width = rays.shape[:2]
    rays = rays.reshape(-1, 3)
    turn, place = turned(*pose[3:]), np.array(pose[:3], float)
    normal = turn[:, 2]
    far = (normal @ place) / (rays @ normal)
    on_page = (rays * far[:, None] - place) @ turn + np.array([*middle_mm, 0.0])
    px_per_mm = page.shape[1] / page_mm[0]
    across, down = ((on_page[:, :2] * px_per_mm) - 0.5).astype(np.float32).T
    large = cv2.remap(
        page,
        across.reshape(height, width),
        down.reshape(height, width),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=90,
    )
    small = cv2.resize(large, size_wh, interpolation=cv2.INTER_AREA).astype(float)
    small = 30.0 + small * 0.75 + np.random.default_rng(seed).normal(0.0, noise, small.shape)
    return np.repeat(np.clip(small, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


@lru_cache(maxsize=1)
def sheet_views():
    """Return a picture of the sheet for each of ``POSES``, made once. Not to be changed."""
    from trainer.core.print_sheets import board_place
    from trainer.tag_sheets import write_board_sheet

    with tempfile.TemporaryDirectory() as folder:
        write_board_sheet(Path(folder) / "sheet.pdf", paper="a4")
        page = page_picture(Path(folder) / "sheet.pdf", 0, 200)
    place = board_place("a4")
    middle = (
        place.board.left + place.board.width / 2,
        place.board.top + place.board.height / 2,
    )
    return [
        view(page, place.page_mm, middle, pose, seed=number) for number, pose in enumerate(POSES)
    ]
