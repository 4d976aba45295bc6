"""Every page of the window, drawn from a made-up player's practice: what it says and where."""

import ast
import re
from pathlib import Path

import pytest
from PIL import Image
from screen_views import ListeningPen

import trainer
from trainer.adapters.photograph import draw_once
from trainer.core.records import Phase
from trainer.pages.__main__ import main
from trainer.pages.shots import LIST, SHOTS

ROOT = Path(trainer.__file__).parent
#: Where the window's words stand: its own, and what it is told of practice, reps and the caution.
WORDS = (
    "adapters/screen_words.py",
    "core/practice_words.py",
    "core/checkpoints.py",
    "core/setup_check.py",
    "core/summary.py",
    "words.py",
    "caution.py",
    "report/library.py",
)
each_page = pytest.mark.parametrize("name", SHOTS)
_VIEWS = {}


def view_of(name):
    """Return the page's view; made once, for a practice takes a second to run."""
    if name not in _VIEWS:
        _VIEWS[name] = SHOTS[name].make()
    return _VIEWS[name]


def written_on(name, size_wh=(1280, 720)):
    pen = ListeningPen()
    draw_once(
        view_of(name), page=SHOTS[name].page, stale=SHOTS[name].stale, pen=pen, size_wh=size_wh
    )
    return pen.written


def known_words():
    found = set()
    for name in WORDS:
        tree = ast.parse((ROOT / name).read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found |= set(re.findall(r"[a-z]+", node.value.lower()))
    return found


@each_page
def test_no_writing_leaves_the_window(name):
    for text, box, *_ in written_on(name):
        assert box.x >= -0.5, text
        assert box.right <= 1280.5, text
        assert box.y >= -0.5, text
        assert box.bottom <= 720.5, text


@each_page
def test_no_writing_lies_on_another(name):
    written = [(text, box) for text, box, *_ in written_on(name) if text.strip("° ")]
    for number, (text, box) in enumerate(written):
        for other, that in written[:number]:
            if (text, box) != (other, that):
                assert not box.inside(0.5).overlaps(that), (text, other)


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
