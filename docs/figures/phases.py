"""Draws phases.svg, the diagram of phases, from the table of legal moves itself.

Run ``python docs/figures/phases.py [FOLDER]``. Every move of the table becomes one path that
carries its two phases as attributes, so a test can read the diagram back.
"""

import sys
from pathlib import Path

from trainer.core.phase_state import MOVES
from trainer.core.records import Phase
from trainer.words import PHASE_WORDS

ROW = (Phase.WAITING, Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER)
STEP, WIDTH, HEIGHT = 186, 146, 46
LEFT, BAR_Y, ROW_Y = 24, 20, 150
SIZE = (LEFT * 2 + STEP * (len(ROW) - 1) + WIDTH, 350)


def middle_x(phase):
    """Return the middle of a phase's box."""
    return LEFT + ROW.index(phase) * STEP + WIDTH / 2


def box(phase, x, y, width):
    """Return a labelled box."""
    words = PHASE_WORDS[phase]
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{HEIGHT}" rx="8"/>'
        f'<text x="{x + width / 2:g}" y="{y + HEIGHT / 2 + 5:g}">{words}</text>'
    )


def line_of(old, new):
    """Return the shape of the arrow from one phase to another."""
    bottom, top = ROW_Y + HEIGHT, ROW_Y
    if new is Phase.NOBODY:
        # From waiting there are two arrows, so this one stands aside.
        x = middle_x(old) + (20 if old in MOVES[Phase.NOBODY] else 0)
        return f"M{x:g} {top} V{BAR_Y + HEIGHT + 3}"
    if old is Phase.NOBODY:
        return f"M{middle_x(new) - 20:g} {BAR_Y + HEIGHT} V{top - 3}"
    span = ROW.index(new) - ROW.index(old)
    if span == 1:
        return f"M{middle_x(old) + WIDTH / 2:g} {top + HEIGHT / 2:g} h{STEP - WIDTH - 3}"
    depth = bottom + 22 + 26 * abs(span)
    side = 12 if span < 0 else -12
    start, end = middle_x(old) - side - 8 * span, middle_x(new) + side - 8 * span / abs(span)
    return f"M{start:g} {bottom} C{start:g} {depth:g} {end:g} {depth:g} {end:g} {bottom + 3}"


def svg():
    """Return the whole drawing as text."""
    width, height = SIZE
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" font-size="14" text-anchor="middle">',
        "<title>Phases of a rep, and every move between them</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        '<defs><marker id="head" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" '
        'markerHeight="7" orient="auto"><path d="M0 0 L8 4 L0 8 z" fill="#333333"/></marker>'
        "</defs>",
        '<g fill="none" stroke="#333333" stroke-width="1.6" marker-end="url(#head)">',
    ]
    for old in Phase:
        for new in sorted(MOVES[old], key=list(Phase).index):
            lines.append(
                f'<path class="move" data-from="{old.value}" data-to="{new.value}" '
                f'd="{line_of(old, new)}"/>'
            )
    lines.append('</g><g fill="#e8f2fa" stroke="#0072b2" stroke-width="1.6">')
    boxes = [box(Phase.NOBODY, LEFT, BAR_Y, width - 2 * LEFT)]
    boxes += [box(phase, middle_x(phase) - WIDTH / 2, ROW_Y, WIDTH) for phase in ROW]
    lines += [text.replace("<text", '<text stroke="none" fill="#000000"') for text in boxes]
    lines.append("</g></svg>")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    (folder / "phases.svg").write_text(svg(), encoding="utf-8", newline="\n")
