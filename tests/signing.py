"""The stick golfer giving a sign by hand."""

from dataclasses import replace

from golfer import SETUP, View, pose_of

from trainer.core.gestures import Sign
from trainer.core.landmarks import Landmark as L

FRONT = View()
#: Hands (left, right) from the shoulders' middle in trunk heights: x to the player's left, y up.
#: Chosen by where a person's hands are; the nose is about half a trunk above the shoulders.
HANDS = {
    Sign.HAND_UP: ((0.3, -1.0), (-0.35, 1.1)),
    Sign.HANDS_OUT: ((1.4, 0.0), (-1.4, 0.05)),
    Sign.ON_HEAD: ((0.25, 0.55), (-0.25, 0.55)),
    Sign.OUT_LOW: ((0.3, -1.0), (-1.3, -0.55)),
    Sign.OUT_LEVEL: ((1.4, 0.1), (-0.3, -1.0)),
}


def signing(sign, t_s=0.0, view=FRONT, mirror=False):
    """Return the stick golfer standing with the hands of a sign."""
    pose = pose_of(SETUP, view, t_s)
    points = pose.image_px.copy()
    middle = (points[L.LEFT_SHOULDER] + points[L.RIGHT_SHOULDER]) / 2
    hips = (points[L.LEFT_HIP] + points[L.RIGHT_HIP]) / 2
    trunk = hips[1] - middle[1]
    places = HANDS[sign]
    if mirror:
        places = tuple((-x, y) for x, y in places[::-1])
    for side, (x, y) in zip(("LEFT", "RIGHT"), places, strict=True):
        points[L[f"{side}_WRIST"]] = middle + [x * trunk, -y * trunk]
        elbow = 0.8 if sign is Sign.ON_HEAD else abs(x) / 2
        out = 1.0 if side == "LEFT" else -1.0
        points[L[f"{side}_ELBOW"]] = middle + [out * elbow * trunk, -y / 2 * trunk]
    return replace(pose, image_px=points)
