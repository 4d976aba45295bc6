"""Made-up views for the tests of the screen."""

import numpy as np
import pygame

from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_pen import Pen
from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.landmarks import Landmark as Lm
from trainer.core.records import Measures, Phase, Pose, Step
from trainer.ports import View

PICTURE_WH = (640, 360)


def make_pose(x0=260.0, y0=60.0, x1=380.0, y1=330.0, size_wh=PICTURE_WH):
    """Return a pose whose points fill the box, shoulders and hips in its middle."""
    points = np.empty((LANDMARK_COUNT, 2))
    points[:] = ((x0 + x1) / 2, y0)
    wide, tall = x1 - x0, y1 - y0
    for left, right, share, half in (
        (Lm.LEFT_SHOULDER, Lm.RIGHT_SHOULDER, 0.15, 0.30),
        (Lm.LEFT_HIP, Lm.RIGHT_HIP, 0.50, 0.20),
        (Lm.LEFT_WRIST, Lm.RIGHT_WRIST, 0.48, 0.05),
        (Lm.LEFT_KNEE, Lm.RIGHT_KNEE, 0.75, 0.40),
        (Lm.LEFT_FOOT_INDEX, Lm.RIGHT_FOOT_INDEX, 1.0, 0.50),
    ):
        # The camera sees the player's left on the picture's right.
        points[left] = ((x0 + x1) / 2 + half * wide, y0 + share * tall)
        points[right] = ((x0 + x1) / 2 - half * wide, y0 + share * tall)
    return Pose(
        t_s=1.0,
        size_wh=size_wh,
        image_px=points,
        depth_px=np.zeros(LANDMARK_COUNT),
        world_m=np.zeros((LANDMARK_COUNT, 3)),
        visibility=np.ones(LANDMARK_COUNT),
    )


def make_measures(turn=None, head=None, hips=None, up=None, turn_se=None):
    return Measures(
        t_s=1.0,
        shoulder_turn_deg=turn,
        shoulder_turn_se_deg=turn_se,
        head_lateral_cm=head,
        head_vertical_cm=up,
        hip_lateral_cm=hips,
    )


def make_step(phase=Phase.BACKSWING, measures=None, pose=None, t_s=1.0):
    return Step(t_s=t_s, pose=pose, measures=measures or make_measures(), phase=phase)


def make_image(size_wh=PICTURE_WH, grey=128):
    return np.full((size_wh[1], size_wh[0], 3), grey, dtype=np.uint8)


def make_view(**changes):
    """Return a calm view; ``changes`` replace its fields."""
    fields = {
        "image_rgb": make_image(),
        "step": make_step(),
        "handed_left": False,
        "target_deg": 80.0,
        "turn_band_deg": 5.0,
        "head_tol_cm": 4.0,
        "hip_tol_cm": 4.0,
        "reps": 0,
        "last_rep": None,
        "last_rep_words": (),
        "notices": (),
        "pain": False,
        "muted": False,
        "cue_delay_ms": None,
        "fps": None,
        "dropped": 0,
        "caution": False,
    }
    return View(**{**fields, **changes})


class ListeningPen(Pen):
    """A pen that also keeps what it writes: text, where, ink height, colour."""

    def __init__(self):
        super().__init__()
        self.written = []

    def write(self, surface, text, at_xy, cap_px, colour, *, align=0.0):
        box = super().write(surface, text, at_xy, cap_px, colour, align=align)
        self.written.append((text, box, cap_px, colour))
        return box

    @property
    def words(self):
        return " ".join(text for text, *_ in self.written)


def drawn(view, size_wh=(1280, 720), **how):
    """Return (pixels as (y, x, 3), layout, pen) of a view drawn on a plain surface."""
    surface = pygame.Surface(size_wh, 0, 32)
    pen = ListeningPen()
    layout = draw(surface, view, pen=pen, **how)
    return pygame.surfarray.array3d(surface).transpose(1, 0, 2), layout, pen
