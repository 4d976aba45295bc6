"""MediaPipe's PoseLandmarker as the app's pose estimator, keeping to one player.

The tracker follows one person in VIDEO mode; its own smoothing is on there and adds 10 to 20 ms
to slow movement and 0 to 5 ms to fast hands (docs/accuracy.md). A second landmarker looks at
everybody about once a second; while others are about, the tracker is shown only the part of the
picture round the player, so that it cannot leave with a passer-by. Every pose is judged by
``core.plausible`` before it is handed on.

MediaPipe is imported when the estimator is made, not with this module. Each landmarker runs its
native calls in a thread of its own, so the two do not wait for each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.hand_motion import HandMotion
from trainer.adapters.mediapipe_load import load_vision
from trainer.adapters.outline import outline_of
from trainer.adapters.people_watch import MOST_PEOPLE, PeopleWatch
from trainer.adapters.picture_memory import PictureMemory, image_of
from trainer.adapters.quiet import Hush, quiet_stderr
from trainer.adapters.trunk_picture import TrunkReader
from trainer.core import following, plausible, second_look
from trainer.core.plausible import Box
from trainer.core.records import Frame, Handed, Pose
from trainer.core.trunk_network import Network
from trainer.errors import PoseError

_BLANK: Final = 127  # mid grey: no edge to speak of for the networks to hold on to
_RESTART_MS: Final = 1000
_OTHER: Final = "somebody else"
_FINISH_S: Final = 4.0
_LOST_S: Final = 1.5  # with nobody tracked so long, the picture is shown whole again


class MediapipePose:
    """Finds the player in each frame. All calls come from the pose thread.

    ``synchronous=True`` does the looks at everybody inline, on a schedule of the frames' own
    times, so that a clip gives the same poses in every run. ``rules`` limit what is believed.
    With ``trunk`` the trunk's picture is read too. That, the silhouette and the picture's motion
    round the hands cost about 6 ms a picture and are kept on a slow machine too: readings of few
    pictures are nearer than those of a few more from the points alone. Where the player is taken
    for a back, the mirrored picture is tried (``core.second_look``). Pictures that lie in
    ``memory`` are read where they are, others are copied.
    Raises PoseError when MediaPipe or the model cannot be loaded.
    """

    def __init__(
        self,
        model: Path,
        *,
        synchronous: bool = False,
        rules: plausible.Rules | None = None,
        trunk: Network | None = None,
        memory: PictureMemory | None = None,
    ) -> None:
        self._rules = rules or plausible.Rules()
        #: why the newest pose was not handed on; None when it was, or nobody was seen
        self.doubt: str | None = None
        # The networks' last words come with the first person found, not with the first picture.
        self._hush, self._watch_hush = Hush(), Hush()
        self._last_ms = 0
        self._tracker: Any = None
        self._watcher: Any = None
        self._hands = HandMotion()
        self._handed: Handed | None = None  # None: not told, so read for both
        self._trunk = None if trunk is None else TrunkReader(trunk)
        with _loading(model), quiet_stderr():
            self._to_image = _image_maker()
            memory = memory or PictureMemory()
            self._screen = _Screen(memory)
            self._tracker = _open(model, video=True, most=1, masks=True)
            self._watcher = _open(model, video=False, most=MOST_PEOPLE)
            self._warm_up()
        memory.open(self._to_image)
        self._watch: PeopleWatch | None = PeopleWatch(self._look, synchronous=synchronous)
        self._know = _Known()

    def estimate(self, frame: Frame) -> Pose | None:
        """Return the player's pose with ``frame.t_s`` kept, or None when nobody plausible is seen.

        Raises PoseError if the model fails; an empty room is not a failure.
        """
        if self._tracker is None or self._watch is None:
            raise PoseError(
                "the pose model is closed; an open one was wanted. Start the program again."
            )
        height, width = frame.image_rgb.shape[:2]
        size = (width, height)
        if size != self._know.size_wh or frame.t_s <= self._know.last_t_s:
            self._know = _Known(size_wh=size)  # another source, or a clip that began again
        know = self._know
        know.last_t_s = frame.t_s
        self.doubt = None
        try:
            found = self._track(frame, self._watch, know)
            pose = self._read(frame, found)
        except Exception as error:  # the native side raises what it likes
            raise PoseError(
                f"the pose model failed on a picture of {width} x {height} ({error}); a pose or "
                "nobody was wanted. Start again; if it stays so, try another model with --model."
            ) from error
        if pose is None:
            know.look_again(frame.t_s, None, None)
            know.note_nobody(frame.t_s)
            return None
        self._hush.lift()
        self.doubt = know.doubt_about(pose, self._rules)
        know.look_again(frame.t_s, pose, self.doubt)
        return pose if self.doubt is None else None

    def hold(self, locked: bool) -> None:
        """Follow nobody else while ``locked``: the player is in a swing."""
        self._know.locked = locked

    def swings(self, handed: Handed) -> None:
        """Read the trunk's picture from now on for a player who swings so, and only so."""
        self._handed = handed

    def notice(self) -> str:
        """Return plain words about who is followed, or an empty string."""
        return following.notice(self._know.following, self._know.size_wh)

    def close(self) -> None:
        """Free the model. Safe to call twice."""
        watch, self._watch = self._watch, None
        if watch is not None and not watch.close():
            self._watcher = None  # stuck in a native call: freeing it now would crash
        with quiet_stderr():
            for landmarker in (self._tracker, self._watcher):
                if landmarker is not None:
                    landmarker.close()
        self._tracker = self._watcher = None

    def _track(self, frame: Frame, watch: PeopleWatch, know: _Known) -> Any:  # noqa: ANN401 -- a PoseLandmarkerResult
        """Give the frame to the watch when it is time to, and to the tracker."""
        whole: Any = None
        if following.wants_look(know.following, frame.t_s):
            # A copy of its own: the watch looks in its own time, and the picture may be gone.
            whole = self._to_image(frame.image_rgb)
            if watch.offer(whole, frame.t_s):
                know.following = following.looked(know.following, frame.t_s)
        look = watch.take()
        if look is not None:
            know.note_look(*look)
        know.box = following.visible_box(know.following, know.size_wh)
        picture = frame.image_rgb
        if know.box is not None:
            picture = self._screen.blanked(picture, know.box)
        if know.second.mirrored:
            shown = self._to_image(picture[:, ::-1])
        else:
            kept = whole if picture is frame.image_rgb else None
            shown = image_of(picture) or kept or self._to_image(picture)
        if know.offset_ms is None:
            know.offset_ms = self._last_ms + _RESTART_MS - round(frame.t_s * 1000)
        # The tracker's clock must always grow, whatever the frames' clock does.
        self._last_ms = max(round(frame.t_s * 1000) + know.offset_ms, self._last_ms + 1)
        with self._hush:
            return self._tracker.detect_for_video(shown, self._last_ms)

    def _read(self, frame: Frame, found: Any) -> Pose | None:  # noqa: ANN401 -- a PoseLandmarkerResult
        """Return the pose found, with outline and trunk where the model gives a silhouette."""
        if not found.pose_landmarks:
            return None
        height, width = frame.image_rgb.shape[:2]
        pose = pose_from_landmarks(
            frame.t_s, (width, height), found.pose_landmarks[0], found.pose_world_landmarks[0]
        )
        is_mirrored = self._know.second.mirrored
        if is_mirrored:
            pose = second_look.mirrored_back(pose)
        outline = said = None
        motion = self._hands.read(frame, pose.image_px)
        if found.segmentation_masks:
            mask = found.segmentation_masks[0].numpy_view().reshape(height, width)
            if is_mirrored:
                mask = np.ascontiguousarray(mask[:, ::-1])
            outline = outline_of(mask)
            if self._trunk is not None:
                said = self._trunk.read(frame.image_rgb, mask, pose.image_px, self._handed)
        return replace(pose, hand_motion=motion, outline=outline, trunk_deg=said)

    def _look(self, image: Any) -> list[NDArray[np.float64]]:  # noqa: ANN401 -- the library's
        """Return everybody in the picture. Called from the watch's thread."""
        size = np.array([image.width, image.height], dtype=np.float64)
        with self._watch_hush:
            found = self._watcher.detect(image).pose_landmarks
        if found:
            self._watch_hush.lift()
        return [np.array([(p.x, p.y) for p in points]) * size for points in found]

    def _warm_up(self) -> None:
        """Run both landmarkers once, so that the first frame is as quick as the rest."""
        blank = self._to_image(np.zeros((64, 64, 3), dtype=np.uint8))
        self._tracker.detect_for_video(blank, self._last_ms)
        self._watcher.detect(blank)


@dataclass(slots=True, kw_only=True)
class _Known:
    """What the frames of one source have shown so far."""

    size_wh: tuple[int, int] = (0, 0)
    last_t_s: float = float("-inf")
    believed_t_s: float = float("-inf")  # of the last plausible pose
    offset_ms: int | None = None  # from the frames' clock to the tracker's
    locked: bool = False  # the player is in a swing
    swung_s: float = float("-inf")  # when the last swing was last under way
    box: Box | None = None  # what the tracker was shown
    trust: plausible.Trust = field(default_factory=plausible.Trust)
    following: following.Following = field(default_factory=following.Following)
    second: second_look.SecondLook = field(default_factory=second_look.SecondLook)

    def doubt_about(self, pose: Pose, rules: plausible.Rules) -> str | None:
        """Take the tracked pose in; return why it is not to be handed on, or None."""
        self.trust, doubt = plausible.judge(self.trust, pose, rules, bounds=self.box)
        if doubt is not None:
            self.note_nobody(pose.t_s)
            return doubt
        self.believed_t_s = pose.t_s
        seen = following.person(pose.image_px)
        self.following = following.see_pose(self.following, seen, pose.t_s)
        others_about = self.following.crowd_t_s is not None
        return _OTHER if self.following.astray and others_about else None

    def look_again(self, t_s: float, pose: Pose | None, doubt: str | None) -> None:
        """Find out whether the player is better seen in the mirrored picture."""
        is_cut_off = doubt is not None and doubt.endswith(plausible.OUTSIDE)
        if (pose is None or is_cut_off) and self.following.home is None:
            return  # an empty room, or half a person: no other picture shows more
        believed = pose is not None and doubt in (None, _OTHER)
        if self.locked:
            self.swung_s = t_s
        # In a finish the chest looks past the target, and the back at the camera.
        locked = t_s - self.swung_s < _FINISH_S
        self.second = second_look.after(self.second, t_s, pose, believed=believed, locked=locked)

    def note_nobody(self, t_s: float) -> None:
        """Let the player go when nobody has been tracked for a while."""
        if t_s - self.believed_t_s > _LOST_S and self.following.home is not None:
            # Who comes next is seen as the picture is.
            if self.second.trial_s is None and self.second.mirrored:
                self.second = second_look.SecondLook()
            self.following = following.Following(looked_s=self.following.looked_s)

    def note_look(self, t_s: float, people: list[NDArray[np.float64]]) -> None:
        """Take in everybody seen in the picture of ``t_s``."""
        if t_s <= self.last_t_s:  # else it was begun before the clip began again
            seen = [following.person(points) for points in people]
            self.following = following.see_people(
                self.following, seen, t_s, self.size_wh, locked=self.locked
            )


def pose_from_landmarks(
    t_s: float,
    size_wh: tuple[int, int],
    points: list[Any],
    world: list[Any],
) -> Pose:
    """Return our record of MediaPipe's landmarks.

    MediaPipe gives x and y in picture widths and heights and z "roughly" in picture widths
    (PoseLandmarker documentation); here all are in pixels.
    """
    width, height = size_wh
    rows: list[float] = []
    for p, w in zip(points, world, strict=True):
        rows += (p.x, p.y, p.z, p.visibility or 0.0, w.x, w.y, w.z)
    flat = np.array(rows, dtype=np.float64).reshape(-1, 7)
    return Pose(
        t_s=t_s,
        size_wh=size_wh,
        image_px=flat[:, :2] * (width, height),
        depth_px=flat[:, 2] * width,
        world_m=flat[:, 4:],
        visibility=flat[:, 3],
    )


class _Screen:
    """Hides what is outside a box, in a picture of its own that is used again and again."""

    def __init__(self, memory: PictureMemory) -> None:
        self._memory = memory
        self._shown: NDArray[np.uint8] | None = None
        self._edges: tuple[int, ...] = ()

    def blanked(self, image_rgb: NDArray[np.uint8], box: Box) -> NDArray[np.uint8]:
        """Return the picture with everything outside ``box`` grey; good until the next call."""
        edges = tuple(round(edge) for edge in box)
        if self._shown is None or self._shown.shape != image_rgb.shape or edges != self._edges:
            shown = self._memory.lend(*image_rgb.shape[:2])
            self._shown = np.empty_like(image_rgb) if shown is None else shown
            self._shown[:] = _BLANK
            self._edges = edges
        left, top, right, bottom = edges
        window = (slice(top, bottom + 1), slice(left, right + 1))
        self._shown[window] = image_rgb[window]
        return self._shown


@contextmanager
def _loading(model: Path) -> Iterator[None]:
    """Turn whatever goes wrong while the model is loaded into a PoseError."""
    try:
        yield
    except ImportError as error:
        raise PoseError(
            f"mediapipe could not be loaded ({error}); version 1.2 or later in the 1 series was "
            "wanted. Install this program again so that its packages fit."
        ) from error
    except (RuntimeError, ValueError, OSError) as error:
        raise PoseError(
            f"the pose model {model} could not be loaded ({error}); a PoseLandmarker .task file "
            "was wanted. Leave --model out to use the standard model."
        ) from error


def _image_maker() -> Callable[[NDArray[np.uint8]], Any]:
    load_vision()
    from mediapipe.tasks.python.vision.core.image import Image, ImageFormat

    def to_image(image_rgb: NDArray[np.uint8]) -> Any:  # noqa: ANN401 -- the library's picture
        return Image(ImageFormat.SRGB, np.ascontiguousarray(image_rgb))

    return to_image


def _open(model: Path, *, video: bool, most: int, masks: bool = False) -> Any:  # noqa: ANN401 -- a PoseLandmarker
    vision = load_vision()
    from mediapipe.tasks.python.core.base_options import BaseOptions

    mode = vision.RunningMode.VIDEO if video else vision.RunningMode.IMAGE
    options = vision.PoseLandmarkerOptions(
        base_options=BaseOptions(model_asset_path=str(model), delegate=BaseOptions.Delegate.CPU),
        running_mode=mode,
        num_poses=most,
        output_segmentation_masks=masks,
    )
    return vision.PoseLandmarker.create_from_options(options)
