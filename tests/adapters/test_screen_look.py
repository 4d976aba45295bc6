"""How the player wants the window: large text, tones only; and the other hand, mirrored."""

from dataclasses import replace

import pytest
from screen_views import PICTURE_WH, drawn, make_measures, make_pose, make_step, make_view

from trainer.adapters.screen_calm import FADE_S, HOLD_S
from trainer.adapters.screen_layout import LARGE_TEXT, Placement, lay_out
from trainer.core.records import Phase, Rep
from trainer.ports import Look

LARGE = Look(large_text=True)
TONES = Look(figures=False)
REP = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.2, top_end_t_s=0.9, complete=True,
          at_top=make_measures(87, 9, 1))  # fmt: skip


def ended(**changes):
    step = make_step(Phase.AFTER, make_measures(12, 1, 1))
    words = ("Head 9 cm away from the target", "turn about 87°")
    return make_view(step=step, last_rep=REP, last_rep_words=words, reps=1, **changes)


@pytest.mark.parametrize("size_wh", [(1280, 720), (1920, 1080), (800, 600)])
def test_large_text_makes_everything_on_the_mirror_larger(size_wh):
    sizes = []
    for look in (Look(), LARGE):
        _, _, pen = drawn(ended(look=look), size_wh)
        sizes.append({text: cap for text, _, cap, _ in pen.written})
    small, large = sizes
    for text in ("87", "9", "head", "hips", "out", "turn about 87°", "1"):
        # What has no room beside its figure may grow less, but nothing shrinks.
        assert large[text] > small[text]
    for text in ("87", "9"):
        assert large[text] == pytest.approx(LARGE_TEXT * small[text], rel=0.03)


@pytest.mark.parametrize("handed_left", [False, True])
@pytest.mark.parametrize("size_wh", [(1280, 720), (1920, 1080), (1024, 768), (640, 360)])
def test_large_text_stays_in_the_window_and_off_the_body(size_wh, handed_left):
    step = make_step(Phase.BACKSWING, make_measures(100, 12, -12, turn_se=9), make_pose())
    view = make_view(step=step, look=LARGE, handed_left=handed_left)
    _, layout, pen = drawn(view, size_wh)
    for text, box, *_ in pen.written:
        assert box.x >= -0.5, text
        assert box.right <= size_wh[0] + 0.5, text
        assert box.bottom <= size_wh[1], text
    boxes = [*layout.plates, layout.strip]
    for number, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[:number])


def test_a_tall_window_keeps_a_picture_whatever_the_text():
    usual = lay_out((400, 700), PICTURE_WH, Placement.BELOW)
    assert lay_out((400, 700), PICTURE_WH, Placement.BELOW, large_text=True) == usual


def test_with_tones_only_nothing_of_a_rep_is_to_be_seen():
    _, _, pen = drawn(ended(look=TONES))
    assert "Head" not in pen.words
    assert "87" not in pen.words
    assert not {"head", "hips", "shoulder turn", "out"} & {text for text, *_ in pen.written}
    assert "tones only" in pen.words
    assert "reps" in pen.words
    swing = make_view(
        step=make_step(measures=make_measures(70, 9, 1), pose=make_pose()), look=TONES
    )
    pixels, _, pen = drawn(swing)
    assert "70" not in pen.words
    bare, *_ = drawn(replace(swing, step=replace(swing.step, measures=make_measures(20, 0, 0))))
    assert (pixels == bare).all()  # nothing on the glass moves with the body


def test_with_tones_only_pain_and_trouble_are_still_said():
    view = ended(look=TONES, pain=True, notices=("camera 0 was lost",))
    _, _, pen = drawn(view)
    assert "Pain marked" in pen.words
    assert "camera 0 was lost" in pen.words


@pytest.mark.parametrize("look", [Look(), LARGE], ids=["usual", "large"])
@pytest.mark.parametrize("placement", [Placement.SPLIT, Placement.BETWEEN])
def test_the_other_hand_has_the_same_columns_mirrored(placement, look):
    right, left = (
        lay_out((1280, 720), PICTURE_WH, placement, handed_left=hand, large_text=look.large_text)
        for hand in (False, True)
    )
    for part in ("turn", "head", "hips"):
        one, other = getattr(right, part).plate, getattr(left, part).plate
        assert other.x == pytest.approx(1280 - one.right, abs=0.01 * 720)
        assert (other.y, other.w, other.h) == (one.y, one.w, one.h)


def test_nothing_moves_for_longer_than_a_moment():
    # Nielsen, "Response Times: The 3 Important Limits" (1993): within 1 s a train of thought stays
    assert FADE_S + HOLD_S < 0.5
