"""Ball line, rod check and own targets on the glass, and the mouse on the line."""

import numpy as np
import pygame
import pytest
from screen_views import drawn, make_image, make_measures, make_pose, make_step, make_view

from trainer.adapters import palette
from trainer.adapters.screen import open_screen
from trainer.adapters.screen_ball import LineDrag, line_shown, window_x
from trainer.adapters.screen_pages import page_text
from trainer.core.ball_line import BallLine
from trainer.core.records import Measures, Phase, Rep
from trainer.core.rod_check import RodReading, RodStage, RodState
from trainer.core.rules import OwnRep
from trainer.ports import KeyAction

LINE = BallLine(x_px=350.0, cm_per_px=0.5, top_px=110.0, low_px=160.0)
EDGE = BallLine(
    x_px=350.0, cm_per_px=0.5, top_px=110.0, low_px=160.0, back_px=330.0, gap_cm=10.0, at_top=True
)
SIZES = pytest.mark.parametrize("size_wh", [(640, 360), (1280, 720)])


def at_setup(line=LINE, **more):
    return make_view(step=make_step(Phase.SETUP), ball_line=line, **more)


def after_rep(line=EDGE, **more):
    rep = Rep(
        number=1,
        setup_t_s=0.0,
        takeaway_t_s=0.2,
        top_t_s=0.6,
        top_end_t_s=0.8,
        complete=True,
        at_top=Measures(t_s=0.7, back_gap_cm=line.gap_cm),
    )
    return make_view(
        step=make_step(Phase.AFTER),
        ball_line=line,
        last_rep=rep,
        last_rep_words=("Good rep", "turn about 90°"),
        **more,
    )


def columns(pixels, rows, picture):
    """Return the x of every pixel of the line's colour in the picture's given rows."""
    part = pixels[rows, round(picture.x) : round(picture.right)]
    _, xs = np.nonzero((part == np.array(palette.TARGET)).all(axis=-1))
    return xs + round(picture.x)


def low_rows(layout):
    """Rows of the floor, where nothing but the line is drawn."""
    return slice(round(layout.picture.y + 0.55 * layout.picture.h), round(0.6 * layout.strip.y))


@SIZES
def test_the_line_stands_where_it_is_in_the_mirrored_picture(size_wh):
    pixels, layout, pen = drawn(at_setup(), size_wh)
    picture = layout.picture
    xs = columns(pixels, low_rows(layout), picture)
    middle = picture.x + 0.5 * picture.w  # the columns of figures lie at the sides
    xs = xs[np.abs(xs - middle) < 0.2 * picture.w]
    assert xs.mean() == pytest.approx(picture.right - 350.0 * picture.w / 640, abs=1.0)
    assert "ball line" in pen.words


@pytest.mark.parametrize("phase", [p for p in Phase if p is not Phase.SETUP])
def test_no_line_stands_in_a_swing_or_without_a_setup(phase):
    view = make_view(step=make_step(phase, pose=make_pose()), ball_line=LINE)
    assert line_shown(view) is None
    _, _, pen = drawn(view)
    assert "ball line" not in pen.words


def test_the_edge_at_the_top_is_shown_with_its_gap_while_the_verdict_stands():
    pixels, layout, pen = drawn(after_rep())
    assert "back 10 cm" in pen.words
    picture = layout.picture
    scale = picture.w / 640
    y = round(picture.y + 135.0 * scale)
    edge, line = (round(picture.right - x * scale) for x in (330.0, 350.0))
    row = (pixels[y, line : edge + 1] == np.array(palette.TARGET)).all(axis=-1)
    assert row.mean() > 0.9  # joined from the line to the edge
    past = BallLine(**{**{f: getattr(EDGE, f) for f in EDGE.__slots__}, "gap_cm": -3.0})
    assert "back 3 cm past" in drawn(after_rep(past))[2].words


@SIZES
@pytest.mark.parametrize("x", [-500.0, 0.0, 639.0, 5000.0, float("nan")])
def test_a_line_outside_the_picture_breaks_nothing(size_wh, x):
    line = BallLine(x_px=x, cm_per_px=0.5, top_px=-90.0, low_px=900.0, back_px=x, gap_cm=1.0)
    drawn(at_setup(line), size_wh)


@pytest.fixture
def window():
    screen = open_screen("window", size_wh=(1280, 720))
    yield screen
    screen.close()


def mouse(kind, x, y):
    more = {"button": 1} if kind != pygame.MOUSEMOTION else {"buttons": (1, 0, 0), "rel": (0, 0)}
    pygame.event.post(pygame.event.Event(kind, pos=(x, y), **more))


@pytest.mark.parametrize("handed_left", [False, True])
def test_dragging_the_line_moves_it_by_as_many_steps_as_centimetres(window, handed_left):
    view = at_setup(handed_left=handed_left)
    window.show(view)
    picture = window._layout.picture
    x = round(window_x(350.0, view, picture))
    mouse(pygame.MOUSEBUTTONDOWN, x + 3, 300)
    mouse(pygame.MOUSEMOTION, x + 3 + 20, 300)
    mouse(pygame.MOUSEMOTION, x + 3 + 40, 300)
    mouse(pygame.MOUSEBUTTONUP, x + 3 + 40, 300)
    mouse(pygame.MOUSEMOTION, x + 200, 300)
    actions = window.actions()
    cm = 40 * 640 / picture.w * 0.5
    # To the right in the mirror is away from the target for a right-hander.
    wanted = KeyAction.LINE_TOWARD if handed_left else KeyAction.LINE_AWAY
    assert actions == (wanted,) * round(cm / 0.5)


def test_a_drag_back_to_where_it_began_leaves_the_line_where_it_was():
    view = at_setup()
    _, layout, _ = drawn(view)
    drag = LineDrag()
    x = round(window_x(350.0, view, layout.picture))
    assert drag.take((x, 300), view, layout)
    assert sum(drag.move(x + n) for n in (5, 37, 80, 12, -40, 0)) == 0


def test_a_press_beside_the_line_or_on_no_line_holds_nothing():
    view = at_setup()
    _, layout, _ = drawn(view)
    x = round(window_x(350.0, view, layout.picture))
    for at, seen in (((x + 100, 300), view), ((x, 300), make_view()), ((x, 300), after_rep())):
        drag = LineDrag()
        assert not drag.take(at, seen, layout)
        assert drag.move(x + 50) == 0


@pytest.mark.parametrize(
    ("key", "handed_left", "action"),
    [
        (pygame.K_RIGHT, False, KeyAction.LINE_AWAY),
        (pygame.K_LEFT, False, KeyAction.LINE_TOWARD),
        (pygame.K_RIGHT, True, KeyAction.LINE_TOWARD),
        (pygame.K_LEFT, True, KeyAction.LINE_AWAY),
        (pygame.K_t, False, KeyAction.THIS_ONE),
        (pygame.K_o, False, KeyAction.OWN_TOP),
        (pygame.K_c, False, KeyAction.ROD_CHECK),
    ],
)
def test_the_keys_of_line_reference_and_check(window, key, handed_left, action):
    window.show(at_setup(handed_left=handed_left))
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, unicode="", mod=0))
    assert window.actions() == (action,)


def test_every_key_is_on_the_help_page_once_and_the_page_fits_a_small_window():
    _, lines = page_text("help")
    keys = [line.split(":  ")[0] for line in lines]
    assert len(set(keys)) == len(keys)
    assert {"T", "O", "C", "Left, Right"} <= set(keys)
    _, layout, pen = drawn(make_view(), (640, 360), page="help")
    bottom = max(box.bottom for _, box, *_ in pen.written)
    assert bottom <= layout.window.h


def test_what_a_key_did_has_the_line_and_no_warning_mark():
    view = make_view(answer="Ball line 2 cm from the lead shoulder", notices=("No sound.",))
    pixels, layout, pen = drawn(view)
    assert "Ball line 2 cm from the lead shoulder" in pen.words
    assert "No sound" not in pen.words
    box = layout.line
    part = pixels[round(box.y) : round(box.bottom), round(box.x) : round(box.x + 60)]
    assert not (part == np.array(palette.WARNING)).all(axis=-1).any()


@SIZES
@pytest.mark.parametrize("stage", [RodStage.START, RodStage.TURN])
def test_the_check_says_what_to_do_and_shows_no_figure_to_turn_to(size_wh, stage):
    step = make_step(Phase.NOBODY, make_measures(55.0, 3.0, 2.0))
    view = make_view(step=step, rod=RodState(stage=stage), notices=("No sound.",))
    _, _, pen = drawn(view, size_wh)
    texts = [text for text, *_ in pen.written]
    assert "camera check" in texts
    assert not {"55", "head", "hips", "shoulder turn"} & set(texts)
    wanted = "Face the camera" if stage is RodStage.START else "Turn to the rod and hold"
    assert wanted in pen.words


@SIZES
def test_the_check_ends_with_what_the_camera_read(size_wh):
    state = RodState(stage=RodStage.DONE, reading=RodReading(read_deg=84.4, se_deg=8.2))
    _, layout, pen = drawn(make_view(step=make_step(Phase.NOBODY), rod=state), size_wh)
    texts = [text for text, *_ in pen.written]
    assert "84" in texts
    assert "camera read 84° ± 8° at your true 90°" in pen.words
    assert "at your true 90°" in texts
    assert "press C to end the check" in pen.words
    for _, box, *_ in pen.written:
        assert box.right <= layout.window.w + 1


def test_an_own_target_is_named_and_the_brackets_move_to_the_own_figures():
    own = OwnRep(turn_deg=78.0, head_lateral_cm=4.0, hip_lateral_cm=-3.0)
    step = make_step(Phase.TOP, make_measures(70.0, 7.0, -6.0))
    view = make_view(step=step, own=own, target_deg=78.0)
    pixels, layout, pen = drawn(view)
    assert "own" in {text for text, *_ in pen.written}
    assert "target and bands: your own rep" in pen.words
    assert "out" not in {text for text, *_ in pen.written}
    # Head: from setup less 4 cm to 4 cm more than its own 4; hips at the top: round -3.
    for part, low, high in ((layout.head, -4.0, 8.0), (layout.hips, -7.0, 1.0)):
        beam = part.beam
        rows = slice(round(beam.y), round(beam.bottom))
        xs = columns(pixels, rows, beam._replace(x=beam.x - 2, w=beam.w + 4))
        per_cm = beam.w / 2 / (2.5 * 4.0)
        assert xs.min() == pytest.approx(beam.x + beam.w / 2 + low * per_cm, abs=4)
        assert xs.max() == pytest.approx(beam.x + beam.w / 2 + high * per_cm, abs=4)
    plain = drawn(make_view(step=step, target_deg=78.0))[2]
    assert "out" in {text for text, *_ in plain.written}


def test_after_pain_no_own_target_is_named():
    own = OwnRep(turn_deg=78.0)
    _, _, pen = drawn(make_view(own=own, pain=True, image_rgb=make_image()))
    assert "own" not in {text for text, *_ in pen.written}
