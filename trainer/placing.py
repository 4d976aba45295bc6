"""The placement guide over the mirror: what is looked at while its page is open, and its words."""

from __future__ import annotations

from collections import OrderedDict
from typing import Final

from trainer import lenses
from trainer.core.lens import Lens
from trainer.core.placement import LOOK_S, Asked, Look, PlacementState, Stage, step
from trainer.core.placement_words import STAGES, finding_words
from trainer.core.records import Frame, Step
from trainer.core.rules import Rules
from trainer.first_words import PLACEMENT_FOOT
from trainer.ports import FrameSource, Guide, GuidePage, KeyAction
from trainer.rod_watch import RodWatch
from trainer.shared import Shared

#: So many pictures are kept until the pose of one of them comes.
MOST_FRAMES: Final = 6


class Placing:
    """The page's state. Used from the main thread; does nothing while the page is not open."""

    def __init__(
        self,
        *,
        driver_cm: float | None = None,
        field_of_view_deg: float | None = None,
        open_now: bool = False,
        first_run: bool = False,
        rods: RodWatch | None = None,
    ) -> None:
        """``first_run``: the caller can go through the first run once more."""
        self._driver_cm, self._view_deg = driver_cm, field_of_view_deg
        self.open = open_now
        self._first_run = first_run
        self.first_run_asked = False  #: the mirror is to end, for the first run to begin
        self._state = PlacementState()
        self._frames: OrderedDict[float, Frame] = OrderedDict()
        self._looked_s = float("-inf")
        self._rods = RodWatch() if rods is None else rods
        self._lenses: dict[tuple[str, tuple[int, int]], Lens | None] = {}

    def take(self, action: KeyAction) -> bool:
        """Do what ``action`` asks for; return False for one that is none of the page's."""
        if action is KeyAction.FIRST_RUN and self._first_run:
            self.first_run_asked = True
            return True
        if action is KeyAction.PLACEMENT:
            self.open = not self.open
        elif self.open and action in (KeyAction.GUIDE_ON, KeyAction.GUIDE_LEAVE):
            self.open = False
        else:
            return False
        if not self.open:  # the camera may be moved meanwhile: nothing of it holds later
            self._state, self._looked_s = PlacementState(), float("-inf")
            self._frames.clear()
            self._rods.forget()
        return True

    def look(self, shared: Shared, source: FrameSource) -> None:
        """Take in what the pose thread left, at most every ``LOOK_S``, while the page is open.

        It is done here, in the window's thread, so that no pose and no tone ever waits for it.
        """
        if not self.open:
            return
        rates = (source.status().measured_fps, shared.poses_per_second())
        fps = min((rate for rate in rates if rate is not None), default=None)
        if shared.keeper is not None and shared.keeper.record.driver_cm is not None:
            self._driver_cm = shared.keeper.record.driver_cm  # of whose turn it is
        self.take_in(shared.frame, shared.step, fps, shared.rules, camera=source.name)

    def take_in(
        self,
        frame: Frame | None,
        now: Step | None,
        fps: float | None,
        rules: Rules,
        *,
        camera: str = "",
    ) -> None:
        """Take in the newest picture and the newest step; ``fps`` pictures or poses a second.

        ``camera`` is the name its lens is kept under, where it was calibrated.
        """
        if frame is None:
            return
        self._frames[frame.t_s] = frame
        while len(self._frames) > MOST_FRAMES:
            self._frames.popitem(last=False)
        if now is None or not (now.t_s - self._looked_s >= LOOK_S or now.t_s < self._looked_s):
            return
        of_pose = self._frames.get(now.t_s)
        if now.pose is None:
            of_pose = frame
        if now.t_s < self._looked_s:  # another source, another clock
            self._state = PlacementState()
            self._rods.forget()
        self._looked_s = now.t_s
        look = Look(
            t_s=now.t_s,
            pose=now.pose,
            image_rgb=None if of_pose is None else of_pose.image_rgb,
            fps=fps,
            rod=self._rods.found(),
        )
        asked = Asked(
            handed=rules.handed,
            stature_cm=rules.stature_cm,
            driver_cm=self._driver_cm,
            field_of_view_deg=self._view_deg,
            lens=None if now.pose is None else self._lens_of(camera, now.pose.size_wh),
        )
        self._state = step(self._state, look, asked)
        scale = self._state.px_per_cm
        if scale is not None and now.pose is not None and look.image_rgb is not None:
            self._rods.search(now.t_s, look.image_rgb, now.pose, scale)

    def _lens_of(self, camera: str, size_wh: tuple[int, int]) -> Lens | None:
        """Return the calibrated lens; its file is read once."""
        key = (camera, size_wh)
        if key not in self._lenses:
            self._lenses[key] = lenses.find(camera, size_wh)[0] if camera else None
        return self._lenses[key]

    def guide(self, rules: Rules) -> Guide | None:
        """Return the page to be shown over the mirror; None while it is closed."""
        if not self.open:
            return None
        state = self._state
        if state.stage is Stage.OFF and state.finding is not None:
            title, line = finding_words(state.finding, rules.handed)
        else:
            title, line = STAGES[state.stage]
        return Guide(
            page=GuidePage.PLACEMENT,
            title=title,
            lines=(line,),
            foot=PLACEMENT_FOOT,
            placement=state,
        )
