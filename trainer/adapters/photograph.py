"""Draws a page as the window would and writes it as a small PNG file. No display is opened."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Final

from trainer.adapters.screen_calm import STALE_S, Memory
from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_pen import Pen
from trainer.errors import ScreenError
from trainer.ports import View

SIZE_WH: Final = (1280, 720)
COLOURS: Final = 96  #: of the palette: the flat ones and the softened edges of letters


def draw_once(
    view: View,
    *,
    page: str = "",
    size_wh: tuple[int, int] = SIZE_WH,
    pen: Pen | None = None,
    stale: bool = False,
    focus: int | None = None,
) -> Any:  # noqa: ANN401 (pygame is loaded late)
    """Return a pygame surface with the page on it; ``stale``: as when pictures stay away."""
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame

    surface = pygame.Surface(size_wh, 0, 32)
    memory, pen = Memory(), pen or Pen()
    if stale:
        draw(surface, view, memory=memory, page=page)
    draw(
        surface,
        view,
        pen=pen,
        memory=memory,
        now_s=2 * STALE_S if stale else 0.0,
        page=page,
        focus=focus,
    )
    return surface


def photograph(
    view: View, path: Path, *, page: str = "", stale: bool = False, focus: int | None = None
) -> None:
    """Write the page to ``path``. Raises ScreenError when that cannot be done."""
    import pygame
    from PIL import Image

    surface = draw_once(view, page=page, stale=stale, focus=focus)
    picture = Image.frombytes("RGB", surface.get_size(), pygame.image.tobytes(surface, "RGB"))
    picture = picture.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=0)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        picture.save(path, optimize=True)
    except OSError as error:
        raise ScreenError(
            f"{path} could not be written: {error}. A picture of the page was to be saved there. "
            "Try a folder that exists and may be written to."
        ) from error
