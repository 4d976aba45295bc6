"""Reads the worn tags beside the pose: finds them in the picture, solves them, adds them to it.

Live, the looking runs in a thread of its own while the pose model works on the same picture, in
the place where the body was in the picture before. What is not done when the pose is there is
left out for that picture, so a tone never waits for a tag. For a clip it is done after the pose,
where the body is now, so that every run gives the same.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.camera_watch import CameraWatch
from trainer.adapters.tag_finder import TagFinder
from trainer.adapters.tag_other import OtherTags
from trainer.adapters.tag_solver import TagSolver
from trainer.core.lens import Lens
from trainer.core.records import Frame, Pose
from trainer.core.setup import scale_cm_per_px
from trainer.core.tag_pose import Hint, TagPose, TagsRead
from trainer.core.tag_seen import Box, TagSeen, Trunk, search_box, trunk_of
from trainer.core.tag_tilt import (
    LEVEL_SE_DEG,
    TOLD_SE_DEG,
    as_seen,
    level_from_camera,
    levelled,
)

#: Given a picture's (width, height): the lens, and words where it is not a calibrated one.
LensOf = Callable[[tuple[int, int]], tuple[Lens, str]]
Hints = Mapping[int, tuple[Hint, ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Job:
    frame: Frame
    box_px: Box | None
    trunk: Trunk | None
    hints: Hints


class TagReader:
    """Reads the tags in one source's pictures. All calls come from the pose thread.

    ``size_m`` is the measured side of the black square. ``tilt_deg`` is how far the camera looks
    down; None: taken as level. ``synchronous``: nothing in a thread.
    """

    def __init__(
        self,
        lens_of: LensOf,
        size_m: float,
        *,
        tilt_deg: float | None = None,
        synchronous: bool = False,
    ) -> None:
        self._level = None if tilt_deg is None else level_from_camera(tilt_deg)
        self._tilt_se_deg = LEVEL_SE_DEG if tilt_deg is None else TOLD_SE_DEG
        self._lens_of, self._size_m = lens_of, size_m
        self._finder, self._watch, self._others = TagFinder(), CameraWatch(), OtherTags()
        self._solver: TagSolver | None = None
        self._solved: tuple[int, int] | None = None  # the picture's size the solver is for
        self._focal_px = 0.0
        self._words = ""
        self._notices: tuple[str, ...] = ()
        self.said: dict[str, None] = {}  #: every notice so far, in order
        self._body: tuple[Box | None, Trunk] | None = None
        self._hints: Hints = {}
        self._news = threading.Condition()
        self._job: _Job | None = None
        self._done: tuple[float, TagsRead] | None = None
        self._failure: BaseException | None = None
        self._closed = False
        self._thread: threading.Thread | None = None
        if not synchronous:
            self._thread = threading.Thread(target=self._work, name="tags", daemon=True)
            self._thread.start()

    def begin(self, frame: Frame, hints: Hints) -> None:
        """Begin to look for tags in ``frame``; at once, unless the last look still goes on.

        ``hints`` is what is known beforehand of each tag's attitude, by number.
        """
        self._hints = hints
        if self._thread is None or self._body is None:
            return
        job = _Job(frame=frame, box_px=self._body[0], trunk=self._body[1], hints=hints)
        with self._news:
            if self._job is None:
                self._job, self._done = job, None
                self._news.notify()

    def take(self, frame: Frame, pose: Pose | None) -> Pose | None:
        """Return ``pose`` of ``frame`` with the tags seen in it, or without any if it came first.

        Raises what the looking raised.
        """
        if self._failure is not None:
            raise self._failure
        if pose is None:
            self._body = None
            return None
        self._body = search_box(pose.image_px, pose.size_wh), self._trunk(pose)
        if self._thread is None:
            job = _Job(frame=frame, box_px=self._body[0], trunk=self._body[1], hints=self._hints)
            return replace(pose, tags=self._read(job))
        with self._news:
            done = self._done
        if done is not None and done[0] == frame.t_s:
            return replace(pose, tags=done[1])
        return replace(pose, tags=self._told(()))

    def notices(self) -> tuple[str, ...]:
        """Return plain words about lens, camera and what is seen."""
        return self._notices

    def close(self) -> None:
        """End the thread. Safe to call twice."""
        with self._news:
            self._closed = True
            self._news.notify()
        if self._thread is not None:
            self._thread.join(timeout=1.0)

    def _trunk(self, pose: Pose) -> Trunk:
        cm_per_px, _ = scale_cm_per_px(pose.image_px, pose.world_m, None)
        return trunk_of(pose.image_px, self._size_m, cm_per_px)

    def _work(self) -> None:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._closed or self._job is not None)
                if self._closed:
                    return
                job = self._job
            if job is None:
                continue
            try:
                read = self._read(job)
            except BaseException as error:  # kept for the pose thread, which ends the run
                self._failure = error
                return
            with self._news:
                self._job, self._done = None, (job.frame.t_s, read)

    def _read(self, job: _Job) -> TagsRead:
        image = job.frame.image_rgb
        size = (int(image.shape[1]), int(image.shape[0]))
        if self._solver is None or size != self._solved:
            lens, self._words = self._lens_of(size)
            self._solver, self._solved = TagSolver(lens, self._size_m), size
            self._focal_px = float(np.sqrt(lens.focal_px[0] * lens.focal_px[1]))
            self._finder.reset()
        thought = {
            number: min(hints, key=lambda hint: hint.se_deg).rotation
            for number, hints in job.hints.items()
            if hints
        }
        seen = self._finder.find(image, job.box_px, trunk=job.trunk, attitudes=thought)
        moved = self._watch.look(job.frame.t_s, image)
        others = self._others.look(job.frame.t_s, image, job.box_px, ours=bool(seen))
        found = [_solved(self._solver, tag, job.hints, self._level) for tag in seen]
        words = (self._words, self._finder.notice(), others, moved)
        self._notices = tuple(text for text in words if text)
        self.said.update(dict.fromkeys(self._notices))
        return self._told(tuple(pose for pose in found if pose is not None))

    def _told(self, poses: tuple[TagPose, ...]) -> TagsRead:
        return TagsRead(focal_px=self._focal_px, poses=poses, tilt_se_deg=self._tilt_se_deg)


def _solved(
    solver: TagSolver, tag: TagSeen, hints: Hints, level: NDArray[np.float64] | None
) -> TagPose | None:
    """Return the tag's pose in level axes.

    None too where its corners leave the equations without an answer.
    """
    known = hints.get(tag.number, ())
    try:
        if level is None:
            return solver.pose(tag, known)
        pose = solver.pose(tag, tuple(as_seen(hint, level) for hint in known))
    except np.linalg.LinAlgError:
        return None
    return None if pose is None else levelled(pose, level)
