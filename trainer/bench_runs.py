"""The runs that ``trainer.bench`` times: the bare loop, the live mirror, measuring, starting.

The bare loop is written out here, without this program's adapters: read, convert, detect, and
nothing else. Everything is compared with it inside one and the same run, because the speed of a
machine changes from hour to hour.
"""

from __future__ import annotations

import http.server
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from trainer.adapters.picture_memory import PictureMemory
from trainer.app import LiveMirror
from trainer.bench_store import keeping
from trainer.core.practice_rules import CueSchedule, PracticeKind, PracticeRules
from trainer.core.records import Frame, Step
from trainer.core.rules import Rules
from trainer.ports import FrameSource, KeyAction, PoseEstimator, Screen, Sounder, View
from trainer.settings import Settings, TagSettings

#: What a webcam gives.
CAMERA_HZ = 30.0


def bare_fps(clip: Path, model: Path, frames: int) -> float:
    """Return pictures a second of read, convert, detect, over ``frames`` pictures of ``clip``."""
    from mediapipe.tasks.python import vision
    from mediapipe.tasks.python.core.base_options import BaseOptions
    from mediapipe.tasks.python.vision.core.image import Image, ImageFormat

    from trainer.adapters.opencv import load_cv2
    from trainer.adapters.quiet import quiet_stderr

    cv2 = load_cv2()
    with quiet_stderr():
        landmarker = vision.PoseLandmarker.create_from_options(
            vision.PoseLandmarkerOptions(
                base_options=BaseOptions(model_asset_path=str(model)),
                running_mode=vision.RunningMode.VIDEO,
            )
        )
    capture = cv2.VideoCapture(str(clip))
    begun_s = 0.0
    try:
        for index in range(frames + 1):
            if index == 1:  # the first picture still sets things up
                begun_s = time.perf_counter()
            ok, picture = capture.read()
            if not ok:
                capture.release()
                capture = cv2.VideoCapture(str(clip))
                _, picture = capture.read()
            picture = cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)
            image = Image(ImageFormat.SRGB, picture)
            landmarker.detect_for_video(image, round(index * 1000 / CAMERA_HZ))
        return frames / (time.perf_counter() - begun_s)
    finally:
        capture.release()
        landmarker.close()


class LoopedReader:
    """A clip over and over, re-timed to ``CAMERA_HZ``: stands in for a camera.

    Has what ``PacedClip`` and ``SteppedClip`` use of a ``ClipReader``, but like a camera reads
    no picture before it is wanted.
    """

    cut_short = ""

    def __init__(self, clip: Path, frames: int, memory: PictureMemory | None = None) -> None:
        from trainer.adapters.clips import clip_facts
        from trainer.adapters.opencv import Upright, load_cv2

        cv2 = load_cv2()
        self._open: Callable[[], Any] = lambda: cv2.VideoCapture(str(clip))
        self._upright = Upright(memory=memory)
        self.facts = clip_facts(clip)
        self._capture = self._open()
        self._left = frames
        self._given = 0

    def next_frame(self) -> Frame | None:
        """Return the next picture; None once ``frames`` were given."""
        if self._given >= self._left:
            return None
        ok, image = self._capture.read()
        if not ok:
            self.close()
            self._capture = self._open()
            ok, image = self._capture.read()
        picture = self._upright.rgb(image) if ok else None
        if picture is None:
            return None
        frame = Frame(t_s=self._given / CAMERA_HZ, index=self._given, image_rgb=picture)
        self._given += 1
        return frame

    def __iter__(self) -> Iterator[Frame]:
        """Yield pictures until ``frames`` were given."""
        while (frame := self.next_frame()) is not None:
            yield frame

    def close(self) -> None:
        """Let the file go."""
        self._capture.release()


@dataclass(slots=True, kw_only=True)
class _Clock:
    """When the pose thread began a picture, and how long it was inside the networks."""

    begun_s: float = 0.0
    inside_s: float = 0.0  # the pose model
    looks_s: float = 0.0  # the looks at trunk and hands
    begun_cpu_s: float = 0.0  # by the thread's own processor time
    inside_cpu_s: float = 0.0  # all of the networks


class _Begun:
    """A pose estimator that notes when each picture was begun."""

    def __init__(self, inner: PoseEstimator, clock: _Clock) -> None:
        self._inner = inner
        self._clock = clock
        self.notice, self.hold = inner.notice, inner.hold
        self.swings, self.close = inner.swings, inner.close

    def estimate(self, frame: Frame) -> Any:  # noqa: ANN401 -- Pose | None
        clock = self._clock
        clock.inside_s = clock.looks_s = clock.inside_cpu_s = 0.0
        clock.begun_s, clock.begun_cpu_s = time.perf_counter(), time.thread_time()
        return self._inner.estimate(frame)


@contextmanager
def _timed(kind: Any, name: str, clock: _Clock, into: str) -> Iterator[None]:  # noqa: ANN401
    """Have every call of a class's method add how long it took to the clock, in the block."""
    original = getattr(kind, name)

    def timed(self: object, *args: object) -> object:
        begun_s, begun_cpu_s = time.perf_counter(), time.thread_time()
        try:
            return original(self, *args)
        finally:
            clock.inside_cpu_s += time.thread_time() - begun_cpu_s
            setattr(clock, into, getattr(clock, into) + time.perf_counter() - begun_s)

    setattr(kind, name, timed)
    try:
        yield
    finally:
        setattr(kind, name, original)


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveRun:
    """What one run of the live mirror took."""

    fps: float  #: poses a second, from the first to the last
    own_ms: list[float]  #: a picture: all of the pose thread's work but the networks'
    own_cpu_ms: list[float]  #: the same in processor time: what others on the machine do not touch
    looks_ms: list[float]  #: a picture: the trunk's network, and the motion round the hands
    delay_ms: list[float]  #: picture stamp to cues decided
    dropped: list[tuple[float, int]]  #: (seconds since the first pose, dropped so far)
    rss_mb: list[tuple[float, float]]  #: (seconds since the first pose, resident MB)
    reps: int
    audible: bool


def live_run(
    clip: Path,
    model: Path,
    *,
    frames: int,
    paced: bool,
    kind: str = "free",
    tags: bool = False,
    keep_in: Path | None = None,
    film: bool = False,
) -> LiveRun:
    """Run the live mirror, window and sound and all, over ``frames`` pictures.

    ``kind`` is what is practised, with the schedule and the guess that do the most work.

    ``paced`` lets them out at ``CAMERA_HZ`` as a camera does; else each is handed out as soon as
    the last is done, and nothing is dropped. ``tags``: printed tags are looked for too.
    ``keep_in`` is the store every rep is kept in; ``film``: with pictures.
    """
    from trainer.adapters.clips import PacedClip, SteppedClip
    from trainer.adapters.hand_motion import HandMotion
    from trainer.adapters.mediapipe_load import load_vision
    from trainer.adapters.tones import pan_of
    from trainer.adapters.trunk_picture import TrunkReader
    from trainer.live import open_stage, pose_opener

    opened: Any = PacedClip if paced else SteppedClip
    memory = PictureMemory()
    source: FrameSource = opened(
        lambda: LoopedReader(clip, frames, memory), "the demo clip, over and over"
    )
    clock = _Clock()
    opener = pose_opener(model, memory)
    times_s: list[float] = []
    run = LiveRun(
        fps=0.0,
        own_ms=[],
        own_cpu_ms=[],
        looks_ms=[],
        delay_ms=[],
        dropped=[],
        rss_mb=[],
        reps=0,
        audible=False,
    )
    landmarker = load_vision().PoseLandmarker

    def on_step(step: Step, rules: Rules) -> None:
        now_s, own_cpu_s = time.perf_counter(), time.thread_time() - clock.begun_cpu_s
        run.own_cpu_ms.append((own_cpu_s - clock.inside_cpu_s) * 1000)
        run.own_ms.append((now_s - clock.begun_s - clock.inside_s - clock.looks_s) * 1000)
        run.looks_ms.append(clock.looks_s * 1000)
        run.delay_ms.append((source.now_s() - step.t_s) * 1000)
        times_s.append(now_s)
        since_s = now_s - times_s[0]
        if not run.rss_mb or since_s - run.rss_mb[-1][0] >= 5.0:
            run.dropped.append((since_s, source.status().dropped))
            memory = rss_mb()
            run.rss_mb.append((since_s, float("nan") if memory is None else memory))

    sight = None
    if tags:
        from trainer.tag_setup import open_tags

        sight = open_tags(TagSettings(worn=True, size_mm=120.0), source.name)
    with open_stage(screen="window", sound="auto", say=lambda line: None) as stage:
        kept = keeping(keep_in, film=film)
        with (
            _timed(landmarker, "detect_for_video", clock, "inside_s"),
            _timed(TrunkReader, "read", clock, "looks_s"),
            _timed(HandMotion, "read", clock, "looks_s"),
        ):
            result = LiveMirror(
                source=source,
                open_estimator=lambda: _Begun(opener(), clock),
                sounder=stage.sounder,
                screen=stage.screen,
                rules=replace(Settings().rules, practice=_practised(kind)),
                pan_of=pan_of,
                rep_keeper=kept.reps,
                on_step=on_step,
                wait_for_pose=True,
                tags=sight,
            ).run()
        kept.all_kept(result.reps)
        audible = stage.sounder.audible
    ended_s = times_s[-1] - times_s[0]
    run.dropped.append((ended_s, result.dropped))
    return replace(
        run,
        fps=(len(times_s) - 1) / ended_s,
        reps=sum(rep.complete for rep in result.reps),
        audible=audible,
    )


def _practised(kind: str) -> PracticeRules:
    if kind == "free":
        return PracticeRules()
    return PracticeRules(
        kind=PracticeKind(kind), cues=CueSchedule.FADING, guess_first=kind != "checkpoints"
    )


def rss_mb() -> float | None:
    """Return this process' resident memory in MB (10^6 bytes); None where /proc is missing."""
    try:
        text = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        return None
    for line in text.splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    return None


def measure_fps(clips: list[Path], model: Path, out: Path, *, jobs: int) -> float:
    """Return pictures a second of ``trainer measure`` over ``clips``, loading and writing too."""
    import json

    from trainer.measure_many import measure_clips

    begun_s = time.perf_counter()
    failed = measure_clips(
        clips, out, Settings().rules, model=model, jobs=jobs, say=lambda line: None
    )
    taken_s = time.perf_counter() - begun_s
    if failed:
        raise RuntimeError(failed[0])
    frames = sum(len(json.loads((out / f"{c.stem}.json").read_text())["frames"]) for c in clips)
    return frames / taken_s


class _UntilFirstPicture:
    """A screen that quits once the first picture of the camera is on the glass."""

    name = "window"

    def __init__(self, inner: Screen) -> None:
        self._inner = inner
        self.close = inner.close
        self.shown_s: float | None = None

    def show(self, view: View) -> None:
        self._inner.show(view)
        if view.image_rgb is not None and self.shown_s is None:
            self.shown_s = time.monotonic()

    def actions(self) -> tuple[KeyAction, ...]:
        self._inner.actions()
        return () if self.shown_s is None else (KeyAction.QUIT,)


def first_picture_s(camera: str, model: Path) -> float:
    """Run the live mirror on ``camera`` until its first picture is drawn; return when that was.

    On the clock of ``time.monotonic``, which all processes of a machine share.
    """
    from trainer.live import Stage, open_stage, run_live

    settings = Settings()
    settings = replace(settings, camera=replace(settings.camera, source=camera))
    with open_stage(screen="window", sound="auto", say=lambda line: None) as stage:
        screen = _UntilFirstPicture(stage.screen)
        sounder: Sounder = stage.sounder
        run_live(
            settings,
            stage=Stage(screen=screen, sounder=sounder),
            model=model,
            record=None,
            say=lambda line: None,
        )
    if screen.shown_s is None:
        raise RuntimeError("the mirror ended before it had shown a picture")
    return screen.shown_s


@contextmanager
def clip_as_camera(clip: Path, frames: int = 90) -> Iterator[str]:
    """Serve the first pictures of ``clip`` as a network camera on this machine; yield its URL."""
    from trainer.adapters.opencv import load_cv2

    cv2 = load_cv2()
    capture = cv2.VideoCapture(str(clip))
    parts: list[bytes] = []
    while len(parts) < frames:
        ok, picture = capture.read()
        if not ok:
            break
        parts.append(cv2.imencode(".jpg", picture)[1].tobytes())
    capture.release()

    class Handler(http.server.BaseHTTPRequestHandler):
        def log_message(self, *args: object) -> None:
            pass

        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=picture")
            self.end_headers()
            with suppress(OSError):  # the mirror has what it wanted and hangs up
                for index in range(10_000):
                    data = parts[index % len(parts)]
                    head = f"--picture\r\nContent-Type: image/jpeg\r\nContent-Length: {len(data)}"
                    self.wfile.write(head.encode() + b"\r\n\r\n" + data + b"\r\n")
                    time.sleep(1 / CAMERA_HZ)

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/video"
    finally:
        server.shutdown()
        server.server_close()


def unseen_screen() -> None:
    """Draw into memory: a window on a real screen would wait for that screen."""
    os.environ["SDL_VIDEODRIVER"] = "dummy"
