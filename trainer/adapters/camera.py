"""Cameras: webcams by number, and the one function that opens whatever the user named."""

from __future__ import annotations

import os
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.clips import ClipReader, PacedClip, SteppedClip
from trainer.adapters.frame_thread import LiveKind, LiveSource, monotonic_s
from trainer.adapters.network_camera import network_kind
from trainer.adapters.opencv import Capture, Upright, load_cv2
from trainer.adapters.picture_memory import PictureMemory
from trainer.errors import CameraError
from trainer.ports import FrameSource

ASKED_SIZE_WH = (1280, 720)
ASKED_FPS = (60, 30)
#: Numbers tried where the system has no list of cameras.
PROBED = range(6)
#: Some Windows drivers take 4 s to open and as long again for each change of size or rate
#: (github.com/opencv/opencv/issues/26495).
_SLOW_DRIVERS = sys.platform == "win32"
#: One camera that takes longer than this is left out of the list.
PROBE_LIMIT_S = 20.0 if _SLOW_DRIVERS else 6.0
#: From ``open`` to the first picture of a webcam.
FIRST_PICTURE_S = 30.0 if _SLOW_DRIVERS else 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """What is known about one webcam that gave a picture."""

    index: int
    name: str  #: the driver's name for it; "camera 0" where the system does not tell
    size_wh: tuple[int, int]  #: of its picture; asked for 1280 by 720 only when measuring
    stated_fps: float | None  #: what the driver says; None when it says nothing
    measured_fps: float | None  #: over about one second; None when not measured


def open_source(
    spec: str | int | None = None,
    *,
    rotate: int = 0,
    mirrored: bool = False,
    recorded_fps: float | None = None,
    paced: bool = True,
    memory: PictureMemory | None = None,
) -> FrameSource:
    """Return the source that ``spec`` names, not yet opened.

    ``None``: the first camera found. A number: that webcam. ``http://``, ``rtsp://`` and the
    like: a network camera. Anything else: a video file, paced as if by a camera, or with
    ``paced=False`` every picture in turn, one each ``get``. ``rotate`` turns the picture
    clockwise by 0, 90, 180 or 270 degrees; ``mirrored`` undoes the mirroring of a source that
    mirrors its picture; ``recorded_fps`` is the true rate of a slow-motion clip. The pictures lie
    in ``memory``, if one is given that the pose estimator has too.

    Raises CameraError for an unknown scheme, a turn that is none, and when no camera is found.
    """
    upright = Upright(rotate_deg=rotate, mirrored=mirrored, memory=memory)
    if spec is None:
        spec = _first_camera()
    number = _as_number(spec)
    if number is not None:
        return LiveSource(webcam_kind(number), upright=upright)
    text = str(spec).strip()
    if "://" in text and not text.lower().startswith("file://"):
        return LiveSource(network_kind(text), upright=upright)
    path = Path(url2pathname(urlsplit(text).path) if "://" in text else text).expanduser()

    def make_reader() -> ClipReader:
        return ClipReader(
            path, rotate=rotate, mirrored=mirrored, recorded_fps=recorded_fps, memory=memory
        )

    if paced:
        return PacedClip(make_reader, path.name)
    return SteppedClip(make_reader, path.name)


def is_clip(spec: str) -> bool:
    """Tell whether ``open_source`` would take this for a video file."""
    text = spec.strip()
    return _as_number(text) is None and ("://" not in text or text.lower().startswith("file://"))


def list_cameras(*, measure: bool = True) -> tuple[CameraFacts, ...]:
    """Return the webcams that open and give a picture, lowest number first.

    With ``measure`` each is read for about one second to find its true frame rate. A camera
    that another program holds gives no picture and is left out. Never raises.
    """
    found = (_probe_within_limit(index, measure=measure) for index in _candidates())
    return tuple(facts for facts in found if facts is not None)


def webcam_kind(index: int) -> LiveKind:
    """Return how to open the webcam of that number. Raises CameraError for a negative one."""
    if index < 0:
        raise CameraError(
            f"camera {index} cannot be. A camera's number is wanted, from 0 up. Try --camera 0."
        )
    name = f"camera {index}"
    return LiveKind(
        name=name,
        connect=lambda: _connect(index),
        remedy="Check its cable, and that no other program uses it.",
        silent=(
            f"{name} opened but sent no picture. A camera that sends pictures is wanted. "
            "Try closing other programs using it, pulling its plug and putting it back, "
            "or another camera."
        ),
        open_limit_s=FIRST_PICTURE_S,
        describe=_got,
        connect_in_caller=_main_thread_only(),
    )


def _main_thread_only() -> bool:
    """Return whether the system asks the user's leave for the camera on the main thread only.

    macOS: OpenCV fails there with "can not spin main run loop from other thread"
    (github.com/opencv/opencv/issues/16427).
    """
    return sys.platform == "darwin"


def _as_number(spec: str | int) -> int | None:
    if isinstance(spec, int):
        return spec
    text = spec.strip()
    if text.removeprefix("-").isdecimal():
        return int(text)
    device = text.removeprefix("/dev/video")
    return int(device) if device != text and device.isdecimal() else None


def _first_camera() -> int:
    for index in _candidates():
        if _probe_within_limit(index, measure=False) is not None:
            return index
    denied = [i for i in _candidates() if _is_denied(i)]
    raise _denied(denied[0]) if denied else CameraError(_none_found())


def _none_found() -> str:
    return (
        "no camera was found. A webcam, a network camera or a video file is wanted. "
        "Try `trainer demo`, which needs no camera, --camera http://ADDRESS:PORT/video for a "
        "phone's camera app, or --camera FILE for a clip."
    )


def _connect(index: int) -> Capture:
    """Open a webcam. Raises CameraError that names the cameras there are."""
    if _is_denied(index):
        raise _denied(index)
    capture = _open_index(index)
    if capture is not None:
        return capture
    others = [facts.index for facts in list_cameras(measure=False) if facts.index != index]
    if not others:
        raise CameraError(f"camera {index} did not open; {_none_found()}")
    listed = ", ".join(map(str, others[:-1]))
    found = f"cameras {listed} and {others[-1]}" if listed else f"camera {others[0]}"
    raise CameraError(
        f"camera {index} did not open; found {found}. "
        f"Try --camera {others[0]}, or close other programs using it."
    )


def _open_index(index: int, *, ask: bool = True) -> Capture | None:
    """Open with the system's own backend and ask for our size and rate; None if it will not.

    Without ``ask`` the camera's own size is left alone, which is quicker.
    """
    cv2 = load_cv2()
    backends = {
        "linux": (cv2.CAP_V4L2,),
        "win32": (cv2.CAP_MSMF, cv2.CAP_DSHOW),
        "darwin": (cv2.CAP_AVFOUNDATION,),
    }.get(sys.platform, (cv2.CAP_ANY,))
    for backend in backends:
        with suppress(cv2.error):
            capture: Capture = cv2.VideoCapture(index, backend)
            if capture.isOpened():
                if ask:
                    _ask_for(capture)
                return capture
            capture.release()
    return None


def _ask_for(capture: Capture) -> None:
    cv2 = load_cv2()
    # MJPG first: uncompressed 1280 by 720 does not fit through USB 2 at 30 fps.
    capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
    capture.set(cv2.CAP_PROP_FRAME_WIDTH, ASKED_SIZE_WH[0])
    capture.set(cv2.CAP_PROP_FRAME_HEIGHT, ASKED_SIZE_WH[1])
    for fps in ASKED_FPS:
        capture.set(cv2.CAP_PROP_FPS, fps)
        if capture.get(cv2.CAP_PROP_FPS) >= 0.9 * fps:
            break
    capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)


def _candidates() -> tuple[int, ...]:
    """Return the numbers worth trying."""
    if not sys.platform.startswith("linux"):
        return tuple(PROBED)
    tails = (path.name.removeprefix("video") for path in Path("/dev").glob("video*"))
    return tuple(sorted(int(tail) for tail in tails if tail.isdecimal()))


def _is_denied(index: int) -> bool:
    device = Path(f"/dev/video{index}")
    return (
        sys.platform.startswith("linux")
        and device.exists()
        and not os.access(device, os.R_OK | os.W_OK)
    )


def _denied(index: int) -> CameraError:
    return CameraError(
        f"camera {index} may not be used by this user. Leave to read /dev/video{index} is wanted. "
        "Try `sudo usermod -aG video $USER`, then log out and in again."
    )


def _probe(index: int, *, measure: bool) -> CameraFacts | None:
    """Open one camera, take a picture, measure its rate if asked, and let it go."""
    cv2 = load_cv2()
    capture = None if _is_denied(index) else _open_index(index, ask=measure)
    if capture is None:
        return None
    try:
        picture = next((p for p in (_picture(capture) for _ in range(3)) if p is not None), None)
        if picture is None:
            return None
        fps = capture.get(cv2.CAP_PROP_FPS)
        return CameraFacts(
            index=index,
            name=_device_name(index),
            size_wh=(picture.shape[1], picture.shape[0]),
            stated_fps=fps if 0 < fps < 1000 else None,
            measured_fps=_measure_fps(capture) if measure else None,
        )
    finally:
        capture.release()


def _picture(capture: Capture) -> NDArray[np.uint8] | None:
    if not capture.grab():
        return None
    ok, image = capture.retrieve()
    return Upright().rgb(image) if ok else None


def _measure_fps(capture: Capture) -> float | None:
    """Return the rate over about one second of pictures; None when fewer than two came."""
    start_s = last_s = monotonic_s()
    pictures = 0
    while last_s - start_s < 1.0:
        if not capture.grab():
            break
        last_s = monotonic_s()
        pictures += 1
    return pictures / (last_s - start_s) if pictures and last_s > start_s else None


def _device_name(index: int) -> str:
    with suppress(OSError):
        name = Path(f"/sys/class/video4linux/video{index}/name").read_text(encoding="utf-8").strip()
        if name:
            return name
    return f"camera {index}"


def _got(capture: Capture) -> str:
    cv2 = load_cv2()
    width, height, fps = (
        capture.get(prop)
        for prop in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT, cv2.CAP_PROP_FPS)
    )
    rate = f"{fps:.0f} fps" if fps > 0 else "an unstated rate"
    return (
        f"asked for {ASKED_SIZE_WH[0]} by {ASKED_SIZE_WH[1]} at {ASKED_FPS[0]} fps, "
        f"got {width:.0f} by {height:.0f} at {rate}"
    )


def _probe_within_limit(index: int, *, measure: bool) -> CameraFacts | None:
    """Probe in a thread of its own, so that a driver that hangs costs only the limit."""
    if _main_thread_only():
        with suppress(Exception):
            return _probe(index, measure=measure)
        return None
    result: list[CameraFacts | None] = []

    def run() -> None:
        with suppress(Exception):
            result.append(_probe(index, measure=measure))

    thread = threading.Thread(target=run, name=f"probe of camera {index}", daemon=True)
    thread.start()
    thread.join(PROBE_LIMIT_S)
    return result[0] if result else None
