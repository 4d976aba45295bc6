"""Finds the calibration sheet in pictures and works out the lens from its views, by OpenCV."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.tag_modules import charuco_board
from trainer.core.lens import Lens, from_field_of_view, matrix
from trainer.core.print_sheets import BOARD, Board
from trainer.core.view_choice import Place, ViewRules, cells_seen, is_new, missing
from trainer.errors import LensError

#: Angle of view assumed to say how the sheet leans before the lens is known. Chosen by eye.
_GUESS_DEG: Final = 65.0
#: The third radial coefficient is used only where it makes the error smaller by this share: the
#: less there is to find out, the surer the rest. Chosen by trying rendered views.
_K3_GAIN: Final = 0.03
#: A view with this many times the usual error, and an error worth speaking of, is left out.
_BAD_VIEW: Final = 3.0
_BAD_VIEW_PX: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """The sheet as seen in one picture."""

    size_wh: tuple[int, int]
    corners_px: NDArray[np.float32]  #: (n, 2) column and row of the inner corners
    ids: NDArray[np.int32]  #: (n,) their numbers on the board
    edge_px: float  #: how wide an edge is smeared; about 2 in a sharp picture
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A lens, and how well the views agree with it."""

    lens: Lens
    error_px: float  #: root mean square distance of corners seen from corners expected
    focal_se_px: float  #: one standard error of the focal length, from OpenCV
    views: int  #: that it rests on


class SheetFinder:
    """Finds the board in pictures. One thread."""

    def __init__(self, board: Board = BOARD) -> None:
        self._cv2 = load_cv2()
        self._board = charuco_board(board)
        self._finder: Any = self._cv2.aruco.CharucoDetector(self._board)

    def find(self, image_rgb: NDArray[np.uint8], rules: ViewRules) -> SheetView | None:
        """Return the sheet in a (H, W, 3) picture; None where too little of it is seen."""
        cv2 = self._cv2
        grey = cv2.cvtColor(image_rgb, cv2.COLOR_RGB2GRAY)
        corners, ids, _, _ = self._finder.detectBoard(grey)
        if ids is None or len(ids) < rules.least_corners:
            return None
        seen = np.asarray(corners, np.float32).reshape(-1, 2)
        numbers = np.asarray(ids, np.int32).ravel()
        size_wh = (grey.shape[1], grey.shape[0])
        place = self._place(seen, numbers, size_wh)
        if place is None:
            return None
        return SheetView(
            size_wh=size_wh,
            corners_px=seen,
            ids=numbers,
            edge_px=_edge_px(cv2, grey, seen),
            place=place,
        )

    def points_mm(self, ids: NDArray[np.int32]) -> NDArray[np.float32]:
        """Return the (n, 3) places of corners on the board."""
        return np.asarray(self._board.getChessboardCorners(), np.float32)[ids]

    def _place(
        self, seen: NDArray[np.float32], ids: NDArray[np.int32], size_wh: tuple[int, int]
    ) -> Place | None:
        cv2 = self._cv2
        on_board = self.points_mm(ids)
        if np.linalg.matrix_rank(on_board[:, :2] - on_board[0, :2]) < 2:
            return None  # corners in one line say nothing of how it stands
        guess = from_field_of_view(_GUESS_DEG, size_wh)
        ok, turn, _ = cv2.solvePnP(on_board, seen, matrix(guess), None, flags=cv2.SOLVEPNP_IPPE)
        if not ok:
            return None
        # The board's own z axis points away from the viewer; (0, 0, 1) when it is square on.
        x, y, z = (float(v) for v in cv2.Rodrigues(turn)[0][:, 2])
        middle = seen.mean(axis=0) / np.array(size_wh)
        return Place(
            middle=(float(middle[0]), float(middle[1])),
            width=max(float(np.ptp(seen[:, 0])) / size_wh[0], 1e-6),
            lean_side_deg=math.degrees(math.atan2(-x, z)),
            lean_down_deg=math.degrees(math.atan2(-y, z)),
        )


class ViewKeeper:
    """Keeps the sharp views that show something new. One thread."""

    def __init__(self, rules: ViewRules | None = None) -> None:
        self.rules = rules or ViewRules()
        self.kept: list[SheetView] = []
        self.blurred = 0  #: views left out because they were not sharp

    def offer(self, view: SheetView) -> bool:
        """Keep the view if it is of use; tell whether it was kept.

        Raises LensError for a picture of another size than the ones before.
        """
        if self.kept and view.size_wh != self.kept[0].size_wh:
            width, height = self.kept[0].size_wh
            raise LensError(
                f"one picture is {view.size_wh[0]} by {view.size_wh[1]} and those before it are "
                f"{width} by {height}. Pictures of one size were wanted, because a lens is known "
                "at one size. Take the others out."
            )
        if view.edge_px > self.rules.most_edge_px:
            self.blurred += 1
            return False
        if len(self.kept) >= self.rules.most_views:
            return False
        if not is_new(view.place, [kept.place for kept in self.kept], self.rules):
            return False
        self.kept.append(view)
        return True

    def missing(self) -> tuple[str, ...]:
        """Return what is still to be shown; empty when the views are enough."""
        return _missing(self.kept, self.rules)


def calibrate(
    views: Sequence[SheetView], finder: SheetFinder, rules: ViewRules | None = None
) -> Calibration:
    """Return the lens that explains the views best.

    Raises LensError for too few views, too little variety, or an error over
    ``rules.most_error_px``: such a lens would make readings worse and not better.
    """
    rules = rules or ViewRules()
    wanted = _missing(views, rules)
    if wanted:
        raise LensError(
            f"{len(views)} usable views of the calibration sheet are not enough. "
            f"{rules.least_views} or more, sharp, in every part of the picture and leaning all "
            f"four ways, were wanted. Still to do: {'; '.join(wanted[:4])}."
        )
    found, errors = _solve(views, finder)
    usual_px = float(np.median(errors))
    good = [
        view
        for view, error in zip(views, errors, strict=True)
        if error <= max(_BAD_VIEW * usual_px, _BAD_VIEW_PX)
    ]
    if rules.least_views <= len(good) < len(views):
        found, _ = _solve(good, finder)
    _refuse_bad(found, rules)
    return found


def _missing(views: Sequence[SheetView], rules: ViewRules) -> tuple[str, ...]:
    if not views:
        return missing([], set(), rules)
    cells = cells_seen([view.corners_px for view in views], views[0].size_wh)
    return missing([view.place for view in views], cells, rules)


def _solve(
    views: Sequence[SheetView], finder: SheetFinder
) -> tuple[Calibration, NDArray[np.float64]]:
    cv2 = load_cv2()
    size_wh = views[0].size_wh
    on_board = [finder.points_mm(view.ids) for view in views]
    seen = [view.corners_px for view in views]

    def solve(flags: int) -> Any:  # noqa: ANN401 - a tuple of OpenCV's
        try:
            return cv2.calibrateCameraExtended(on_board, seen, size_wh, None, None, flags=flags)
        except cv2.error as error:
            raise LensError(
                f"OpenCV could not work out the lens ({error.err}). Views of the flat sheet that "
                "differ were wanted. Take new ones, leaning the sheet every way."
            ) from None

    plain, free = solve(cv2.CALIB_FIX_K3), solve(0)
    best = free if free[0] < plain[0] * (1.0 - _K3_GAIN) else plain
    error_px, camera, bend, _, _, se, _, per_view = best
    numbers = [float(v) for v in np.ravel(bend)[:5]]
    if not math.isfinite(error_px) or not np.isfinite(camera).all():
        raise LensError(
            "no lens explains the views. Views of one flat sheet by one camera without zoom or "
            "autofocus were wanted. Take new ones."
        )
    return (
        Calibration(
            lens=Lens(
                size_wh=size_wh,
                focal_px=(float(camera[0, 0]), float(camera[1, 1])),
                centre_px=(float(camera[0, 2]), float(camera[1, 2])),
                distortion=(numbers[0], numbers[1], numbers[2], numbers[3], numbers[4]),
            ),
            error_px=float(error_px),
            focal_se_px=float(np.ravel(se)[:2].max()),
            views=len(views),
        ),
        np.ravel(per_view).astype(np.float64),
    )


def _refuse_bad(found: Calibration, rules: ViewRules) -> None:
    if found.error_px > rules.most_error_px:
        raise LensError(
            f"the views disagree with every lens by {found.error_px:.2f} pixels. "
            f"{rules.most_error_px:g} or less was wanted. Glue the sheet on something flat and "
            "stiff, hold it still for each view, and keep zoom and focus fixed."
        )
    share = found.focal_se_px / min(found.lens.focal_px)
    if share > rules.most_focal_se:
        raise LensError(
            f"the focal length is known to ±{100.0 * share:.1f} per cent only. "
            f"±{100.0 * rules.most_focal_se:g} or less was wanted. Show more views that lean by "
            "20 to 40 degrees, near enough that the sheet fills half the picture."
        )


def _edge_px(cv2: Any, grey: NDArray[np.uint8], corners: NDArray[np.float32]) -> float:  # noqa: ANN401
    """Return how wide the sheet's sharpest edges are, height over steepness, the worse way."""
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    part = grey[top:bottom, left:right].astype(np.float32)
    if min(part.shape) < 8:
        return math.inf
    step = float(np.percentile(part, 95) - np.percentile(part, 5))
    widths = []
    for way in ((1, 0), (0, 1)):  # a moving sheet is smeared one way only
        steep = np.abs(cv2.Sobel(part, cv2.CV_32F, *way, ksize=3)) / 8.0
        steepest = float(np.percentile(steep, 98))
        widths.append(step / steepest if steepest > 0 else math.inf)
    return max(widths)
