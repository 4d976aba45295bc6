"""Pictures of printed tags for tests: drawn through a pinhole, then grained, blurred, packed.

The camera looks along z; x is right and y down. A tag's own axes are x right, y down, z into the
sheet, so the identity is an upright tag facing the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SIZE_WH = (1280, 720)
HFOV_DEG = 70.0
FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
CELLS = 8  # black square of 36h11 with its border, in cells
_CELL_PX = 16
_FINE = 4  # pictures are drawn this many times finer, then averaged


def focal_px(size_wh=SIZE_WH, hfov_deg=HFOV_DEG):
    return size_wh[0] / 2 / np.tan(np.radians(hfov_deg) / 2)


def centre_px(size_wh=SIZE_WH):
    return (size_wh[0] - 1) / 2, (size_wh[1] - 1) / 2


def turned(yaw_deg=0.0, pitch_deg=0.0, roll_deg=0.0):
    """Turn about the camera's vertical (y), after pitch about x, after roll about z."""
    y, x, z = np.radians([yaw_deg, pitch_deg, roll_deg])
    about_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]])
    about_z = np.array([[np.cos(z), -np.sin(z), 0], [np.sin(z), np.cos(z), 0], [0, 0, 1]])
    return about_y @ about_x @ about_z


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One printed tag in the scene; ``printed`` is its true black side over ``size_m``."""

    number: int
    rotation: np.ndarray
    place_m: tuple[float, float, float]
    size_m: float = 0.16
    printed: float = 1.0
    margin: float = 1.0  # white round the black square, in cells
    covered: tuple[float, float, float, float] | None = None  # part of the sheet hidden, 0..1

    def corners_px(self, size_wh=SIZE_WH, hfov_deg=HFOV_DEG, grow=0.0):
        """Return the black square's corners (4, 2), top left first and clockwise."""
        half = self.size_m * self.printed * (0.5 + grow / CELLS)
        flat = np.array([[-half, -half, 0], [half, -half, 0], [half, half, 0], [-half, half, 0]])
        seen = flat @ np.asarray(self.rotation).T + np.asarray(self.place_m)
        return seen[:, :2] / seen[:, 2:] * focal_px(size_wh, hfov_deg) + centre_px(size_wh)

    def faces_camera(self):
        return float(np.asarray(self.rotation)[:, 2] @ np.asarray(self.place_m)) > 0


def sheet_picture(sheet):
    """Return the flat sheet: marker, white margin, and what covers it."""
    side = CELLS * _CELL_PX
    flat = cv2.aruco.generateImageMarker(FAMILY, sheet.number, side)
    edge = round(sheet.margin * _CELL_PX)
    flat = cv2.copyMakeBorder(flat, *[edge] * 4, cv2.BORDER_CONSTANT, value=255)
    if sheet.covered is not None:
        x0, y0, x1, y1 = (np.array(sheet.covered) * flat.shape[0]).astype(int)
        flat[y0:y1, x0:x1] = 150
    return flat


def background(size_wh=SIZE_WH, seed=0):
    """Return a dull room: soft patches between 70 and 180 grey."""
    rng = np.random.default_rng(seed)
    coarse = rng.uniform(70, 180, (9, 16)).astype(np.float32)
    return cv2.resize(coarse, size_wh, interpolation=cv2.INTER_CUBIC)


def draw(picture, sheet, *, hfov_deg=HFOV_DEG):
    """Draw ``sheet`` into the float picture in place; nothing if its back is seen."""
    if not sheet.faces_camera():
        return
    height, width = picture.shape
    outer = sheet.corners_px((width, height), hfov_deg, grow=sheet.margin)
    x0, y0 = np.maximum(np.floor(outer.min(axis=0)).astype(int) - 2, 0)
    x1, y1 = np.minimum(np.ceil(outer.max(axis=0)).astype(int) + 3, (width, height))
    if x1 <= x0 or y1 <= y0:
        return
    flat = sheet_picture(sheet)
    side = flat.shape[0]
    # Pixel centres are whole numbers: the sheet's edge lies half a pixel outside the first one.
    source = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float64) - 0.5
    fine = (outer - (x0, y0) + 0.5) * _FINE - 0.5
    warp = cv2.getPerspectiveTransform(source.astype(np.float32), fine.astype(np.float32))
    fine_wh = ((x1 - x0) * _FINE, (y1 - y0) * _FINE)
    drawn = cv2.warpPerspective(flat.astype(np.float32), warp, fine_wh)
    inside = cv2.warpPerspective(np.ones_like(flat, np.float32), warp, fine_wh)
    drawn = cv2.resize(drawn, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    inside = cv2.resize(inside, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    # Paper in room light is not pure white and ink not pure black.
    ink = 25 * inside + drawn / 255 * 190
    part = picture[y0:y1, x0:x1]
    part[:] = part * (1 - inside) + ink


def picture(
    sheets,
    *,
    size_wh=SIZE_WH,
    hfov_deg=HFOV_DEG,
    seed=0,
    grain=4.0,
    blur_px=0.7,
    quality=85,
    smear_px=0,
):
    """Return the grey camera picture (H, W) uint8 of ``sheets``, later ones in front."""
    shown = background(size_wh)
    for sheet in sheets:
        draw(shown, sheet, hfov_deg=hfov_deg)
    if smear_px > 1:
        shown = cv2.blur(shown, (smear_px, 1))
    if blur_px:
        shown = cv2.GaussianBlur(shown, (0, 0), blur_px)
    shown = shown + np.random.default_rng(seed).normal(0, grain, shown.shape)
    grey = np.clip(shown + 0.5, 0, 255).astype(np.uint8)
    if quality:
        packed = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        grey = cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE)
    return grey
