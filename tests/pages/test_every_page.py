"""Every page of the window, drawn from a made-up player's practice: what it says and where."""

import ast
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pygame
import pytest
from PIL import Image
from screen_views import ListeningPen

import trainer
from trainer.adapters import screen_words
from trainer.adapters.photograph import draw_once
from trainer.core.records import Phase
from trainer.pages.__main__ import main
from trainer.pages.shots import LIST, SHOTS
from trainer.store.records import Kind

ROOT = Path(trainer.__file__).parent
#: Where the window's words stand: its own, and what it is told of practice, reps and the caution.
WORDS = (
    "adapters/screen_words.py",
    "core/practice_words.py",
    "core/bay_words.py",
    "core/checkpoints.py",
    "core/setup_check.py",
    "core/summary.py",
    "words.py",
    "caution.py",
    "report/library.py",
    "first_words.py",
    "core/placement_words.py",
    "lengths.py",
)
each_page = pytest.mark.parametrize("name", SHOTS)
_VIEWS = {}


def view_of(name):
    """Return the page's view; made once, for a practice takes a second to run."""
    if name not in _VIEWS:
        _VIEWS[name] = SHOTS[name].make()
    return _VIEWS[name]


def written_on(name, size_wh=(1280, 720), *, large_text=False):
    pen, view = ListeningPen(), view_of(name)
    draw_once(
        replace(view, look=replace(view.look, large_text=large_text)),
        page=SHOTS[name].page,
        stale=SHOTS[name].stale,
        pen=pen,
        size_wh=size_wh,
    )
    return pen.written


def hung(text, box):
    """Return the box of a text with what hangs under its line: a quarter of a digit's height."""
    return box._replace(h=1.25 * box.h) if set(text) & set("gjpqy,;()") else box


def known_words():
    found = set()
    for name in WORDS:
        tree = ast.parse((ROOT / name).read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found |= set(re.findall(r"[a-z]+", node.value.lower()))
    return found


@pytest.mark.parametrize("size_wh", [(1280, 720), (640, 360), (1024, 768), (420, 760)])
@pytest.mark.parametrize("large_text", [False, True], ids=["usual", "large"])
@each_page
def test_no_writing_leaves_the_window(name, size_wh, large_text):
    for text, box, *_ in written_on(name, size_wh, large_text=large_text):
        assert box.x >= -0.5, text
        assert box.right <= size_wh[0] + 0.5, text
        assert box.y >= -0.5, text
        assert box.bottom <= size_wh[1] + 0.5, text


@pytest.mark.parametrize("size_wh", [(1280, 720), (1024, 768), (420, 760)])
@pytest.mark.parametrize("large_text", [False, True], ids=["usual", "large"])
@each_page
def test_no_writing_lies_on_another(name, size_wh, large_text):
    all_of_it = written_on(name, size_wh, large_text=large_text)
    written = [(text, box) for text, box, *_ in all_of_it if text.strip("° ")]
    for number, (text, box) in enumerate(written):
        for other, that in written[:number]:
            if (text, box) != (other, that):
                assert not hung(text, box).inside(0.5).overlaps(hung(other, that)), (text, other)


@each_page
def test_every_word_written_stands_in_a_module_of_words(name):
    told = " ".join(cell for row in (*LIST.rows, LIST.head, (LIST.title,)) for cell in row)
    told += " ".join(view_of(name).notices)
    known = known_words() | set(re.findall(r"[a-z]+", told.lower()))
    for text, *_ in written_on(name):
        assert set(re.findall(r"[a-z]+", text.lower())) <= known, text


def test_the_made_up_practice_is_what_the_pages_are_called_after():
    assert view_of("waiting").step.phase is Phase.WAITING
    assert view_of("setup-check").practice.setup
    assert not all(finding.fine for finding in view_of("setup-check").practice.setup)
    assert view_of("ball-line").ball_line is not None
    assert view_of("backswing").step.phase is Phase.BACKSWING
    assert view_of("result-good").last_rep_words[0] == "Good rep"
    assert view_of("result-off").last_rep_words[0] != "Good rep"
    assert view_of("checkpoints").practice.points.next == 2  # setup and hip height were held
    assert not view_of("guess-first").practice.verdict
    assert view_of("paused").practice.paused
    assert view_of("left-handed-result").handed_left
    assert view_of("after-pain").pain


def test_the_command_writes_the_pages_asked_for(tmp_path, capsys):
    assert main(["--out", str(tmp_path / "new"), "--only", "opening", "keys"]) == 0
    assert {path.name for path in (tmp_path / "new").iterdir()} == {"opening.png", "keys.png"}
    assert "opening.png" in capsys.readouterr().out
    with Image.open(tmp_path / "new" / "keys.png") as picture:
        assert picture.size == (1280, 720)
        assert picture.mode == "P"  # a palette: a third of the size


PICTURES = Path(trainer.__file__).parents[1] / "docs" / "images" / "pages"


def test_there_is_a_picture_of_every_page_and_none_is_left_over():
    assert {path.stem for path in PICTURES.iterdir()} == set(SHOTS)


def test_the_pictures_together_stay_small():
    assert sum(path.stat().st_size for path in PICTURES.iterdir()) < 1_500_000


@each_page
def test_the_picture_of_a_page_is_what_is_drawn_now(name):
    shot = SHOTS[name]
    surface = draw_once(view_of(name), page=shot.page, stale=shot.stale, focus=shot.focus)
    now = pygame.surfarray.array3d(surface).transpose(1, 0, 2).astype(int)
    kept = np.asarray(Image.open(PICTURES / f"{name}.png").convert("RGB")).astype(int)
    # A palette and another version's letters move single pixels; a page that changed moves more.
    assert np.abs(now - kept).mean() < 4.0, "run: python -m trainer.pages --out docs/images/pages"


#: Shown in the mirror's place, so that its headline is not to be seen.
COVERING = ("sessions", "next-player", "note", "rep-standing-still", "two-tops")


@pytest.mark.parametrize("name", [n for n in SHOTS if not SHOTS[n].page and n not in COVERING])
def test_no_headline_is_too_small_for_where_the_player_stands(name):
    # 12 minutes of arc from 3 m on a 15.6-inch laptop of 194.3 mm: docs/screen-rules.md
    least_px = 2 * 3000 * math.tan(math.radians(12 / 60 / 2)) / 194.3 * 720
    view = view_of(name)
    headline = screen_words.headline(view, stale=SHOTS[name].stale)
    caps = [cap for text, _, cap, _ in written_on(name) if text and text in headline]
    assert max(caps) >= least_px


def test_the_photographed_list_names_where_sessions_are_from_as_the_record_does():
    at = LIST.head.index("from")
    assert {row[at] for row in LIST.rows} == {kind.value for kind in Kind}
