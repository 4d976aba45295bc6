"""The squares that tags and the calibration board are made of, from OpenCV. No picture is kept."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.core.print_sheets import BOARD, MODULES, Board

#: One black rectangle: left, top, width, height.
Black = tuple[float, float, float, float]


def tag_modules(number: int) -> NDArray[np.bool_]:
    """Return the (8, 8) modules of a tag of the family 36h11, its border counted; True is black."""
    cv2 = load_cv2()
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return _modules(cv2, family, number, MODULES)


def tag_blacks(number: int, size: float) -> tuple[Black, ...]:
    """Return the black rectangles of a tag ``size`` across, from its own upper left corner."""
    return _blacks(tag_modules(number), 0.0, 0.0, size)


def charuco_board(board: Board = BOARD) -> Any:  # noqa: ANN401 - an object without types
    """Return OpenCV's own object of the board, lengths in millimetres."""
    cv2 = load_cv2()
    return cv2.aruco.CharucoBoard(
        (board.columns, board.rows),
        board.square_mm,
        board.marker_mm,
        cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.markers)),
    )


def board_blacks(board: Board = BOARD) -> tuple[Black, ...]:
    """Return the black rectangles of the board in millimetres, from its upper left corner.

    Which squares are white, and which marker lies in each, is asked of OpenCV's own object.
    """
    cv2 = load_cv2()
    made = charuco_board(board)
    family = made.getDictionary()
    modules = family.markerSize + 2
    blacks: list[Black] = []
    white = set()
    for number, corners in zip(made.getIds().ravel(), made.getObjPoints(), strict=True):
        left, top = (float(v) for v in np.asarray(corners)[:, :2].min(axis=0))
        white.add((int(left // board.square_mm), int(top // board.square_mm)))
        code = _modules(cv2, family, int(number), modules)
        blacks += _blacks(code, left, top, board.marker_mm)
    side = board.square_mm
    blacks += [
        (column * side, row * side, side, side)
        for row in range(board.rows)
        for column in range(board.columns)
        if (column, row) not in white
    ]
    return tuple(blacks)


def _modules(cv2: Any, family: Any, number: int, across: int) -> NDArray[np.bool_]:  # noqa: ANN401
    # One pixel a module: the picture is the code.
    return np.asarray(cv2.aruco.generateImageMarker(family, number, across)) < 128


def _blacks(modules: NDArray[np.bool_], left: float, top: float, size: float) -> tuple[Black, ...]:
    """Return the black modules, those side by side in a row made one."""
    module = size / modules.shape[0]
    found: list[Black] = []
    for row, line in enumerate(modules):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            x, width = left + float(start) * module, float(end - start) * module
            found.append((x, top + row * module, width, module))
    return tuple(found)
