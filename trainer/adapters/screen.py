"""The window: a mirror picture with bars beside the body. Every call comes from the main thread."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any, Final, Literal

from trainer.adapters.quiet import quiet_stderr
from trainer.adapters.screen_ball import LineDrag
from trainer.adapters.screen_calm import Memory
from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_focus import Focus, chooses
from trainer.adapters.screen_keys import (
    OVER_PLACEMENT,
    STAYS,
    action_of,
    guide_action,
    letter_of,
    look_action,
)
from trainer.adapters.screen_kinds import ROWS, row_in_force
from trainer.adapters.screen_layout import Layout
from trainer.adapters.screen_list import list_action
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_words import WINDOW_TITLE
from trainer.errors import ScreenError
from trainer.ports import GuidePage, KeyAction, Screen, View

Choice = Literal["auto", "window", "none"]
DEFAULT_SIZE_WH: Final = (1280, 720)
MOST_HZ: Final = 60
REDRAW_S: Final = 0.05
#: Drivers that draw where nobody can look. SDL falls back to them by itself on a machine without
#: a display (seen with SDL 2.28 on Linux: "offscreen").
UNSEEN_DRIVERS: Final = frozenset({"dummy", "offscreen"})


class NoScreen:
    """The screen of a machine without a display: shows nothing, asks nothing."""

    name = "no screen"

    def show(self, view: View) -> None:
        """Draw nothing; wait a moment, so that a loop round this call does not spin."""
        time.sleep(1 / MOST_HZ)

    def actions(self) -> tuple[KeyAction, ...]:
        """Return no action."""
        return ()

    def typed(self) -> str:
        """Return nothing."""
        return ""

    def close(self) -> None:
        """Do nothing."""


class Window:
    """A resizable window. It goes to full screen and shows its pages of text by itself.

    ``FULL_SCREEN``, ``HELP`` and ``KINDS`` are still returned by ``actions``, for the caller to
    know; there is nothing left to do about them.
    """

    name = "window"

    def __init__(
        self,
        pygame: Any,  # noqa: ANN401 (loaded late)
        size_wh: tuple[int, int],
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._pygame = pygame
        self._clock_s = clock_s
        self._size_wh = size_wh
        self._full = False
        self._memory = Memory()
        self._pen = Pen()
        self._pace = pygame.time.Clock()
        self._page = ""
        self._caution_asked = False
        self._caution_seen = False
        self._pain_before = False
        self._shown: tuple[object, ...] = ()
        self._shown_view: View | None = None  # NB: keeps the ids in _shown from being used again
        self._drawn_s = 0.0
        self._layout: Layout | None = None  #: where everything was drawn last
        self._drag = LineDrag()
        self._typed = self._own_letter = ""
        pygame.key.start_text_input()  # letters of every language, also those of several keys
        self._focus = Focus()
        self._open = True
        self._surface = self._set_mode()

    def _set_mode(self) -> Any:  # noqa: ANN401
        pygame = self._pygame
        flags = pygame.FULLSCREEN if self._full else pygame.RESIZABLE
        if self._full:
            return pygame.display.set_mode((0, 0), flags)
        surface = pygame.display.set_mode(self._size_wh, flags)
        if surface.get_size() != self._size_wh:
            # SDL's dummy driver gives the size back only when asked again after full screen.
            surface = pygame.display.set_mode(self._size_wh, flags)
        return surface

    @property
    def size_wh(self) -> tuple[int, int]:
        """Width and height of what is drawn on, in pixels."""
        w, h = self._surface.get_size()
        return w, h

    @property
    def caution_seen(self) -> bool:
        """True once the player has dismissed the caution with a key or a click."""
        return self._caution_seen

    def show(self, view: View) -> None:
        """Draw ``view`` and bring it to the glass, at most 60 times a second.

        Raises ScreenError when the window system takes the window away.
        """
        if not self._open:
            return
        page = self._page_for(view)
        now_s = self._clock_s()
        try:
            if not self._is_new(view, page, now_s):
                self._pace.tick(MOST_HZ)
                return
            self._surface = self._pygame.display.get_surface() or self._surface
            self._layout = draw(
                self._surface,
                view,
                pen=self._pen,
                memory=self._memory,
                now_s=now_s,
                page=page,
                focus=self._focus.row,
            )
            self._pygame.display.flip()
        except self._pygame.error as error:
            raise ScreenError(
                f"the window could not be drawn: {error}. An open window was wanted. "
                "Try again, or run without one (--screen none)."
            ) from error
        self._pace.tick(MOST_HZ)

    def _is_new(self, view: View, page: str, now_s: float) -> bool:
        """Return False while the glass already shows this; saves the machine for the pose.

        Fades and ageing need drawing without anything new, so nothing stands for ``REDRAW_S``.
        """
        shown = (page, self._focus.row, self._pygame.display.get_window_size(), *_identity(view))
        if shown == self._shown and 0.0 <= now_s - self._drawn_s < REDRAW_S:
            return False
        self._shown, self._drawn_s, self._shown_view = shown, now_s, view
        return True

    def _page_for(self, view: View) -> str:
        """Return which page lies over the mirror now; a dismissed one stays away."""
        if view.caution and not self._caution_asked:
            self._page = "caution"
        if view.pain and not self._pain_before:
            self._page = "pain"
        if self._caution_asked and not view.caution and self._page == "caution":
            self._page = ""
        self._caution_asked, self._pain_before = view.caution, view.pain
        return self._page

    def actions(self) -> tuple[KeyAction, ...]:
        """Return what the player asked for since the last call, in order.

        Any key or click takes a page of text away; a key with a meaning also does its own job.
        """
        if not self._open:
            return ()
        pygame = self._pygame
        wanted: list[KeyAction] = []
        for event in pygame.event.get(exclude=pygame.AUDIODEVICEREMOVED):
            if event.type == pygame.QUIT:
                wanted.append(KeyAction.QUIT)
            elif event.type == pygame.MOUSEBUTTONDOWN:
                # Where the ball line is not to be seen it cannot be taken hold of.
                if self._dismiss() == "" and not self._is_covered():
                    self._take_line(event)
            elif event.type == pygame.MOUSEMOTION:
                wanted.extend(self._line_steps(self._drag.move(event.pos[0])))
            elif event.type == pygame.MOUSEBUTTONUP:
                self._drag.drop()
            elif event.type == pygame.TEXTINPUT:
                # The letter of the key that began the note comes after it, and is no part of it.
                own, self._own_letter = event.text == self._own_letter, ""
                self._typed += event.text if self._is_writing() and not own else ""
            elif event.type == pygame.KEYDOWN and self._is_writing():
                self._own_letter = ""
                letter = letter_of(pygame, event)
                self._typed += "" if letter.isprintable() else letter  # letters come as text
            elif event.type == pygame.KEYDOWN:
                if self._page == "kinds" and self._focus.take(pygame, event.key, len(ROWS)):
                    continue
                action = self._action_of(event)
                was = self._dismiss()
                if action is KeyAction.HELP:
                    self._page = {"help": "signs", "signs": ""}.get(was, "help")
                if action is KeyAction.KINDS:
                    self._page = "" if was == "kinds" else "kinds"
                    self._focus.row = row_in_force(self._shown_view)
                if action in STAYS and was == "kinds":
                    self._page = was
                if action is KeyAction.CAUTION and was != "caution":
                    self._page = "caution"
                if action is KeyAction.FULL_SCREEN:
                    self._toggle_full_screen()
                if action is not None:
                    wanted.append(action)
                self._own_letter = event.unicode if action is KeyAction.NOTE else ""
        return tuple(wanted)

    def typed(self) -> str:
        """Return the letters typed since the last call while something was to be typed."""
        letters, self._typed = self._typed, ""
        return letters

    def _is_covered(self) -> bool:
        shown = self._shown_view
        return shown is not None and (
            (shown.listed or shown.looked or shown.guide) is not None or shown.far
        )

    def _is_writing(self) -> bool:
        return self._shown_view is not None and self._shown_view.writing is not None

    def _dismiss(self) -> str:
        was, self._page = self._page, ""
        if was == "caution":
            self._caution_seen = True
        return was

    def _action_of(self, event: Any) -> KeyAction | None:  # noqa: ANN401
        shown = self._shown_view
        guide = None if shown is None or self._page else shown.guide
        if shown is not None and guide is not None:
            in_guide = guide_action(self._pygame, event.key, guide)
            if in_guide is not None or guide.page is not GuidePage.PLACEMENT:
                if in_guide is None and guide.entry is not None:
                    self._typed += letter_of(self._pygame, event)
                return in_guide
            action = action_of(self._pygame, event, page=self._page, handed_left=shown.handed_left)
            return action if action in OVER_PLACEMENT else None
        if shown is not None and shown.listed is not None:
            in_list = list_action(self._pygame, event.key)
            if in_list is not None:
                return in_list
        if shown is not None and shown.looked is not None:
            looking = look_action(self._pygame, event.key, two=len(shown.looked.figures) > 1)
            if looking is not None:
                return looking
        if self._page == "kinds" and chooses(self._pygame, event.key):
            return ROWS[self._focus.row]
        left_handed = shown is not None and shown.handed_left
        return action_of(self._pygame, event, page=self._page, handed_left=left_handed)

    def _take_line(self, event: Any) -> None:  # noqa: ANN401
        if event.button == 1 and self._shown_view is not None and self._layout is not None:
            self._drag.take(event.pos, self._shown_view, self._layout)

    @staticmethod
    def _line_steps(steps: int) -> list[KeyAction]:
        action = KeyAction.LINE_AWAY if steps > 0 else KeyAction.LINE_TOWARD
        return [action] * abs(steps)

    def _toggle_full_screen(self) -> None:
        self._drag.drop()  # the picture is another size now
        if not self._full:
            self._size_wh = self.size_wh
        self._full = not self._full
        try:
            self._surface = self._set_mode()
        except self._pygame.error:
            # A display without full screen keeps the window it has.
            self._full = False
            self._surface = self._set_mode()

    def close(self) -> None:
        """Close the window. Safe to call twice."""
        if self._open:
            self._open = False
            self._pygame.display.quit()


def _identity(view: View) -> tuple[object, ...]:
    """Return what tells one view from another; pictures and records by identity, not content."""
    return tuple(
        value if isinstance(value, (bool, int, float, str, tuple, type(None))) else id(value)
        for value in (getattr(view, field.name) for field in fields(view))
    )


def open_screen(choice: Choice = "auto", size_wh: tuple[int, int] | None = None) -> Screen:
    """Open the window and return it, or a ``NoScreen``.

    "window" insists on one; "none" never opens one; "auto" returns a ``NoScreen`` on a machine
    without a display. An SDL_VIDEODRIVER set by the caller is obeyed, whichever it is. Raises
    ScreenError.
    """
    if choice == "none":
        return NoScreen()
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    try:
        import pygame

        # NB: only what is used; pygame.init() would also open sound and joysticks.
        with quiet_stderr():
            pygame.display.init()
    except (ImportError, OSError) as error:
        return _without(choice, f"pygame could not be loaded ({error})")
    except Exception as error:  # pygame.error is raised, which the import may not have named
        return _without(choice, f"no display could be opened ({error})")
    driver = pygame.display.get_driver()
    if driver in UNSEEN_DRIVERS and os.environ.get("SDL_VIDEODRIVER", "") != driver:
        pygame.display.quit()
        return _without(choice, f'no display was found (SDL fell back to "{driver}")')
    try:
        pygame.display.set_caption(WINDOW_TITLE)
        return Window(pygame, size_wh or DEFAULT_SIZE_WH)
    except pygame.error as error:
        pygame.display.quit()
        return _without(choice, f"no window could be opened ({error})")


def _without(choice: Choice, what: str) -> Screen:
    if choice == "auto":
        return NoScreen()
    raise ScreenError(
        f"{what}; a window to draw the mirror in was wanted. Try it on a desktop with a display, "
        "or choose to run without a screen."
    )


def save_png(view: View, path: str | Path, size_wh: tuple[int, int] = DEFAULT_SIZE_WH) -> None:
    """Draw ``view`` off screen and save it as a PNG file. No display is needed or opened.

    Raises ScreenError when the file cannot be written.
    """
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame

    surface = pygame.Surface(size_wh, 0, 32)
    draw(surface, view)
    try:
        pygame.image.save(surface, str(path))
    except (pygame.error, OSError) as error:
        raise ScreenError(
            f"{path} could not be written: {error}. A picture of the screen was to be saved "
            "there. Try a folder that exists and may be written to."
        ) from error
