"""A list over the mirror: which rows are shown, that all fits, and its keys."""

import pygame
import pytest
from screen_views import make_view

from trainer.adapters import palette
from trainer.adapters.screen import open_screen
from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_layout import Box
from trainer.adapters.screen_list import rows_shown
from trainer.adapters.screen_pen import Pen
from trainer.ports import KeyAction, Listed


def listed(count=5, chosen=0, **given):
    told = {
        "title": "Sessions of all players",
        "head": ("", "when", "player", "from", "whole reps"),
        "rows": tuple(("", f"2026-05-31 18:{n:02d}", "Ann", "live", str(n)) for n in range(count)),
        "chosen": chosen,
        "foot": "up, down: choose",
        **given,
    }
    return Listed(**told)


@pytest.mark.parametrize("room", [1, 2, 7, 20])
@pytest.mark.parametrize("count", [1, 5, 20, 200])
def test_the_chosen_row_is_always_among_those_shown(count, room):
    for chosen in range(count):
        shown = rows_shown(listed(count, chosen), room)
        assert chosen in shown
        assert len(shown) == min(count, room)
        assert shown.start >= 0
        assert shown.stop <= count


def test_a_list_in_which_nothing_is_chosen_is_shown_from_its_beginning():
    assert rows_shown(listed(9, None), 4) == range(4)
    assert rows_shown(listed(0, None), 4) == range(0)


class WatchedPen(Pen):
    """Notes every text and where it went."""

    def __init__(self):
        super().__init__()
        self.written = []

    def write(self, surface, text, at_xy, cap_px, colour, *, align=0.0):
        box = super().write(surface, text, at_xy, cap_px, colour, align=align)
        self.written.append((text, box, cap_px))
        return box


@pytest.mark.parametrize("size_wh", [(640, 360), (1280, 720), (420, 760), (1920, 1080)])
@pytest.mark.parametrize("player", ["Ann", "W" * 40])
def test_every_word_of_a_list_lies_in_the_window_and_none_on_another(size_wh, player):
    rows = tuple(
        ("marked", f"2026-05-31 18:{n % 60:02d}", player, "live", "20") for n in range(200)
    )
    pen = WatchedPen()
    surface = pygame.Surface(size_wh)
    view = make_view(listed=listed(rows=rows, chosen=120))
    draw(surface, view, pen=pen, page="")
    at = next(n for n, (text, *_) in enumerate(pen.written) if text.startswith("Sessions of"))
    boxes = [(text, box) for text, box, _ in pen.written[at:]]
    window = Box(0, 0, *size_wh)
    assert sum(text == "marked" for text, _ in boxes) >= 3
    for text, box in boxes:
        assert box.x >= 0, text
        assert box.right <= window.right + 1, text
        assert box.y >= 0, text
        assert box.bottom <= window.bottom, text
    for n, (text, box) in enumerate(boxes):
        for other, its in boxes[n + 1 :]:
            assert not box.overlaps(its), (text, other)


def test_the_chosen_row_has_a_mark_before_it_and_not_a_colour_alone():
    surface = pygame.Surface((1280, 720))
    pen = WatchedPen()
    draw(surface, make_view(listed=listed(5, 2)), pen=pen, page="")
    before = pygame.surfarray.array3d(surface)[:64]  # left of all that is written
    rows = {text: box for text, box, _ in pen.written if text.startswith("2026")}
    assert all(box.x > 64 for box in rows.values())
    marked = (before == palette.TARGET).all(axis=2).any(axis=0)
    for text, box in rows.items():
        assert marked[round(box.y + box.h / 2)] == (text == "2026-05-31 18:02"), text


# Keys.


@pytest.fixture
def window():
    screen = open_screen("window", size_wh=(640, 360))
    yield screen
    screen.close()


def press(key):
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, unicode="", mod=0))


KEYS = [
    (pygame.K_UP, KeyAction.LIST_UP, KeyAction.MORE),
    (pygame.K_DOWN, KeyAction.LIST_DOWN, KeyAction.LESS),
    (pygame.K_LEFT, KeyAction.LIST_PREVIOUS, KeyAction.LINE_TOWARD),
    (pygame.K_RIGHT, KeyAction.LIST_NEXT, KeyAction.LINE_AWAY),
    (pygame.K_SPACE, KeyAction.LIST_MARK, KeyAction.LOOK_BACK),
    (pygame.K_RETURN, KeyAction.LIST_OPEN, None),
    (pygame.K_ESCAPE, KeyAction.SESSIONS, KeyAction.QUIT),
    (pygame.K_l, KeyAction.SESSIONS, KeyAction.SESSIONS),
    (pygame.K_e, KeyAction.REPORT, KeyAction.REPORT),
    (pygame.K_p, KeyAction.PAIN, KeyAction.PAIN),
    (pygame.K_m, KeyAction.MUTE, KeyAction.MUTE),
    (pygame.K_q, KeyAction.QUIT, KeyAction.QUIT),
]


@pytest.mark.parametrize(("key", "in_list", "without"), KEYS)
def test_keys_mean_the_list_while_it_is_shown_and_the_mirror_otherwise(
    window, key, in_list, without
):
    window.show(make_view(listed=listed()))
    press(key)
    assert window.actions() == (in_list,)
    window.show(make_view())
    press(key)
    assert window.actions() == (() if without is None else (without,))


def test_pain_is_seen_over_the_list(window):
    window.show(make_view(listed=listed()))
    before = pygame.image.tobytes(pygame.display.get_surface(), "RGB")
    window.show(make_view(listed=listed(), pain=True))
    assert pygame.image.tobytes(pygame.display.get_surface(), "RGB") != before
