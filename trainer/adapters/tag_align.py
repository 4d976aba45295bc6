"""Lays the known printed tag over the picture: corners to a few hundredths of a pixel.

OpenCV's own corner refinements are 0.2 to 0.8 px off for a tag of 49 px in a blurred picture,
the more the more oblique (docs/how-to/tags.md): they look at the four corners only. Here
all edges of the pattern tell. The picture is sampled on the tag's own grid and compared with the
tag as the lens would blur it; a step of Gauss-Newton on the homography (inverse compositional:
S. Baker and I. Matthews, "Lucas-Kanade 20 years on", IJCV 56, 2004) brings them together. Light
that falls off across the tag is fitted along, and samples that something covers lose their say.

A tag that was read in the picture before may since have gone behind an arm by more than half
(``align_on``): what was covered then has no say from the first step on, and the four corners may
hardly change but together, for the perspective of a tag is not to be had from half of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

#: The black square of 36h11 with its black border, in cells.
CELLS: Final = 8
#: White round the black square that is looked at, in cells. The sheet must have twice as much.
_MARGIN: Final = 0.5
_SAMPLES: Final = 3  #: a cell
_SIDE: Final = round((CELLS + 2 * _MARGIN) * _SAMPLES)
_FINE: Final = 12  #: the tag is blurred on a grid this many times finer
#: Blur of a sharp webcam picture, one standard deviation in pixels, chosen by eye.
_BLUR_PX: Final = 0.9
_LEVEL: Final = 1.2  #: step of the ladder of blurs templates are kept for
_STEPS: Final = 10
#: Steps end when no corner moved further than this.
_STILL_PX: Final = 0.08
#: Likeness (a correlation, 1 is the very tag) and the share of samples that fit, to be believed.
_LIKE: Final = 0.93
_SHARE: Final = 0.8
#: White less black, in grey levels, below which nothing is read.
_CONTRAST: Final = 12.0
#: The same share of a tag that was read in the picture before, of its black and of its white: an
#: arm alone is like the one or the other.
_PARTLY: Final = 0.35
_PARTLY_STEPS: Final = 16
#: After so many steps it is settled which samples something covers.
_SETTLED: Final = 10
#: One standard deviation of how a tag's perspective changes from a picture to the next, in pixels
#: of a corner against its neighbours, and the share of the contrast that samples err by.
_SKEW_PX: Final = 0.1
_ERRS: Final = 0.08
#: A tag's contrast keeps this share of what it was in the picture before.
_KEEPS: Final = 0.6
#: The sample below which 40 % of the misfits lie.
_TYPICAL: Final = round(0.4 * _SIDE**2)
#: (8, 8) of corners' moves, how much they change the perspective: every other corner, to and fro.
_SKEW: Final = np.kron(np.outer([1, -1, 1, -1], [1, -1, 1, -1]) / 4, np.eye(2))
#: A corner less sure than this share of a cell is not read.
_ROUGH: Final = 0.5
#: A corner is never trusted beyond this: paper bends, lenses are not quite as calibrated. Cards
#: rendered with edges up to 2.5 mm back were 0.17 px off in the median.
NOISE_FLOOR_PX: Final = 0.12
#: The same of what the samples' misfit makes of the corners.
_OWN: Final = 3.0
#: What the blur does to narrow cells: this over the square of a cell's lesser width in pixels.
#: Fitted to drawn pictures, 8 to 16 cm at 3 m and 0 to 80 degrees.
_NARROW_PX: Final = 0.3
#: What a covered corner costs, in cells, by the share of samples that do not fit. By drawn tags.
_COVERED: Final = 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aligned:
    """Where the tag lies, and how sure that is."""

    corners_px: FloatArray  #: (4, 2)
    noise_px: float
    likeness: float  #: correlation of tag and picture, over the samples that count
    share: float  #: of the samples that fit
    light: Float32Array  #: (4,) contrast, and the light everywhere, along x and along y
    weight: Float32Array  #: (N,) say of each sample; what is covered has next to none


def align(grey: NDArray[np.uint8], corners_px: FloatArray, number: int) -> Aligned | None:
    """Return the tag's corners found from a start some two pixels off, or None where it is not.

    ``grey`` is (H, W); ``corners_px`` (4, 2) counts from its first pixel's centre.
    """
    return _laid(grey, corners_px, number, None)


def align_on(
    grey: NDArray[np.uint8], corners_px: FloatArray, number: int, before: Aligned
) -> Aligned | None:
    """Return as ``align`` does what can be seen of a tag read as ``before`` in the last picture."""
    return _laid(grey, corners_px, number, before)


def _laid(
    grey: NDArray[np.uint8], corners_px: FloatArray, number: int, before: Aligned | None
) -> Aligned | None:
    cv2 = opencv()
    grid = _grid()
    corners = np.asarray(corners_px, np.float64)
    blur = _blur(corners)
    if blur is None:
        return None
    rows, lean = _template(number, *blur)
    shape = cv2.getPerspectiveTransform(grid.square, corners.astype(np.float32))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    weight = gain = None
    last, pace, gone = np.zeros(8), 1.0, np.zeros(8)
    for count in range(_STEPS if before is None else _PARTLY_STEPS):
        seen = cv2.warpPerspective(
            grey, shape, (_SIDE, _SIDE), flags=flags, borderMode=cv2.BORDER_REPLICATE
        )
        seen = seen.ravel().astype(np.float32)
        if gain is None and before is not None:
            gain = float(before.light[0])
            weight = before.weight * _say(seen - before.light @ rows[8:], abs(gain))
        elif gain is None:
            gain = float(lean @ seen)
        if gain < _CONTRAST:
            return None
        # Solved for are the corners' moves times the contrast, so that the rows stay as they are.
        weighted = rows if weight is None else rows * weight
        square = (weighted @ rows.T).astype(np.float64) + grid.ridge
        pull = (weighted @ seen).astype(np.float64)
        if before is not None:
            stiff = (_ERRS * _width(corners) / _SKEW_PX / (CELLS * _SAMPLES)) ** 2 * _SKEW
            square[:8, :8] += stiff
            pull[:8] -= gain * (stiff @ gone)
        solved, found = cv2.solve(square, pull)
        if not solved:
            return None
        found = found[:, 0]
        left = seen - found.astype(np.float32) @ rows
        moves = found[:8] / gain
        gain = float(found[8])
        # In a picture sharper than the template steps overshoot, to and fro: shorter ones then.
        back = float(moves @ last)
        if back < 0:
            pace /= 1.0 + min(-back / float(last @ last), 1.0)
        last = moves
        gone += pace * last
        moved = (grid.square + pace * last.reshape(4, 2)).astype(np.float32)
        shape = shape @ cv2.getPerspectiveTransform(moved, grid.square)
        now = cv2.perspectiveTransform(grid.square[None].astype(np.float64), shape)[0]
        step = float(np.abs(now - corners).max())
        corners = now
        # What lies over the tag is off by a good part of black to white; grain is not.
        if before is None:
            scale = max(3.0 * float(np.abs(left).sum()) / len(left), 0.1 * abs(gain))
            weight = _say(left, scale)
        elif count < _SETTLED:
            # Much may be covered, so a mean would let the arm have its say.
            typical = float(np.partition(np.abs(left), _TYPICAL)[_TYPICAL])
            scale = min(max(2.5 * typical, 0.12 * abs(gain)), 0.35 * abs(gain))
            weight = _say(left, scale)
        if step < _STILL_PX:
            break
    else:
        return None  # it wanders: no tag lies near the start
    if weight is None:
        return None
    return _judged(corners, rows[8], left, weight, found[8:], square, before)


def _say(left: Float32Array, scale: float) -> Float32Array:
    weight: Float32Array = (1.0 / (1.0 + (left / scale) ** 2) ** 2).astype(np.float32)
    return weight


def sides(corners: FloatArray) -> tuple[float, float, float, float]:
    """Return the lengths of a tag's left, upper, right and lower side."""
    a, b, c, d = corners.tolist()
    return math.dist(a, d), math.dist(b, a), math.dist(c, b), math.dist(d, c)


def _width(corners: FloatArray) -> float:
    return sum(sides(corners)) / 4


def _judged(
    corners: FloatArray,
    tag: Float32Array,
    left: Float32Array,
    weight: Float32Array,
    light: FloatArray,
    square: FloatArray,
    before: Aligned | None,
) -> Aligned | None:
    gain = float(light[0])
    fits = np.abs(left) < 0.3 * abs(gain)
    share = np.count_nonzero(fits) / len(fits)
    weights = float(weight.sum())
    power = float((weight * left) @ left) / weights
    mean = float(weight @ tag) / weights
    spread = gain * gain * (float((weight * tag) @ tag) / weights - mean * mean)
    likeness = math.sqrt(max(spread, 0.0) / (spread + power))
    if gain < _CONTRAST or likeness < _LIKE or not np.isfinite(corners).all():
        return None
    if before is None:
        if share < _SHARE:
            return None
    else:
        inside = _grid().inside
        white, black = fits[inside & (tag > 0.6)].mean(), fits[inside & (tag < 0.4)].mean()
        if min(white, black) < _PARTLY or gain < _KEEPS * float(before.light[0]):
            return None
    inverse = opencv().invert(square)[1]
    # In samples; a hidden corner's is largest.
    sampled = math.sqrt(max(float(inverse.diagonal()[:8].max()) * power, 0.0)) / gain
    long = sides(corners)
    width = sum(long) / 4
    noise = _OWN * sampled * width / (CELLS * _SAMPLES)
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners.tolist()
    area = abs((cx - ax) * (dy - by) - (cy - ay) * (dx - bx)) / 2
    narrow = _NARROW_PX / (area / max(long) / CELLS) ** 2
    cell = width / CELLS
    noise = math.hypot(noise, narrow, _COVERED * (1.0 - share) * cell, NOISE_FLOOR_PX)
    if before is not None and noise > _ROUGH * cell:
        return None
    return Aligned(
        corners_px=corners,
        noise_px=noise,
        likeness=likeness,
        share=share,
        light=light.astype(np.float32),
        weight=weight,
    )


def _blur(corners: FloatArray) -> tuple[int, int] | None:
    """Return the lens' blur along the tag's own x and y, as steps of ``_LEVEL``; None: no tag."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners.tolist()
    side = 2 * CELLS * _SAMPLES
    right, down = (
        ((bx - ax + cx - dx) / side, (by - ay + cy - dy) / side),
        (
            (dx - ax + cx - bx) / side,
            (dy - ay + cy - by) / side,
        ),
    )
    area = right[0] * down[1] - right[1] * down[0]
    if not area > 1e-3:  # seen from behind, or edge-on, or not a number
        return None
    return _level(math.hypot(*down) / area), _level(math.hypot(*right) / area)


def _level(samples_a_px: float) -> int:
    """Return the blur in samples on a ladder, so that few templates serve every tag and angle."""
    blur = min(max(_BLUR_PX * samples_a_px, 0.2), 8.0)
    return round(math.log(blur) / math.log(_LEVEL))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    square: Float32Array  #: (4, 2) black square's corners in samples
    flow: Float32Array  #: (N, 2, 8) how each sample moves with the corners' x and y
    light: Float32Array  #: (3, N) light: everywhere, along x, along y
    ridge: FloatArray  #: (12, 12) keeps the equations solvable where nothing is seen
    inside: NDArray[np.bool_]  #: (N,) samples of the black square, its white left out


@lru_cache(maxsize=1)
def _grid() -> _Grid:
    low = _MARGIN * _SAMPLES - 0.5
    high = low + CELLS * _SAMPLES
    square = np.array([[low, low], [high, low], [high, high], [low, high]], np.float64)
    middle, half = (_SIDE - 1) / 2, CELLS * _SAMPLES / 2
    y, x = (np.mgrid[:_SIDE, :_SIDE].reshape(2, -1) - middle) / half
    at_corners = _homography_flow(*((square - middle) / half).T).reshape(8, 8)
    flow = _homography_flow(x, y) @ np.linalg.inv(at_corners)
    return _Grid(
        square=square.astype(np.float32),
        flow=flow.astype(np.float32),
        light=np.stack([np.ones_like(x), x, y]).astype(np.float32),
        ridge=np.diag([1e-7] * 8 + [1e-3] * 4),
        inside=(np.abs(x) < 1) & (np.abs(y) < 1),
    )


def _homography_flow(x: FloatArray, y: FloatArray) -> FloatArray:
    """Return (N, 2, 8): the flow at (x, y) for each of a homography's eight freedoms."""
    one, none = np.ones_like(x), np.zeros_like(x)
    across = np.stack([x, y, one, none, none, none, -x * x, -x * y], axis=-1)
    down = np.stack([none, none, none, x, y, one, -x * y, -y * y], axis=-1)
    return np.stack([across, down], axis=-2)


@lru_cache(maxsize=256)
def _template(number: int, blur_x: int, blur_y: int) -> tuple[Float32Array, Float32Array]:
    """Return rows (12, N) and a gauge.

    The rows are the blurred tag's slopes by corner (8), itself, 0 black to 1 white, and light. The
    gauge (N,) times a picture's samples is the contrast: least squares on the tag alone.
    """
    cv2 = opencv()
    flat = _fine_tag(number)
    blurred = cv2.GaussianBlur(
        flat,
        (0, 0),
        sigmaX=_LEVEL**blur_x * _FINE / _SAMPLES,
        sigmaY=_LEVEL**blur_y * _FINE / _SAMPLES,
        borderType=cv2.BORDER_REPLICATE,
    )
    ratio = _FINE // _SAMPLES
    # The derivative by central differences over two fine cells, told per sample.
    slope_x = cv2.Sobel(blurred, cv2.CV_32F, 1, 0, ksize=3) / 8 * ratio
    slope_y = cv2.Sobel(blurred, cv2.CV_32F, 0, 1, ksize=3) / 8 * ratio
    to_fine = np.array([[ratio, 0, (ratio - 1) / 2], [0, ratio, (ratio - 1) / 2]], np.float64)
    tag, along_x, along_y = (
        cv2.warpAffine(
            part,
            to_fine,
            (_SIDE, _SIDE),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ).reshape(-1, 1)
        for part in (blurred, slope_x, slope_y)
    )
    flow = _grid().flow
    tag = tag.ravel()
    centred = tag - tag.mean()
    slopes = along_x * flow[:, 0] + along_y * flow[:, 1]
    rows = np.vstack([slopes.T, tag[None], _grid().light])
    return np.ascontiguousarray(rows, np.float32), centred / float(centred @ centred)


def _fine_tag(number: int) -> Float32Array:
    cv2 = opencv()
    flat = cv2.aruco.generateImageMarker(family(), number, CELLS * _FINE)
    edge = round(_MARGIN * _FINE)
    flat = cv2.copyMakeBorder(flat, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=255)
    fine: Float32Array = flat.astype(np.float32) / 255
    return fine


@lru_cache(maxsize=1)
def opencv() -> Any:  # noqa: ANN401 - a module without types
    """Return OpenCV, loaded quietly once: asking each time costs a tenth of a look."""
    return load_cv2()


@lru_cache(maxsize=1)
def family() -> Any:  # noqa: ANN401 - a type of OpenCV
    """Return OpenCV's AprilTag 36h11 family."""
    cv2 = opencv()
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
