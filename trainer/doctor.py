"""Says what is here and what is not, and for each thing missing, what to do."""

from __future__ import annotations

import importlib.metadata
import platform
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from trainer.core.records import Frame
from trainer.errors import TrainerError
from trainer.estimator_file import shipped
from trainer.ports import FrameSource
from trainer.resources import resource_dir
from trainer.settings import CameraSettings

_PACKAGES = (
    "backswing-mirror",
    "mediapipe",
    "opencv-python",
    "opencv-contrib-python",
    "numpy",
    "pygame",
    "pygame-ce",
    "simpleaudio",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One line of the report."""

    what: str
    ok: bool
    needed: bool  #: the live mirror cannot run without it
    text: str  #: what was found, or what is wrong
    remedy: str = ""  #: what to do; empty when all is well


def findings(
    *, camera: CameraSettings, model: Path | None, clock: Callable[[], float] = time.perf_counter
) -> Iterator[Finding]:
    """Yield each finding as soon as it is known."""
    yield _versions()
    yield from _camera(camera, clock)
    yield from _pose(model, clock)
    yield _screen()
    yield _sound()
    yield _filming()


def can_run(found: list[Finding]) -> bool:
    """Tell whether the live mirror can run."""
    return all(finding.ok for finding in found if finding.needed)


def _missing(what: str, message: str, *, needed: bool) -> Finding:
    """Return what a message of three parts says: what happened, then what to do."""
    text, _, remedy = message.partition(". ")
    return Finding(what=what, ok=False, needed=needed, text=text, remedy=remedy)


def _versions() -> Finding:
    parts = [f"Python {platform.python_version()}", f"{platform.system()} {platform.machine()}"]
    for name in _PACKAGES:
        try:
            parts.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            continue
    return Finding(what="versions", ok=True, needed=False, text=", ".join(parts))


def _camera(camera: CameraSettings, clock: Callable[[], float]) -> Iterator[Finding]:
    from trainer.adapters.camera import list_cameras, open_source

    if camera.source is None:
        cameras = list_cameras()
        for facts in cameras:
            rate = "rate not measured"
            slow = False
            if facts.measured_fps is not None:
                rate = f"{facts.measured_fps:.0f} pictures a second"
                slow = facts.measured_fps < 20
            width, height = facts.size_wh
            yield Finding(
                what="camera",
                ok=not slow,
                needed=False,
                text=f"camera {facts.index} ({facts.name}): {width}x{height}, {rate}",
                remedy="More light, or a lower exposure time, gives more pictures." if slow else "",
            )
        if cameras:
            yield Finding(
                what="camera", ok=True, needed=True, text=f"{len(cameras)} that give pictures"
            )
            return
    try:
        source = open_source(
            camera.source,
            rotate=camera.rotate,
            mirrored=camera.mirrored,
            recorded_fps=camera.recorded_fps,
        )
        yield _try_source(source, clock)
    except TrainerError as error:
        yield _missing("camera", str(error), needed=True)


def _try_source(source: FrameSource, clock: Callable[[], float]) -> Finding:
    source.open()
    try:
        begun_s, frames = clock(), 0
        size: tuple[int, int] | None = None
        while clock() - begun_s < 2.0:
            frame = source.get(0.5)
            if frame is not None:
                frames += 1
                height, width = frame.image_rgb.shape[:2]
                size = (width, height)
        rate = frames / (clock() - begun_s)
    finally:
        source.close()
    if size is None:
        return Finding(
            what="camera",
            ok=False,
            needed=True,
            text=f"{source.name} opened but gave no picture",
            remedy="Close other programs using it, or try another --camera.",
        )
    return Finding(
        what="camera",
        ok=True,
        needed=True,
        text=f"{source.name}: {size[0]}x{size[1]}, {rate:.0f} pictures a second",
    )


def _pose(model: Path | None, clock: Callable[[], float]) -> Iterator[Finding]:
    from trainer.adapters.model_file import ensure_model

    try:
        path = ensure_model(path=model)
    except TrainerError as error:
        yield _missing("pose model", str(error), needed=True)
        return
    yield Finding(what="pose model", ok=True, needed=True, text=str(path))
    try:
        pose_ms = _pose_ms(path, clock)
    except TrainerError as error:
        yield _missing("pose speed", str(error), needed=True)
        return
    slow = pose_ms > 50
    yield Finding(
        what="pose speed",
        ok=not slow,
        needed=False,
        text=f"{pose_ms:.0f} ms a pose on a demo picture (median of 30)",
        remedy="Close other programs; below 20 poses a second a fast swing is read roughly."
        if slow
        else "",
    )


def _pose_ms(path: Path, clock: Callable[[], float]) -> float:
    from trainer.adapters.clips import read_clip
    from trainer.adapters.pose import MediapipePose
    from trainer.live import demo_clips

    estimator = MediapipePose(path, trunk=shipped().network)
    taken: list[float] = []
    try:
        frames: Iterator[Frame] = iter(read_clip(demo_clips()[0].path))
        for frame, _ in zip(frames, range(35), strict=False):
            begun_s = clock()
            estimator.estimate(frame)
            taken.append((clock() - begun_s) * 1000)
    finally:
        estimator.close()
    return median(taken[5:])


def _screen() -> Finding:
    from trainer.adapters.screen import open_screen

    try:
        screen = open_screen("window")
    except TrainerError as error:
        return _missing("screen", str(error), needed=True)
    size: Any = getattr(screen, "size_wh", None)
    screen.close()
    return Finding(what="screen", ok=True, needed=True, text=f"window of {size[0]}x{size[1]}")


def _sound() -> Finding:
    from trainer.adapters.sound import open_sounder, sound_devices

    try:
        sounder = open_sounder("auto", resource_dir("sounds"))
    except TrainerError as error:
        return _missing("sound", str(error), needed=False)
    latency_s = sounder.latency_s
    delay = "" if latency_s is None else f", {latency_s * 1000:.0f} ms of buffer"
    text, ok = f"{sounder.name}{delay}", sounder.audible
    named = sound_devices() if ok else ()
    if named:
        text += f"; devices: {', '.join(named)}"
    trouble = sounder.trouble
    sounder.close()
    if ok:
        return Finding(what="sound", ok=True, needed=False, text=text)
    what, _, remedy = trouble.partition(". ")
    return Finding(
        what="sound",
        ok=False,
        needed=False,
        text=what or "no sound",
        remedy=remedy or "Plug in or choose a loudspeaker; the mirror runs without sound too.",
    )


def _filming() -> Finding:
    """Put a small clip together where temporary files go, as filming does."""
    from trainer.adapters.rep_clip import small_jpeg, write_clip

    grey = np.full((48, 64, 3), 128, np.uint8)
    jpeg, size_wh = small_jpeg(grey)
    with tempfile.TemporaryDirectory() as folder:
        try:
            write_clip(Path(folder) / "clip.mp4", [jpeg] * 4, size_wh, 30, 1000)
        except TrainerError as error:
            return _missing("filming", str(error), needed=False)
    return Finding(what="filming", ok=True, needed=False, text="clips of reps can be written (MP4)")
