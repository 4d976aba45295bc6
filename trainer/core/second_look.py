"""When to show the pose model the picture mirrored, because it takes a front for a back.

The pose model takes some players who face the camera for people seen from behind, left and right
exchanged, or finds a body upside down or none; in the mirror image of the same picture it often
sees them right. So after a while of such readings the mirrored picture is tried for a moment, and
kept only if a body that faces the camera is seen in it, toes and all. A back is a back in both,
and stays refused. Pure functions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from trainer.core.body_numbers import canonical, sides_swapped
from trainer.core.landmarks import Landmark
from trainer.core.records import Handed, Pose
from trainer.core.setup import front_px

#: Of 20 rendered players taken for backs, or not found, the mirrored picture was right at once
#: for nine. Of 78 pictures from behind it took one for a front, but the toes told.
WRONG_S: Final = 0.1  #: so long of wrong readings, and the other picture is tried
#: Nobody found counts less: a player goes, or is hidden by a passer-by for a moment.
NOBODY_SHARE: Final = 1 / 3
#: A right reading takes off this share of its time only: sides that come and go are wrong too.
RIGHT_SHARE: Final = 0.1
TRIAL_S: Final = 0.5
#: The first pictures of a trial are of a tracker that is looking for its player.
SETTLING_S: Final = 0.25
KEPT_SHARE: Final = 0.75  #: of the rest must face the camera
#: After a trial in vain the next waits this long, then twice as long each time.
AGAIN_S: Final = 3.0
LONGEST_WAIT_S: Final = 60.0
#: Shoulders over trunk of a body that faces the camera, and of one taken for a back.
FRONT: Final = 0.35
BROADEST: Final = 1.5
#: Toes of who faces the camera are seen below the heels, by this share of the shin or more: 0.12
#: to 0.27 of 104 rendered readings, 5th to 95th in a hundred. Of backs that were taken for fronts
#: it was 0.01 to 0.11.
TOES: Final = 0.12
_LONGEST_STEP_S: Final = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondLook:
    """Which picture the tracker is shown, and why. ``SecondLook()`` is a fresh start."""

    mirrored: bool = False
    t_s: float | None = None  #: of the last reading
    wrong_s: float = 0.0  #: how long readings have been wrong
    trial_s: float | None = None  #: since when the other picture is being tried
    seen: int = 0  #: pictures of this trial
    facing: int = 0  #: of them with a body that faces the camera
    wait_s: float = AGAIN_S
    not_before_s: float = float("-inf")


def after(
    look: SecondLook, t_s: float, pose: Pose | None, *, believed: bool, locked: bool = False
) -> SecondLook:
    """Take in the reading of ``t_s`` and return what to show the tracker next.

    ``pose`` is as the picture truly is, mirrored back. ``believed``: it is a plausible body.
    Nothing is tried while ``locked``: the player swings.
    """
    step_s = 0.0 if look.t_s is None else min(max(t_s - look.t_s, 0.0), _LONGEST_STEP_S)
    look = replace(look, t_s=t_s)
    if look.trial_s is not None:
        return _tried(look, t_s, pose, believed=believed)
    share = shoulder_share(pose) if pose is not None and believed else 0.0
    if pose is None or not believed:
        wrong_s = look.wrong_s + NOBODY_SHARE * step_s
    elif share < -FRONT:
        wrong_s = look.wrong_s + step_s
    elif share > FRONT:
        wrong_s = max(look.wrong_s - RIGHT_SHARE * step_s, 0.0)
    else:  # from the side, or turned far: neither
        wrong_s = look.wrong_s
    look = replace(look, wrong_s=min(wrong_s, WRONG_S))
    if wrong_s < WRONG_S or locked or t_s < look.not_before_s:
        return look
    return replace(look, mirrored=not look.mirrored, trial_s=t_s, seen=0, facing=0, wrong_s=0.0)


def _tried(look: SecondLook, t_s: float, pose: Pose | None, *, believed: bool) -> SecondLook:
    since_s = t_s - (t_s if look.trial_s is None else look.trial_s)
    if since_s > SETTLING_S:
        facing = pose is not None and believed and faces_camera(pose)
        look = replace(look, seen=look.seen + 1, facing=look.facing + facing)
    if since_s < TRIAL_S or look.seen == 0:
        return look
    if look.facing >= KEPT_SHARE * look.seen:
        return replace(look, trial_s=None, wait_s=AGAIN_S)
    return replace(
        look,
        mirrored=not look.mirrored,
        trial_s=None,
        wait_s=min(2 * look.wait_s, LONGEST_WAIT_S),
        not_before_s=t_s + look.wait_s,
    )


def shoulder_share(pose: Pose) -> float:
    """Return the shoulders' width over the trunk's height; negative for a body seen from behind."""
    width, torso = front_px(pose.image_px)
    return width / torso if torso > 0 else -1.0


def faces_camera(pose: Pose) -> bool:
    """Tell whether shoulders and toes are those of somebody who faces the camera."""
    if not FRONT < shoulder_share(pose) < BROADEST:
        return False
    points = pose.image_px
    below, shins = 0.0, 0.0
    for side in ("LEFT", "RIGHT"):
        heel, toe = points[Landmark[f"{side}_HEEL"]], points[Landmark[f"{side}_FOOT_INDEX"]]
        shin = points[Landmark[f"{side}_ANKLE"]] - points[Landmark[f"{side}_KNEE"]]
        below += float(toe[1] - heel[1])
        shins += float(np.hypot(*shin))
    return below > TOES * shins


def mirrored_back(pose: Pose) -> Pose:
    """Return the pose read from a mirrored picture as of the picture itself."""
    return replace(
        pose,
        image_px=canonical(pose.image_px, Handed.LEFT, pose.size_wh[0] / 2),
        depth_px=sides_swapped(pose.depth_px),
        world_m=canonical(pose.world_m, Handed.LEFT),
        visibility=sides_swapped(pose.visibility),
    )
