"""Draws a view on any pygame surface; no window is needed. Main thread only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trainer.adapters import palette, screen_words
from trainer.adapters.screen_ball import draw_ball_line
from trainer.adapters.screen_bars import draw_turn
from trainer.adapters.screen_bay import above_note, draw_announced, draw_look_back, draw_writing
from trainer.adapters.screen_calm import Memory
from trainer.adapters.screen_drift import draw_head, draw_hips
from trainer.adapters.screen_far import draw_far
from trainer.adapters.screen_filming import Over, beside_mark, draw_filming
from trainer.adapters.screen_guide import draw_guide
from trainer.adapters.screen_kinds import draw_kinds
from trainer.adapters.screen_layout import FIGURE, HEADLINE, LINE, NOTICE, SMALL, Box, Layout
from trainer.adapters.screen_list import draw_list
from trainer.adapters.screen_marks import warning_mark
from trainer.adapters.screen_mirror import draw_mirror
from trainer.adapters.screen_pages import draw_page
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_practice import draw_kept_back, draw_points
from trainer.adapters.screen_rod import draw_rod
from trainer.adapters.screen_setup import draw_setup_marks
from trainer.adapters.screen_state import asked_of, at_top
from trainer.core.landmarks import Landmark
from trainer.core.records import Measures, Phase
from trainer.ports import View

if TYPE_CHECKING:
    from trainer.core.records import Pose

NO_PICTURE_WH: Final = (16, 9)  #: shape assumed until the first picture comes
FOUND_POINTS: Final = (
    Landmark.LEFT_SHOULDER,
    Landmark.RIGHT_SHOULDER,
    Landmark.LEFT_HIP,
    Landmark.RIGHT_HIP,
)


def draw(
    surface: Any,  # noqa: ANN401 (pygame is loaded late)
    view: View,
    *,
    pen: Pen | None = None,
    memory: Memory | None = None,
    now_s: float = 0.0,
    page: str | None = None,
    focus: int | None = None,
) -> Layout:
    """Draw ``view`` over the whole of ``surface`` and return where everything went.

    ``page`` is "caution", "pain", "help" or "kinds" for a page of text over the mirror, "" for
    none; None shows the caution where ``view.caution`` asks for it. ``focus`` is the row of a page
    of choices that the keyboard is on. Without ``memory`` all is
    drawn settled: no fades, no stale readings, columns where this one pose wants them.
    """
    pen = pen or Pen()
    memory = memory or Memory()
    window_wh = surface.get_size()
    image = view.image_rgb
    stale = memory.is_stale(view.step, now_s)
    pose = None if view.step is None else view.step.pose
    phase = Phase.NOBODY if view.step is None else view.step.phase
    layout = memory.placer.place(
        window_wh,
        NO_PICTURE_WH if image is None else (image.shape[1], image.shape[0]),
        pose,
        phase,
        handed_left=view.handed_left,
        now_s=now_s,
        large_text=view.look.large_text,
    )
    surface.fill(palette.INK)
    if page is None:
        page = "caution" if view.caution else ""
    if page or view.guide or view.listed is not None:  # nothing of the mirror would be seen
        if page == "kinds":
            draw_kinds(surface, pen, layout, view, focus)
        elif page:
            draw_page(surface, pen, layout, page)
        elif view.guide is not None:
            draw_guide(surface, pen, layout, view, view.guide)
        elif view.listed is not None:
            draw_list(surface, pen, layout, view.listed)
        if view.filming:
            draw_filming(surface, pen, layout, "page")
        return layout
    if _draw_instead(surface, pen, layout, view):
        if view.filming:
            draw_filming(surface, pen, layout, "page")
        return layout
    measures = _shown_measures(view, memory, now_s, stale=stale)
    free = above_note(layout) if view.writing is not None else layout
    if view.far and image is not None:
        draw_far(surface, pen, free, view, measures, memory.calm, now_s, stale=stale)
    elif image is not None:
        draw_mirror(surface, image, layout.picture)
        if pose is not None and not stale and phase in (Phase.WAITING, Phase.SETUP):
            _draw_found(surface, pose, layout)
        if not stale:
            draw_ball_line(surface, pen, layout, view)
            draw_setup_marks(surface, pen, layout, view)
        if view.rod is not None:
            draw_rod(surface, pen, layout, view)
        elif view.look.figures:
            _draw_measures(surface, pen, layout, measures, view, memory, now_s)
    else:
        _draw_opening(surface, pen, layout)
    if view.writing is not None:
        draw_writing(surface, pen, layout, view.writing)
    elif not view.far or image is None:
        strip = beside_mark(layout) if view.filming else layout
        _draw_strip(surface, pen, strip, view, stale=stale)
    if view.filming:
        over: Over = "strip" if view.writing is None else "note"
        if view.far and image is not None:
            over = "far"
        draw_filming(surface, pen, free if over == "far" else layout, over)
    return layout


def _draw_instead(surface: Any, pen: Pen, layout: Layout, view: View) -> bool:  # noqa: ANN401
    """Draw what stands in the mirror's place, the next player's name or the last rep, if any."""
    if view.announced is not None:
        draw_announced(surface, pen, layout, view.announced)
    elif view.looked is not None:
        free = above_note(layout) if view.writing is not None else layout
        draw_look_back(surface, pen, free, view.looked)
        if view.writing is not None:
            draw_writing(surface, pen, layout, view.writing)
    return view.announced is not None or view.looked is not None


def _shown_measures(view: View, memory: Memory, now_s: float, *, stale: bool) -> Measures:
    """Return what is to be shown: this reading, or the last rep's top while its verdict stands."""
    if view.image_rgb is None or view.step is None or stale:
        return Measures(t_s=0.0)
    shown = at_top(view) or view.step.measures
    return memory.calm.steady(asked_of(shown, view), now_s)


def _draw_measures(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    measures: Measures,
    view: View,
    memory: Memory,
    now_s: float,
) -> None:
    """Draw turn, head and hips, or in place of each why the practice keeps it back."""
    calm, u = memory.calm, layout.unit
    kept = screen_words.kept_back(view, "turn")
    if view.practice is not None and view.practice.points is not None:
        draw_points(surface, pen, layout, view, view.practice)
    elif kept:
        draw_kept_back(surface, pen, layout.turn.plate, kept, u)
    else:
        draw_turn(surface, pen, layout, measures, view, calm, now_s)
    kept = screen_words.kept_back(view, "drifts")
    if kept:
        for box in (layout.head, layout.hips):
            draw_kept_back(surface, pen, box.plate, kept, u)
        return
    draw_head(surface, pen, layout, measures, view, calm, now_s)
    draw_hips(surface, pen, layout, measures, view, calm, now_s)


def _draw_found(surface: Any, pose: Pose, layout: Layout) -> None:  # noqa: ANN401
    """Dot shoulders and hips before the swing, so the player sees they are found.

    Gone from takeaway on: nothing to steer by lies on the body.
    """
    import pygame

    radius = max(round(0.008 * layout.picture.h), 2)
    for point in FOUND_POINTS:
        x, y = pose.image_px[point]
        if not (np.isfinite(x) and np.isfinite(y)):
            continue
        picture = layout.picture
        at = (
            round(picture.right - x * picture.w / pose.size_wh[0]),
            round(picture.y + y * picture.h / pose.size_wh[1]),
        )
        if not (picture.x <= at[0] <= picture.right and picture.y <= at[1] <= picture.bottom):
            continue
        pygame.draw.circle(surface, palette.BLACK, at, radius + max(radius // 2, 1))
        pygame.draw.circle(surface, palette.TEXT, at, radius)


def _draw_opening(surface: Any, pen: Pen, layout: Layout) -> None:  # noqa: ANN401
    window, u = layout.window, layout.unit
    cap = pen.shrunk(screen_words.OPENING, HEADLINE * u, 0.9 * window.w)
    at = (window.w / 2, (layout.strip.y - cap) / 2)
    pen.write(surface, screen_words.OPENING, at, cap, palette.TEXT, align=0.5)


def _draw_strip(surface: Any, pen: Pen, layout: Layout, view: View, *, stale: bool) -> None:  # noqa: ANN401
    u = layout.unit
    surface.fill(palette.INK, tuple(round(v) for v in layout.strip))
    if view.image_rgb is None:
        _draw_line(surface, pen, layout, view, stale=stale)
        return
    words = screen_words.headline(view, stale=stale)
    box = layout.headline
    lines, cap = pen.block(words, HEADLINE * u, box, 2)
    y = box.y
    if len(lines) == 1:
        y = box.y + max((box.h - cap * 1.2) / 2, 0)
    for line in lines:
        pen.write(surface, line, (box.x, y), cap, palette.TEXT)
        y += cap * LEADING
    _draw_line(surface, pen, layout, view, stale=stale)
    if view.image_rgb is not None:
        reps = str(view.reps)
        label_cap = SMALL * 1.3 * u
        figure_cap = pen.shrunk(reps, FIGURE * u, layout.reps.w * 0.72)
        figure = pen.write(
            surface,
            reps,
            (layout.reps.right, layout.reps.y + (layout.reps.h - figure_cap) / 2),
            figure_cap,
            palette.TEXT,
            align=1.0,
        )
        room = figure.x - 0.015 * u - layout.reps.x
        label_cap = pen.shrunk(screen_words.REPS, label_cap, room)
        pen.write(
            surface,
            screen_words.REPS,
            (figure.x - 0.015 * u, figure.y + figure.h - label_cap),
            label_cap,
            palette.QUIET_TEXT,
            align=1.0,
        )


def _draw_line(surface: Any, pen: Pen, layout: Layout, view: View, *, stale: bool) -> None:  # noqa: ANN401
    box, u = layout.line, layout.unit
    most = 4 if box.h > 0.1 * u else 2  # lines
    notices = screen_words.notices(view, stale=stale)
    if not notices:
        words = screen_words.quiet_line(view, stale=stale)
        if view.image_rgb is not None:
            lines, cap = pen.block(words, LINE * u, box, most)
            for n, line in enumerate(lines):
                at = (box.x, box.y + (0.2 * cap) + n * cap * LEADING)
                pen.write(surface, line, at, cap, palette.QUIET_TEXT)
        return
    mark_w = 0.05 * u
    words = "  ·  ".join(notices)
    text_box = Box(box.x + mark_w, box.y, max(box.w - mark_w, 1), box.h)
    lines, cap = pen.block(words, NOTICE * u, text_box, most)
    warning_mark(surface, (box.x + 0.4 * mark_w, box.y + 0.2 * cap + 0.02 * u), 0.04 * u)
    for n, line in enumerate(lines):
        at = (text_box.x, text_box.y + 0.2 * cap + n * cap * LEADING)
        pen.write(surface, line, at, cap, palette.TEXT)
