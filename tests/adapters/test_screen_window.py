"""The window itself: keys, closing, full screen, and machines without a display."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pygame
import pytest
from screen_views import make_image, make_measures, make_pose, make_step, make_view

from trainer.adapters.screen import NoScreen, Window, open_screen, save_png
from trainer.core.records import Phase
from trainer.errors import ScreenError
from trainer.ports import KeyAction

ROOT = Path(__file__).parents[2]


@pytest.fixture
def window():
    screen = open_screen("window", size_wh=(640, 360))
    yield screen
    screen.close()


def press(key, letter="", mod=0):
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, unicode=letter, mod=mod))


def write(letter):
    pygame.event.post(pygame.event.Event(pygame.TEXTINPUT, text=letter))


def glass():
    return pygame.image.tobytes(pygame.display.get_surface(), "RGB")


@pytest.mark.parametrize(
    ("key", "letter", "action"),
    [
        (pygame.K_f, "f", KeyAction.FULL_SCREEN),
        (pygame.K_r, "r", KeyAction.NEW_SETUP),
        (pygame.K_h, "H", KeyAction.SWITCH_HANDED),
        (pygame.K_m, "m", KeyAction.MUTE),
        (pygame.K_p, "p", KeyAction.PAIN),
        (pygame.K_F1, "", KeyAction.HELP),
        (pygame.K_SLASH, "?", KeyAction.HELP),
        (pygame.K_q, "q", KeyAction.QUIT),
        (pygame.K_ESCAPE, "\x1b", KeyAction.QUIT),
    ],
)
def test_keys_become_actions(window, key, letter, action):
    press(key, letter)
    assert window.actions() == (action,)
    assert window.actions() == ()


def test_keys_keep_their_order_and_others_mean_nothing(window):
    press(pygame.K_p)
    press(pygame.K_z, "z")
    press(pygame.K_SLASH, "/")
    press(pygame.K_q, mod=pygame.KMOD_CTRL)
    press(pygame.K_r)
    assert window.actions() == (KeyAction.PAIN, KeyAction.NEW_SETUP)


def test_closing_the_window_during_a_rep_is_only_quit(window):
    window.show(make_view(step=make_step(Phase.BACKSWING, make_measures(40.0), make_pose())))
    pygame.event.post(pygame.event.Event(pygame.QUIT))
    assert window.actions() == (KeyAction.QUIT,)


def test_it_is_a_window_under_a_driver_the_caller_chose(window):
    assert os.environ["SDL_VIDEODRIVER"] == "dummy"
    assert window.name == "window"


def test_a_resized_window_is_filled(window):
    window.show(make_view())
    pygame.display.set_mode((900, 400), pygame.RESIZABLE)  # what a dragged corner leads to
    window.show(make_view())
    assert window.size_wh == (900, 400)
    surface = pygame.display.get_surface()
    assert surface.get_at((450, 160))[:3] == (128, 128, 128)


def test_full_screen_goes_and_comes_back(window):
    press(pygame.K_f)
    window.actions()
    window.show(make_view())
    assert pygame.display.get_surface().get_flags() & pygame.FULLSCREEN
    press(pygame.K_f)
    window.actions()
    window.show(make_view())
    assert window.size_wh == (640, 360)
    assert not pygame.display.get_surface().get_flags() & pygame.FULLSCREEN


def test_any_key_takes_the_caution_away_for_good(window):
    view = make_view(caution=True)
    window.show(view)
    with_caution = glass()
    assert not window.caution_seen
    press(pygame.K_SPACE, " ")
    assert window.actions() == ()
    assert window.caution_seen
    window.show(view)
    assert glass() != with_caution
    without = glass()
    window.show(make_view())
    assert glass() == without


def test_marking_pain_brings_its_page_once(window):
    window.show(make_view(pain=False))
    window.show(make_view(pain=True))
    page = glass()
    press(pygame.K_SPACE)
    window.actions()
    window.show(make_view(pain=True))
    assert glass() != page


def test_help_its_second_page_and_the_mirror_follow_one_another_on_the_same_key(window):
    window.show(make_view())
    plain = glass()
    for expected_plain in (False, False, True):
        press(pygame.K_F1)
        assert window.actions() == (KeyAction.HELP,)
        window.show(make_view())
        assert (glass() == plain) is expected_plain


def test_the_newest_view_is_drawn_and_the_same_one_not_again(window, monkeypatch):
    drawn = []
    from trainer.adapters import screen

    real = screen.draw
    monkeypatch.setattr(screen, "draw", lambda *a, **k: (drawn.append(a[1]), real(*a, **k)))
    now = iter([1.0, 1.01, 1.02, 2.0])
    window._clock_s = lambda: next(now)
    first, second = make_view(image_rgb=make_image(grey=10)), make_view()
    for view in (first, first, second, second):
        window.show(view)
    # the last one again, because fades and ageing need it after a while
    assert [v.image_rgb[0, 0, 0] for v in drawn] == [10, 128, 128]


def test_close_twice_is_safe_and_a_closed_window_is_silent(window):
    window.close()
    window.close()
    window.show(make_view())
    assert window.actions() == ()


def test_no_screen_on_request():
    screen = open_screen("none")
    assert isinstance(screen, NoScreen)
    screen.show(make_view())
    assert screen.actions() == ()
    assert screen.name == "no screen"
    screen.close()
    screen.close()


def run(code, **environment):
    env = {
        name: value
        for name, value in os.environ.items()
        if name not in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")
    }
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**env, **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.stdout.strip(), done.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="other systems always have a display")
def test_a_machine_without_a_display_gets_no_screen_and_says_so_when_a_window_is_wanted():
    code = (
        "from trainer.adapters.screen import open_screen\n"
        "from trainer.errors import ScreenError\n"
        "print(open_screen('auto').name)\n"
        "try:\n    open_screen('window')\n"
        "except ScreenError as error:\n    print(error)\n"
    )
    name, message = run(code)[0].splitlines()
    assert name == "no screen"
    assert "a window to draw the mirror in was wanted" in message
    assert "Try" in message


def test_loading_the_adapter_does_not_load_pygame():
    out, _ = run("import sys, trainer.adapters.screen; print('pygame' in sys.modules)")
    assert out == "False"


def test_pictures_are_saved_without_opening_a_display(tmp_path):
    code = (
        "import sys; sys.path.insert(0, 'tests/adapters')\n"
        "from screen_views import make_view, make_step\n"
        "from trainer.adapters.screen import save_png\n"
        f"save_png(make_view(), {str(tmp_path / 'a.png')!r}, (800, 450))\n"
        "import pygame; print(pygame.display.get_init())\n"
    )
    out, err = run(code)
    assert out.splitlines()[-1] == "False", err
    saved = pygame.image.load(str(tmp_path / "a.png"))
    assert saved.get_size() == (800, 450)
    assert saved.get_at((400, 180))[:3] == (128, 128, 128)


def test_a_picture_that_cannot_be_saved_says_where_and_what_to_try(tmp_path):
    with pytest.raises(ScreenError, match=r"nowhere.*Try a folder"):
        save_png(make_view(), tmp_path / "nowhere" / "a.png")


@pytest.fixture
def x_display():
    program = shutil.which("Xvfb")
    if program is None:
        pytest.skip("Xvfb is not installed")
    read, write = os.pipe()
    server = subprocess.Popen(
        [program, "-displayfd", str(write), "-screen", "0", "1024x640x24", "-nolisten", "tcp"],
        pass_fds=[write],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as numbers:
        number = numbers.readline().strip()
    yield f":{number}"
    server.terminate()
    server.wait(timeout=10)


@pytest.mark.window
def test_a_real_window_shows_the_mirror(x_display, tmp_path):
    shooter = shutil.which("import")
    if shooter is None:
        pytest.skip("ImageMagick's import is not installed")
    code = (
        "import subprocess, sys; sys.path.insert(0, 'tests/adapters')\n"
        "import numpy as np\n"
        "from screen_views import make_view, make_image\n"
        "from trainer.adapters.screen import open_screen\n"
        "image = make_image()\n"
        "image[:, :320] = (200, 40, 160)\n"  # the picture's left half
        "screen = open_screen('auto', size_wh=(1024, 640))\n"
        "print(screen.name)\n"
        "for _ in range(30):\n    screen.show(make_view(image_rgb=image)); screen.actions()\n"
        f"subprocess.run([{shooter!r}, '-window', 'root', {str(tmp_path / 'shot.png')!r}],"
        " check=True, timeout=60)\n"
        "screen.close()\n"
    )
    out, err = run(code, DISPLAY=x_display)
    assert out.splitlines()[-1] == "window", err
    shot = pygame.image.load(str(tmp_path / "shot.png"))
    assert shot.get_at((612, 250))[:3] == (200, 40, 160)  # in the mirror it is the right half
    assert shot.get_at((412, 250))[:3] == (128, 128, 128)


def test_a_window_that_is_taken_away_is_a_screen_error():
    pygame.display.init()
    screen = Window(pygame, (320, 240))
    pygame.display.quit()
    with pytest.raises(ScreenError, match="could not be drawn"):
        screen.show(make_view())


def test_while_a_note_is_written_keys_are_letters_and_only_the_close_button_asks(window):
    from trainer.ports import Writing

    window.show(make_view(writing=Writing(title="Note", text="", foot="")))
    for letter in ("p", "q", "é", "ü"):
        press(pygame.K_p, letter)
        write(letter)
    press(pygame.K_BACKSPACE, "\x08")
    assert window.actions() == ()
    assert window.typed() == "pqéü\b"
    assert window.typed() == ""
    window.show(make_view())
    press(pygame.K_p, "p")
    write("p")
    assert window.actions() == (KeyAction.PAIN,)
    assert window.typed() == ""


@pytest.mark.parametrize("late", [False, True])
def test_the_letter_of_the_key_that_begins_a_note_is_no_part_of_it(window, late):
    """It may come at once or, as SDL likes, only with the next look at the events."""
    from trainer.ports import Writing

    window.show(make_view())
    press(pygame.K_w, "w")
    if not late:
        write("w")
    assert window.actions() == (KeyAction.NOTE,)
    window.show(make_view(writing=Writing(title="Note", text="", foot="")))
    if late:
        write("w")
    press(pygame.K_w, "w")
    write("w")
    assert window.actions() == ()
    assert window.typed() == "w"


def test_the_arrows_step_through_a_rep_that_stands_still_and_no_line_is_dragged(window):
    from trainer.core.look_back import LookBack, figure_of

    body = figure_of("t", make_pose().image_px, None)
    looked = LookBack(title="t", figures=(body,), head=("", "here"), rows=(), foot="f")
    window.show(make_view(looked=looked))
    press(pygame.K_LEFT)
    press(pygame.K_ESCAPE)
    assert window.actions() == (KeyAction.LOOK_EARLIER, KeyAction.LOOK_BACK)
