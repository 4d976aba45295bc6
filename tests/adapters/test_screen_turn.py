"""The turn bar's soft edge, and what is said beside it when the turn is near its target."""

import numpy as np
import pytest
from screen_views import drawn, make_measures, make_step, make_view

from trainer.adapters import palette
from trainer.adapters.screen_calm import Memory
from trainer.adapters.screen_layout import bar_top_deg
from trainer.core.records import Phase


def cut(pixels, box):
    return pixels[round(box.y) : round(box.bottom), round(box.x) : round(box.right)]


def is_target(pixels, box):
    return (cut(pixels, box) == np.array(palette.TARGET)).all(axis=-1)


def brightness(pixels, bar):
    """Return the bar's light, foot first, as a share of that at its foot; no outline."""
    column = pixels[round(bar.y) + 4 : round(bar.bottom) - 4, round(bar.x + bar.w / 4)]
    light = column.astype(float).sum(axis=-1)[::-1]
    return light / light[0]


def test_the_turn_says_how_sure_it_is_in_a_word_and_a_soft_edge():
    step = make_step(measures=make_measures(turn=40.0, turn_se=10.0))
    pixels, layout, pen = drawn(make_view(step=step))
    assert "estimate ±10°" in {text for text, *_ in pen.written}
    bar = layout.turn.bar
    per_deg = bar.h / bar_top_deg(80.0, 5.0)

    light = brightness(pixels, bar)

    def at(turn_deg):
        return light[round(turn_deg * per_deg) - 4]

    assert at(5) == at(28) == 1.0
    assert at(35) == pytest.approx(0.75, abs=0.05)
    assert at(40) == pytest.approx(0.5, abs=0.05)
    assert at(45) == pytest.approx(0.25, abs=0.05)
    assert at(52) == at(70) == 0.0
    edge = light[round(30 * per_deg) - 4 : round(50 * per_deg) - 4]
    assert (np.diff(edge) <= 0).all()


@pytest.mark.parametrize("size_wh", [(640, 360), (1920, 1080)])
@pytest.mark.parametrize("turn", [78.0, 96.0])
def test_a_soft_edge_leaves_the_target_and_the_bars_surroundings_clear(size_wh, turn):
    sure = make_view(step=make_step(measures=make_measures(turn=turn)))
    vague = make_view(step=make_step(measures=make_measures(turn=turn, turn_se=14.0)))
    plain, layout, _ = drawn(sure, size_wh)
    soft, *_ = drawn(vague, size_wh)
    bar, side = layout.turn.bar, layout.turn.side
    target = is_target(plain, layout.turn.plate)
    assert target.any()
    assert (is_target(soft, layout.turn.plate) == target).all()
    assert (cut(soft, side._replace(x=side.x + 1)) == cut(plain, side._replace(x=side.x + 1))).all()
    above = bar._replace(y=bar.y - 8, h=7)
    assert (cut(soft, above) == cut(plain, above)).all(), "nothing is drawn over the bar's end"


@pytest.mark.parametrize(
    ("turn", "confidence", "word"),
    [
        (79.9, 50.0, ""),
        (80.0, 50.0, "there"),
        (80.0, 75.0, "maybe"),
        (86.7, 75.0, "maybe"),  # 80 + 0.674 x 10 = 86.74
        (86.8, 75.0, "there"),
        (96.4, 95.0, "maybe"),  # 80 + 1.645 x 10 = 96.45
        (96.5, 95.0, "there"),
        (101.4, 95.0, "there"),  # and 5 of the band
        (101.5, 95.0, "enough"),
    ],
)
def test_the_bar_is_there_where_the_tone_sounds(turn, confidence, word):
    step = make_step(measures=make_measures(turn=turn, turn_se=10.0))
    view = make_view(step=step, turn_confidence=confidence)
    *_, pen = drawn(view)
    written = {text for text, *_ in pen.written}
    assert written & {"there", "enough", "maybe"} == ({word} if word else set())


def words_of_turn(turns, hysteresis_deg, phase=Phase.BACKSWING):
    """Return the word beside the bar for each turn, a second apart, in one window."""
    memory, words = Memory(), []
    for second, turn in enumerate(turns):
        step = make_step(phase, make_measures(turn=turn, turn_se=7.0))
        view = make_view(step=step, turn_hysteresis_deg=hysteresis_deg)
        *_, pen = drawn(view, memory=memory, now_s=float(second))
        found = {text for text, *_ in pen.written} & {"there", "enough", "maybe"}
        words.append("".join(found))
    return words


def test_noise_round_the_target_does_not_let_go_what_was_reached():
    turns = [79, 81, 79, 77.1, 81, 76.9, 79, 81]
    assert words_of_turn(turns, 3.0) == ["", "there", "there", "there", "there", "", "", "there"]
    assert words_of_turn(turns, 0.0) == ["", "there", "", "", "there", "", "", "there"]


def test_noise_round_the_bands_end_does_not_let_go_what_was_enough():
    turns = [84, 86, 84, 82.1, 81.9, 84, 86]
    expected = ["there", "enough", "enough", "enough", "there", "there", "enough"]
    assert words_of_turn(turns, 3.0) == expected


def test_a_wide_hysteresis_never_calls_enough_what_is_under_the_target():
    assert words_of_turn([86, 79, 76, 59], 20.0) == ["enough", "there", "there", ""]


def test_a_turn_reached_is_let_go_between_swings_and_when_it_is_lost():
    assert words_of_turn([81, 79], 3.0, Phase.SETUP) == ["", ""]
    assert words_of_turn([81, None, 79], 3.0) == ["there", "", ""]
