"""Setups of hands that hide each other, so that the pose model puts a wrist here and there."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import Script, View, poses, rep_script

from trainer.core.geometry import middle
from trainer.core.landmarks import Landmark as L
from trainer.core.measures import LOST_HAND_SE
from trainer.core.rules import Rules
from trainer.core.setup import StillWindow, _flickers, push, reference_from
from trainer.engine import Engine

VIEW, RULES = View(), Rules()


def found_with(pairs, *, flickering=True):
    """Return the last reference of these pictures; None if the last window gives none."""
    window = StillWindow()
    for t_s, pose in pairs:
        window = push(window, pose, t_s, RULES.setup)
    return reference_from(window, RULES, flickering=flickering)


def with_wrists(pairs, **offsets_px):
    """Return the pictures with each named wrist, hand and all, moved by its row of (T, 2)."""
    moved = []
    for row, (t_s, pose) in enumerate(pairs):
        points = pose.image_px.copy()
        for name, offset in offsets_px.items():
            first = L[f"{name}_WRIST"]
            points[first : L.RIGHT_THUMB + 1 : 2] += offset[row]
        moved.append((t_s, replace(pose, image_px=points)))
    return moved


def chance(count, size_px, seed=0):
    return np.random.default_rng(seed).normal(0.0, size_px, (count, 2))


def test_the_steps_of_chance_about_one_place_undo_one_another_and_those_of_a_move_do_not():
    # The lag-one autocorrelation of a differenced white noise is -0.5: a moving average of order
    # one with coefficient -1 (Box, Jenkins & Reinsel, Time Series Analysis; from memory).
    steps = np.diff(chance(4000, 3.0), axis=0)
    assert np.sum(steps[1:] * steps[:-1]) / np.sum(steps**2) == pytest.approx(-0.5, abs=0.03)
    assert _flickers(chance(20, 3.0))
    t_s = np.arange(20) / 30
    for hz in (0.3, 1.0, 2.0):  # a slow reach, a waggle and a quick shake
        track = 8.0 * np.column_stack([np.sin(2 * np.pi * hz * t_s), np.cos(2 * np.pi * hz * t_s)])
        assert not _flickers(track + chance(20, 0.3))
    assert not _flickers(np.zeros((20, 2)))


@pytest.mark.parametrize("name", ["LEFT", "RIGHT"])
def test_one_steady_hand_is_enough_when_the_other_flickers(name):
    pairs = poses(Script().hold(1.2), VIEW)
    beside = np.array([60.0, 0.0]) * (1 if name == "LEFT" else -1)
    flicker = with_wrists(pairs, **{name: beside + chance(len(pairs), 25.0)})
    found = found_with(flicker)
    assert found is not None
    assert found.lost == (0 if name == "LEFT" else 1)
    assert found_with(flicker, flickering=False) is None
    # The lost hand is taken to be where the other is, on the club.
    wrists = found.image_px[[L.LEFT_WRIST, L.RIGHT_WRIST]]
    cm = np.linalg.norm(wrists[0] - wrists[1]) * found.cm_per_px
    assert cm < 12.0


def test_hands_that_both_flicker_about_one_place_are_still():
    pairs = poses(Script().hold(1.2), VIEW)
    both = chance(len(pairs), 9.0, seed=1)
    flicker = with_wrists(pairs, LEFT=both, RIGHT=both)
    assert found_with(flicker, flickering=False) is None
    found = found_with(flicker)
    assert found is not None
    assert found.lost is None
    assert np.linalg.norm(found.hand_px - middle(pairs[0][1].image_px, "wrist")) < 9.0


@pytest.mark.parametrize("hz", [10, 15, 30, 60])
@pytest.mark.parametrize("noise_px", [0.0, 0.7, 1.5])
def test_a_hand_that_moves_beside_a_steady_one_is_no_flicker(hz, noise_px):
    """A glove pulled on, a pocket felt for, a cap set right, by one hand."""
    view = View(hz=hz, noise_px=noise_px)
    pairs = poses(Script().hold(1.2), view)
    t_s = np.array([t for t, _ in pairs])
    pull = np.column_stack([20 * np.sin(2 * np.pi * 1.5 * t_s), 12 * np.cos(2 * np.pi * 1.5 * t_s)])
    reach = np.outer(60.0 * t_s, [1.0, -1.0])
    for way in (pull, reach):
        assert found_with(with_wrists(pairs, RIGHT=way)) is None


@pytest.mark.parametrize("speed_px_s", [15.0, 25.0, 40.0])
def test_hands_that_creep_below_the_noise_are_not_still_for_it(speed_px_s):
    view = View(hz=30, noise_px=1.0)
    pairs = poses(Script().hold(1.2), view)
    creep = np.outer([t for t, _ in pairs], [speed_px_s, 0.0])
    still = found_with(with_wrists(pairs, LEFT=creep, RIGHT=creep), flickering=False)
    flickering = found_with(with_wrists(pairs, LEFT=creep, RIGHT=creep))
    assert (flickering is None) is (still is None)


def told_live(pairs):
    """Return the rep of these pictures as the mirror tells it, by the estimator that ships."""
    engine = Engine(Rules())
    steps = [engine.feed(t_s, pose)[1] for t_s, pose in pairs]
    (rep,) = [step.rep for step in steps if step.rep is not None]
    return rep


def test_a_rep_in_which_a_hand_is_lost_is_told_with_larger_errors():
    script, (takeaway_s, _, _) = rep_script(back_s=2.0, hold_s=0.3, down_s=0.6, still_s=1.5)
    pairs = poses(script, View())
    lost = []
    for t_s, pose in pairs:
        points = pose.image_px.copy()
        if takeaway_s + 0.3 < t_s < takeaway_s + 0.8:
            points[L.LEFT_WRIST :: 2][:4] += [140.0, -140.0]
        lost.append((t_s, replace(pose, image_px=points)))
    plain, told = told_live(pairs), told_live(lost)
    for name in ("shoulder_turn_se_deg", "head_lateral_se_cm"):
        ratio = getattr(told.at_top, name) / getattr(plain.at_top, name)
        assert ratio == pytest.approx(LOST_HAND_SE, rel=0.15)
