"""How long a change of page takes: every page of the window, drawn for the first time and again."""

from __future__ import annotations

import time
from typing import Any

from trainer.adapters.screen_calm import Memory
from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_pen import Pen
from trainer.pages.shots import SHOTS


def page_ms(size_wh: tuple[int, int], rounds: int) -> dict[str, tuple[float, float]]:
    """Return the milliseconds of each page: first drawing after the mirror's, median of the rest.

    The first one makes every letter the page has and the mirror had not.
    """
    from statistics import median

    import pygame

    views = {name: shot.make() for name, shot in SHOTS.items()}
    surface: Any = pygame.Surface(size_wh, 0, 32)
    taken: dict[str, tuple[float, float]] = {}
    for name, shot in SHOTS.items():
        pen, memory = Pen(), Memory()
        draw(surface, views["backswing"], pen=pen, memory=memory, page="")
        times = []
        for number in range(rounds + 1):
            begun_s = time.perf_counter()
            draw(
                surface,
                views[name],
                pen=pen,
                memory=memory,
                now_s=number / 30,
                page=shot.page,
                focus=shot.focus,
            )
            times.append((time.perf_counter() - begun_s) * 1000)
        taken[name] = times[0], median(times[1:])
    return taken
