"""Every word of the window stands in the modules of words, so that it can be put in another."""

import ast
from pathlib import Path

import pytest

from trainer.adapters import screen_words

DRAWING = sorted(
    path
    for path in Path(screen_words.__file__).parent.glob("screen*.py")
    if path.name != "screen_words.py"
)
#: Calls that put text on the glass or measure it on the way there.
WRITES = {"write", "render", "block", "shrunk", "wrap", "width", "write_figure", "draw_kept_back"}


def words_in(source):
    """Return (line, text) of each text in ``source`` that looks as if somebody would read it.

    A text with a space or sign between letters, or any text handed to a call that writes.
    What only errors say, and docstrings, are left out.
    """
    tree = ast.parse(source)
    left_out = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(
            node
        ):
            left_out.add(id(node.body[0].value))
        if isinstance(node, ast.Raise) or (
            isinstance(node, ast.Call) and getattr(node.func, "id", "") == "_without"
        ):
            left_out |= {id(part) for part in ast.walk(node)}
    written = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in WRITES:
                written |= {id(arg) for arg in node.args}
                written |= {id(p) for a in node.args if isinstance(a, ast.JoinedStr)
                            for p in a.values}  # fmt: skip
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        text = node.value
        if id(node) in left_out or not any(letter.isalpha() for letter in text):
            continue
        if id(node) in written or not text.replace("_", "").isalnum():
            found.append((node.lineno, text))
    return found


@pytest.mark.parametrize("path", DRAWING, ids=lambda path: path.stem)
def test_what_draws_has_no_words_of_its_own(path):
    allowed = {"SDL_VIDEODRIVER", "PYGAME_HIDE_SUPPORT_PROMPT", "no screen"}  # not on the glass
    found = [each for each in words_in(path.read_text("utf-8")) if each[1] not in allowed]
    assert not found, f"{path.name}: move these to screen_words.py: {found}"


def test_a_word_written_from_the_drawing_code_would_be_found():
    assert words_in('pen.write(surface, "reps", at, cap, colour)') == [(1, "reps")]
    assert words_in('pen.write(surface, f"{n} reps", at, cap, colour)') == [(1, " reps")]
    assert words_in('_STEPS = (("a", "face the camera"),)') == [(1, "face the camera")]
    assert words_in('"""Doc string."""\nif state == "out": raise E("what happened")') == []


#: What gives the screen its answers and notices.
TELLING = ("engine.py", "app.py", "actions.py", "core/practice_shown.py")


@pytest.mark.parametrize("name", TELLING)
def test_what_tells_the_screen_takes_its_words_from_a_module_of_words(name):
    path = Path(screen_words.__file__).parents[1] / name
    found = words_in(path.read_text("utf-8"))
    assert not found, f"{name}: move these to a module of words: {found}"
