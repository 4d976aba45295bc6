"""The pages of the first run and of the placement guide, for the photographs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.floor_rod import find_rod
from trainer.adapters.made_up_room import picture_of
from trainer.core.landmarks import Landmark
from trainer.core.placement import Asked, Check, Finding, Look, PlacementState, Stage, step
from trainer.core.placement_rod import RodSeen
from trainer.core.placement_words import STAGES, finding_words
from trainer.core.records import Handed, Pose
from trainer.first_run import Answers, FirstRun
from trainer.first_words import PLACEMENT_FOOT
from trainer.pages.player import ADDRESS, SIZE_WH, pose_of
from trainer.pages.practice import Practice
from trainer.ports import Guide, GuidePage, KeyAction, View

ASKED: Final = Asked(stature_cm=175.0, field_of_view_deg=70.0)


class _Cameras:
    """Two cameras, one of which shows the made-up room."""

    def __init__(self) -> None:
        self.names = ("camera 0", "1: wide")
        self.chosen, self.searched, self.trouble, self.source = 0, True, "", "0"
        self.image_rgb = picture_of(pose_of(ADDRESS, 0.0), SIZE_WH, True)


def asked(page: GuidePage, typed: str = "") -> View:
    """Return a page of the first run, with that typed into it."""
    cameras: Any = _Cameras()
    first = FirstRun(Answers(), cameras)
    while first.page is not page:
        first.take(KeyAction.GUIDE_ON)
    first.type(typed)
    return first.view()


def guided(finding: Finding | None = None, *, rod: bool = False) -> View:
    """Return the placement page after a look at the made-up player: right, or with a finding.

    With ``rod`` one lies along the target line.
    """
    state = PlacementState()
    pose = pose_of(ADDRESS, 0.0)
    image = picture_of(pose, SIZE_WH, True)
    if rod:
        _lay_rod(image, pose)
    for n in range(30):
        seen = None
        if rod and n % 10 == 5:
            found, _ = find_rod(image, pose.image_px, state.px_per_cm or 1.0)
            seen = RodSeen(t_s=n / 10, rod=found)
        look = Look(t_s=n / 10, pose=pose, image_rgb=image, fps=30.0, rod=seen)
        state = step(state, look, ASKED)
    if finding is not None:
        state = state.with_finding(finding)
    if state.stage is Stage.OFF and state.finding is not None:
        title, line = finding_words(state.finding, Handed.RIGHT)
    else:
        title, line = STAGES[state.stage]
    page = Guide(
        page=GuidePage.PLACEMENT,
        title=title,
        lines=(line,),
        foot=PLACEMENT_FOOT,
        placement=state,
    )
    view = Practice().stand(0.3).view(guide=page)
    return replace(view, image_rgb=image) if rod else view


def _lay_rod(image: NDArray[np.uint8], pose: Pose) -> None:
    """Paint a rod before the toes, as a camera square to it sees one."""
    toes = pose.image_px[[Landmark.LEFT_FOOT_INDEX, Landmark.RIGHT_FOOT_INDEX]]
    row, middle = round(float(toes[:, 1].max())) + 14, round(float(toes[:, 0].mean()))
    image[row : row + 4, middle - 150 : middle + 170] = (0xE8, 0x6A, 0x2A)


def _shown(check: Check, **how: Any) -> Callable[[], View]:  # noqa: ANN401
    return lambda: guided(Finding(check=check, **how))


FIRST: Final[dict[str, Callable[[], View]]] = {
    "first-camera": lambda: asked(GuidePage.CAMERA),
    "first-hand": lambda: asked(GuidePage.HAND),
    "first-stature": lambda: asked(GuidePage.STATURE, "5 ft 9"),
    "first-driver": lambda: asked(GuidePage.DRIVER, "45 in"),
    "placement-near": _shown(Check.NEAR, badness=1.3, amount=0.6),
    "placement-hands": _shown(Check.HANDS, badness=0.1, value=-1.0, aside=True),
    "placement-leans": _shown(Check.ROLL, badness=5.0, value=5.0),
    "placement-square": _shown(Check.YAW, badness=12.0, value=12.0, amount=0.6),
    "placement-rod": lambda: guided(rod=True),
    "placement-backlit": _shown(Check.BACKLIT, badness=3.0),
    "placement-ready": guided,
}
