"""Guides through the calibration of a camera: takes views, says what is missing, keeps the lens."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from trainer.core.lens import seen_deg
from trainer.errors import LensError
from trainer.lenses import LensRecord, save
from trainer.ports import FrameSource, SourceState
from trainer.settings import CameraSettings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from trainer.adapters.lens_calibration import ViewKeeper

#: Files taken for pictures in a folder.
PICTURES: Final = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp")
#: A live calibration ends when nothing new was seen for as long as this. Chosen by eye.
PATIENCE_S: Final = 60.0
#: What is wanted next is said again after this long.
REMIND_S: Final = 8.0
#: Between two views the sheet is given time to come to rest: its corners may move by no more
#: than this share of the picture's width between two pictures. Chosen by eye.
STILL: Final = 0.004

Say = Callable[[str], None]


def run_calibrate(
    camera: CameraSettings,
    *,
    pictures: Path | None,
    name: str | None,
    today: datetime.date,
    say: Say,
) -> LensRecord:
    """Calibrate from ``pictures`` (a folder, or a clip), else from the camera; keep the lens.

    Raises CameraError and LensError as the functions below.
    """
    from trainer.adapters.camera import open_source

    if pictures is not None and pictures.is_dir():
        return calibrate_pictures(
            pictures,
            name=name or pictures.resolve().name,
            today=today,
            say=say,
            rotate=camera.rotate,
            mirrored=camera.mirrored,
        )
    source = open_source(
        camera.source if pictures is None else str(pictures),
        rotate=camera.rotate,
        mirrored=camera.mirrored,
        paced=pictures is None,
    )
    return calibrate_source(source, name=name, today=today, say=say, live=pictures is None)


def calibrate_source(
    source: FrameSource,
    *,
    name: str | None,
    today: datetime.date,
    say: Say,
    folder: Path | None = None,
    live: bool = True,
) -> LensRecord:
    """Take views from an open-able source until they are enough; keep and return the lens.

    ``live``: the person is told what to show next, and moving sheets are passed over; a clip is
    read to its end without that. Raises CameraError when the source fails and LensError when
    the views do not do.
    """
    from trainer.adapters.lens_calibration import ViewKeeper

    keeper = ViewKeeper()
    source.open()
    try:
        say(
            f"Show the calibration sheet to {source.name}, flat and still, near enough to fill "
            "about half the picture."
        )
        seen = _take(source, keeper, say, live=live)
    finally:
        source.close()
    return _finish(keeper, seen, name or source.name, today, say, folder)


def calibrate_pictures(
    pictures: Path,
    *,
    name: str,
    today: datetime.date,
    say: Say,
    rotate: int = 0,
    mirrored: bool = False,
    folder: Path | None = None,
) -> LensRecord:
    """Take the views from a folder of pictures; keep and return the lens.

    Raises LensError when there are no pictures, they differ in size, or the views do not do.
    """
    from trainer.adapters.lens_calibration import SheetFinder, ViewKeeper

    keeper, finder, seen = ViewKeeper(), SheetFinder(), 0
    for path, image_rgb in _read(pictures, rotate, mirrored):
        view = finder.find(image_rgb, keeper.rules)
        if view is None:
            say(f"{path.name}: no sheet seen.")
            continue
        seen += 1
        blurred = keeper.blurred
        if not keeper.offer(view):
            why = "not sharp" if keeper.blurred > blurred else "like another"
            say(f"{path.name}: left out, {why}.")
    return _finish(keeper, seen, name, today, say, folder)


def _take(source: FrameSource, keeper: ViewKeeper, say: Say, *, live: bool) -> int:
    """Offer every picture of the source to the keeper; return how many showed the sheet."""
    from trainer.adapters.lens_calibration import SheetFinder

    finder, seen = SheetFinder(), 0
    before = None
    said_s = new_s = source.now_s()
    while True:
        frame = source.get(0.5)
        now_s = source.now_s()
        if frame is None:
            if source.status().state is SourceState.ENDED:
                return seen
        else:
            view = finder.find(frame.image_rgb, keeper.rules)
            still = view is not None and (not live or _is_still(before, view))
            before = view
            seen += view is not None
            if view is not None and still and keeper.offer(view):
                new_s = said_s = now_s
                wanted = keeper.missing()
                say(f"View {len(keeper.kept)} kept." + (f" Now {wanted[0]}." if wanted else ""))
                if live and not wanted:
                    return seen
        if live and now_s - new_s > PATIENCE_S:
            return seen
        if live and now_s - said_s > REMIND_S:
            said_s = now_s
            wanted = keeper.missing()
            say("No sheet seen." if before is None else f"Now {wanted[0]}; hold it still.")


def _is_still(before: object, view: object) -> bool:
    import numpy as np

    from trainer.adapters.lens_calibration import SheetView

    if not isinstance(before, SheetView) or not isinstance(view, SheetView):
        return False
    _, ours, theirs = np.intersect1d(view.ids, before.ids, return_indices=True)
    if len(ours) < 4:
        return False
    moved = np.abs(view.corners_px[ours] - before.corners_px[theirs]).max()
    return float(moved) <= STILL * view.size_wh[0]


def _finish(
    keeper: ViewKeeper,
    seen: int,
    name: str,
    today: datetime.date,
    say: Say,
    folder: Path | None,
) -> LensRecord:
    from trainer.adapters.lens_calibration import SheetFinder, calibrate

    if seen == 0:
        raise LensError(
            "the calibration sheet was seen in no picture. A printed sheet (trainer calibrate "
            "--sheet FILE.pdf), held flat before the camera, was wanted. Bring it nearer and "
            "into the light; if the source mirrors its picture, add --mirrored."
        )
    if keeper.blurred:
        say(f"{keeper.blurred} views were left out because they were not sharp.")
    found = calibrate(keeper.kept, SheetFinder(), keeper.rules)
    record = LensRecord(
        camera=name,
        date=today,
        lens=found.lens,
        error_px=found.error_px,
        focal_se_px=found.focal_se_px,
        views=found.views,
    )
    path = save(record, folder)
    across, down = seen_deg(found.lens)
    width, height = found.lens.size_wh
    say(
        f"{found.views} views of {width} by {height}. Reprojection error {found.error_px:.2f} "
        "pixels (root mean square)."
    )
    say(
        f"Focal length {found.lens.focal_px[0]:.1f} ± {found.focal_se_px:.1f} pixels; the camera "
        f"sees {across:.1f} by {down:.1f} degrees."
    )
    say(f"Kept for {name!r}: {path}")
    return record


def _read(folder: Path, rotate: int, mirrored: bool) -> Iterator[tuple[Path, NDArray[np.uint8]]]:
    """Yield each picture of a folder, (H, W, 3) RGB, by name. Raises LensError without any."""
    from trainer.adapters.opencv import Upright
    from trainer.adapters.pictures import read_picture

    upright = Upright(rotate_deg=rotate, mirrored=mirrored)
    try:
        paths = sorted(p for p in folder.iterdir() if p.suffix.lower() in PICTURES)
    except OSError as error:
        raise LensError(
            f"{folder} could not be read ({error.strerror or error}). A folder of pictures of "
            "the calibration sheet was wanted. Check its name."
        ) from None
    if not paths:
        raise LensError(
            f"no pictures in {folder}. Files ending in {', '.join(PICTURES)} were wanted. "
            "Put pictures of the calibration sheet there."
        )
    for path in paths:
        yield path, read_picture(path, upright)
