"""A rod is searched for only while the placement page is open, and once a second."""

import threading

import numpy as np
import pytest
from placed import placed

from trainer.core.placement_rod import RodLine
from trainer.core.records import Frame, Measures, Phase, Step
from trainer.core.rules import Rules
from trainer.placing import Placing
from trainer.ports import KeyAction
from trainer.rod_watch import SEARCH_S, RodWatch

IMAGE = np.full((720, 1280, 3), 120, np.uint8)
ROD = RodLine(ends_px=np.array([[500.0, 660.0], [800.0, 660.0]]), se_px=0.2)


class Finder:
    def __init__(self):
        self.asked = []

    def __call__(self, image_rgb, points_px, px_per_cm):
        self.asked.append(px_per_cm)
        return ROD


def shown(placing, seconds, start_s=0.0):
    """Let the page take in ten pictures and poses a second."""
    for n in range(round(seconds * 10)):
        t_s = start_s + n / 10
        pose = placed(height_m=0.95, t_s=t_s)
        now = Step(t_s=t_s, pose=pose, measures=Measures(t_s=t_s), phase=Phase.SETUP)
        placing.take_in(Frame(t_s=t_s, index=n, image_rgb=IMAGE), now, 30.0, Rules())


def test_it_is_searched_for_once_a_second_while_the_page_is_open():
    find = Finder()
    placing = Placing(rods=RodWatch(find, wait=True), open_now=True, field_of_view_deg=70.0)
    shown(placing, 4.05)
    assert len(find.asked) == 4
    assert find.asked[0] == pytest.approx(3.0, rel=0.15)  # pixels a centimetre, 3 m from a webcam
    state = placing.guide(Rules()).placement
    assert state.rod_counts
    np.testing.assert_array_equal(state.rod_px, ROD.ends_px)


def test_it_begins_anew_when_the_page_is_opened_again():
    find = Finder()
    placing = Placing(rods=RodWatch(find, wait=True), open_now=True, field_of_view_deg=70.0)
    shown(placing, 2.5)
    assert placing.guide(Rules()).placement.rod_counts
    placing.take(KeyAction.PLACEMENT)
    placing.take(KeyAction.PLACEMENT)
    shown(placing, 0.5, start_s=2.5)
    assert not placing.guide(Rules()).placement.rod_counts


def test_a_search_that_takes_long_holds_nothing_up_and_is_not_doubled():
    begun, go_on = [], threading.Event()

    def slow(image_rgb, points_px, px_per_cm):
        begun.append(1)
        go_on.wait(10)
        return ROD

    rods = RodWatch(slow)
    pose = placed()
    for n in range(5):
        rods.search(n * SEARCH_S, IMAGE, pose, 3.0)
        assert rods.found() is None
    go_on.set()
    rods.forget()
    assert len(begun) <= 1
    assert rods.found() is None
