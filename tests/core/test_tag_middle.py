"""Where the middle of the hip joints lies behind the belt's cards."""

from dataclasses import replace

import numpy as np
import pytest
from tag_pictures import turned

from trainer.core.records import Handed
from trainer.core.tag_axes import axes_of
from trainer.core.tag_middle import hip_middles, middle_of
from trainer.core.tag_mount import begun


def mount(place_m, place_se_m=0.0):
    one = begun(turned(0, 0, 0), np.array(place_m), np.eye(3) * 1e-4)
    return replace(one, place_var_m2=place_se_m**2 + 1e-9, at_setup=True)


def test_the_hips_lie_behind_the_front_card_and_away_from_the_side_one():
    right = hip_middles(axes_of(Handed.RIGHT), 175.0)
    # A right-hander's lead side is at the picture's right, +x; away from the camera is +z.
    assert right[10].from_tag_m[2] > 0.15
    assert right[11].from_tag_m[0] < -0.15
    left = hip_middles(axes_of(Handed.LEFT), 175.0)
    assert left[11].from_tag_m == pytest.approx(right[11].from_tag_m * [-1, 1, 1])


def test_a_taller_player_is_deeper_and_an_unknown_stature_less_sure():
    axes = axes_of(Handed.RIGHT)
    small, tall = (hip_middles(axes, cm)[10] for cm in (150.0, 190.0))
    assert tall.from_tag_m[2] / small.from_tag_m[2] == pytest.approx(190 / 150)
    unknown = hip_middles(axes, None)[10]
    assert unknown.spread[2, 2] > 1.2 * tall.spread[2, 2]
    # Human trunks are some 20 to 30 cm deep at the waist (common knowledge, no source): half of
    # that, and clothes and belt before it.
    assert 0.10 < small.from_tag_m[2] < tall.from_tag_m[2] < 0.22


def test_two_cards_tell_the_middle_by_their_inverse_variances():
    axes = axes_of(Handed.RIGHT)
    middles = hip_middles(axes, 175.0)
    mounts = {10: mount((0.0, 0.0, -0.19)), 11: mount((0.20, -0.02, -0.10))}
    middle, spread = middle_of(middles, mounts)
    ends = {n: mounts[n].place_m + middles[n].from_tag_m for n in mounts}
    # The textbook's weighted mean, along the line of sight.
    says = {n: 1.0 / (middles[n].spread[2, 2] + mounts[n].place_var_m2) for n in mounts}
    mean = sum(says[n] * ends[n][2] for n in mounts) / sum(says.values())
    assert middle[2] == pytest.approx(mean)
    assert spread[2, 2] == pytest.approx(1.0 / sum(says.values()))


def test_without_a_card_that_tells_it_the_origin_is_the_middle():
    middle, spread = middle_of({}, {10: mount((0.0, 0.0, -0.12))})
    assert middle == pytest.approx(np.zeros(3))
    assert np.all(np.diag(spread) > 0.0)
