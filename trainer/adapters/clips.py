"""Video files: read as fast as the machine allows, or paced as if they were a camera."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from trainer.adapters.frame_thread import Clock, Patience, ThreadedSource, monotonic_s
from trainer.adapters.opencv import Capture, Upright, load_cv2
from trainer.adapters.picture_memory import PictureMemory
from trainer.core.records import Frame
from trainer.errors import CameraError
from trainer.ports import SourceState, SourceStatus

#: A step between two pictures longer than this is a broken time stamp, not a long picture.
MOST_STEP_S = 5.0
#: Used when the container names no frame rate at all.
ASSUMED_FPS = 30.0

_WANTED = "A video file is wanted, such as an .mp4, .mov, .mkv or .avi."


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipFacts:
    """What is known about a clip before it is read."""

    path: Path
    size_wh: tuple[int, int]  #: of the upright picture
    played_fps: float  #: the container's mean frame rate
    recorded_fps: float  #: pictures a second of real time; ``played_fps`` unless told otherwise
    frames: int | None  #: the container's estimate; None when it has none
    duration_s: float | None  #: real time, estimated; None when the container has no estimate
    own_times: bool  #: False when the container has no time stamps: times are index / fps


class ClipReader:
    """Reads a clip picture by picture, each with the container's own time.

    ``t_s`` starts at 0.0 and strictly increases. It comes from the presentation time stamps,
    so a phone's uneven frame rate is right; where a stamp is missing or does not increase the
    picture is placed one frame after the last. With ``recorded_fps`` the times of a
    slow-motion clip are divided by recorded / played rate. Rotated clips come upright.

    Raises CameraError for a file that is missing, empty, unreadable or no video. One thread.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        rotate: int = 0,
        mirrored: bool = False,
        recorded_fps: float | None = None,
        open_capture: Callable[[str], Capture] | None = None,
        memory: PictureMemory | None = None,
    ) -> None:
        self.path = Path(path)
        self.cut_short = ""  #: plain words when the clip ended long before its stated end
        self._upright = Upright(rotate_deg=rotate, mirrored=mirrored, memory=memory)
        if recorded_fps is not None and not (math.isfinite(recorded_fps) and recorded_fps > 0):
            raise CameraError(
                f"a clip cannot be recorded at {recorded_fps} fps. The rate set on the phone is "
                "wanted. Try 120 or 240."
            )
        _check_file(self.path)
        # An absolute path: FFmpeg takes "a:b.mp4" for a protocol.
        self._capture = (open_capture or _open_file)(str(self.path.resolve()))
        try:
            self._ready: deque[tuple[object, float]] = deque()
            self._step_s = 1.0 / ASSUMED_FPS
            self._origin_s: float | None = None
            self._last_s: float | None = None
            self._at_end = False
            self._given = 0
            self._slow = 1.0
            self.facts = self._look(recorded_fps)
        except BaseException:
            self._capture.release()
            raise

    def __enter__(self) -> ClipReader:
        """Return the reader itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self.close()

    def __iter__(self) -> Iterator[Frame]:
        """Yield every picture from here to the end; a damaged picture is left out."""
        while (frame := self.next_frame()) is not None:
            yield frame

    def next_frame(self) -> Frame | None:
        """Return the next whole picture, or None at the end of the clip."""
        while True:
            if len(self._ready) < 2 and not self._at_end:
                raw = self._read()
                if raw is not None:
                    self._ready.append(raw)
                else:
                    self._at_end = True
                    self._judge_end()
                    # FFmpeg fills up the picture that the cut went through and calls it good.
                    if self.cut_short and self._ready:
                        self._ready.pop()
            if not self._ready:
                return None
            image, t_s = self._ready.popleft()
            picture = self._upright.rgb(image)
            if picture is not None:
                frame = Frame(t_s=t_s / self._slow, index=self._given, image_rgb=picture)
                self._given += 1
                return frame

    def close(self) -> None:
        """Let the file go. Safe to call twice."""
        self._ready.clear()
        self._at_end = True
        self._capture.release()

    def _look(self, recorded_fps: float | None) -> ClipFacts:
        cv2 = load_cv2()
        capture = self._capture
        if not capture.isOpened():
            raise CameraError(
                f"{self.path} could not be opened as a video. {_WANTED} "
                "Try playing it in a video player; if it was cut off while copying, copy it again."
            )
        fps = capture.get(cv2.CAP_PROP_FPS)
        stated = math.isfinite(fps) and 0.5 <= fps <= 2000
        if stated:
            self._step_s = 1.0 / fps
        first = self._read()
        second = self._read() if first is not None else None
        if first is None or second is None:
            held = "one picture only" if first is not None else "no picture that could be read"
            raise CameraError(
                f"{self.path} holds {held}. {_WANTED} "
                "Try playing it in a video player, or record it again."
            )
        own_times = self._last_s is not None and self._stamped
        self._ready.extend((first, second))
        played_fps = fps if stated else 1.0 / (second[1] - first[1])
        if recorded_fps is not None:
            self._slow = recorded_fps / played_fps
            if self._slow < 0.9:
                raise CameraError(
                    f"{self.path.name} plays at {played_fps:.0f} fps, so it was not recorded at "
                    f"{recorded_fps:g}. A slow-motion clip's recording rate is at least its "
                    "playing rate. Try leaving the recording rate out."
                )
        frames = capture.get(cv2.CAP_PROP_FRAME_COUNT)
        known = math.isfinite(frames) and 1 <= frames < 1e8 and own_times
        picture = self._upright.rgb(first[0])
        if picture is None:
            raise CameraError(
                f"{self.path} holds pictures of an unknown kind. {_WANTED} "
                "Try saving it as an ordinary .mp4."
            )
        return ClipFacts(
            path=self.path,
            size_wh=(picture.shape[1], picture.shape[0]),
            played_fps=played_fps,
            recorded_fps=recorded_fps if recorded_fps is not None else played_fps,
            frames=int(frames) if known else None,
            duration_s=frames / played_fps / self._slow if known else None,
            own_times=own_times,
        )

    def _read(self) -> tuple[object, float] | None:
        """Read one picture and its time in the clip, before slow motion is undone."""
        cv2 = load_cv2()
        try:
            if not self._capture.grab():
                return None
            ok, image = self._capture.retrieve()
            # After a grab this is the time of the picture just grabbed, not of the next one
            # (checked in the tests against time stamps written by another program).
            stamp_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0
        except cv2.error:
            return None
        self._stamped = False
        if not math.isfinite(stamp_s):
            stamp_s = -math.inf
        if self._origin_s is None:
            self._origin_s = stamp_s if math.isfinite(stamp_s) else 0.0
        if self._last_s is None:
            t_s = 0.0
        else:
            t_s = stamp_s - self._origin_s
            step_s = t_s - self._last_s
            if step_s > MOST_STEP_S:
                self._origin_s += step_s - self._step_s
                t_s = self._last_s + self._step_s
            elif step_s <= 0:
                t_s = self._last_s + self._step_s
            else:
                self._stamped = True
        self._last_s = t_s
        return (image if ok else None), t_s

    def _judge_end(self) -> None:
        want_s, last_s = self.facts.duration_s, self._last_s
        if want_s is None or last_s is None:
            return
        got_s = (last_s + self._step_s) / self._slow
        # Sound often runs on a little longer than the pictures; that is no damage.
        if want_s - got_s > max(0.5 / self._slow, 0.1 * want_s):
            self.cut_short = (
                f"{self.path.name} ends after {got_s:.1f} s of {want_s:.1f} s: "
                "the file looks cut off. Copy it again."
            )


def read_clip(
    path: str | Path,
    *,
    rotate: int = 0,
    mirrored: bool = False,
    recorded_fps: float | None = None,
) -> Iterator[Frame]:
    """Yield every picture of a clip, as fast as the machine allows. See ``ClipReader``."""
    with ClipReader(path, rotate=rotate, mirrored=mirrored, recorded_fps=recorded_fps) as reader:
        yield from reader


def clip_facts(
    path: str | Path, *, rotate: int = 0, recorded_fps: float | None = None
) -> ClipFacts:
    """Return what a clip says about itself. Raises CameraError like ``ClipReader``."""
    with ClipReader(path, rotate=rotate, recorded_fps=recorded_fps) as reader:
        return reader.facts


class PacedClip(ThreadedSource):
    """A clip shown at its own pace as if by a camera; the newest picture wins.

    ``t_s`` is the clip's time; a picture is let out when its time has come. A consumer that is
    too slow loses pictures, and they are counted as dropped. After the last one: ENDED.
    """

    def __init__(
        self,
        make_reader: Callable[[], ClipReader],
        name: str,
        *,
        patience: Patience | None = None,
        clock: Clock = monotonic_s,
    ) -> None:
        # The reader already turns the pictures upright and RGB.
        super().__init__(name, patience=patience, clock=clock)
        self._make_reader = make_reader
        self._reader: ClipReader | None = None

    def open(self) -> None:
        """Open the clip and start playing it. Raises CameraError when it cannot be played."""
        if self._reader is None:
            self._reader = self._make_reader()
        self._begin(self._run)

    def close(self) -> None:
        """Stop playing and let the file go. Safe to call twice."""
        super().close()
        if self._thread is None and self._reader is not None:
            self._reader.close()

    def _can_stall(self) -> bool:
        return False

    def _run(self) -> None:
        reader = self._reader
        assert reader is not None
        text = ""
        try:
            for frame in reader:
                wait_s = self._start_s + frame.t_s - self._clock()
                if self._stop.wait(max(0.0, wait_s)):
                    return
                self._put(frame.image_rgb, frame.t_s, self._clock())
            text = reader.cut_short
        except Exception as error:
            text = f"{self.name} could not be read any further: {error}. Copy it again."
        finally:
            reader.close()
            self._now(SourceState.ENDED, text)


class SteppedClip:
    """A clip whose every picture is handed out, one each ``get``; nothing is dropped."""

    def __init__(self, make_reader: Callable[[], ClipReader], name: str) -> None:
        self.name = name
        self._make_reader = make_reader
        self._reader: ClipReader | None = None
        self._state = SourceState.STARTING
        self._text = ""
        self._last_t_s = 0.0
        self._given_at_s = monotonic_s()

    def now_s(self) -> float:
        """Return the last picture's time plus the real time since it was handed out."""
        return self._last_t_s + monotonic_s() - self._given_at_s

    def open(self) -> None:
        """Open the clip. Raises CameraError when it cannot be played."""
        self._reader = self._make_reader()

    def get(self, timeout_s: float) -> Frame | None:
        """Return the next picture, or None at the end. ``timeout_s`` is not needed here."""
        del timeout_s
        if self._reader is None or self._state is SourceState.ENDED:
            return None
        frame = self._reader.next_frame()
        self._state = SourceState.RUNNING if frame is not None else SourceState.ENDED
        if frame is None:
            self._text = self._reader.cut_short
        else:
            self._last_t_s, self._given_at_s = frame.t_s, monotonic_s()
        return frame

    def status(self) -> SourceStatus:
        """Return how far the clip is."""
        reader = self._reader
        return SourceStatus(
            state=self._state,
            text=self._text,
            size_wh=None if reader is None else reader.facts.size_wh,
            measured_fps=None,
            dropped=0,
        )

    def close(self) -> None:
        """Let the file go. Safe to call twice."""
        if self._reader is not None:
            self._reader.close()
        self._state = SourceState.ENDED


def _open_file(path: str) -> Capture:
    cv2 = load_cv2()
    capture: Capture = cv2.VideoCapture(path, cv2.CAP_FFMPEG)
    capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
    return capture


def _check_file(path: Path) -> None:
    """Raise CameraError for what is plainly no readable video, before FFmpeg guesses."""
    try:
        if path.is_dir():
            raise CameraError(f"{path} is a folder. {_WANTED} Try naming one file in it.")
        with path.open("rb") as file:
            head = file.read(1024)
    except FileNotFoundError as error:
        raise CameraError(
            f"{path} does not exist. {_WANTED} Try the full path, or check the spelling."
        ) from error
    except PermissionError as error:
        raise CameraError(
            f"{path} may not be read by this user. {_WANTED} Try changing its permissions."
        ) from error
    except (OSError, ValueError) as error:
        raise CameraError(
            f"{path} could not be read: {error}. {_WANTED} Try copying it to this computer."
        ) from error
    if not head:
        raise CameraError(f"{path} is empty. {_WANTED} Try copying or recording it again.")
    # FFmpeg plays a text file as a film of its letters.
    if not any(byte < 9 or 13 < byte < 32 for byte in head):
        raise CameraError(f"{path} is a text file. {_WANTED} Try the name of the clip itself.")
