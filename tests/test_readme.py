"""Every command that README.md and the pages under docs show is one the program takes."""

import re
import shlex
import sys
from pathlib import Path

import pytest

from trainer.caution import CAUTION_LINES
from trainer.cli import _parser

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])

#: Before the name of a program: the folder it was installed into.
_FOLDER = re.compile(r"^\.venv(/bin/|\\Scripts\\)")
_FENCE = re.compile(r"^ *(`{3,}|~{3,})([a-z]*) *$")


def code_lines(text):
    """Return the lines of fenced ``sh`` (or unnamed) blocks and of blocks indented by four."""
    lines, fence, indented = [], None, False
    before = ""
    for line in text.splitlines():
        mark = _FENCE.match(line)
        if fence is not None:
            if mark and mark[1] == fence[0]:
                fence = None
            elif fence[1] in ("", "sh", "console", "bash"):
                lines.append(line.strip())
        elif mark:
            fence = (mark[1], mark[2])
        else:
            # An indented block follows an empty line; a list's second line does not.
            indented = line.startswith("    ") and (indented or not before.strip())
            if indented:
                lines.append(line.strip())
        before = line
    return lines


def commands(text):
    """Return each shell command of a page's code, with the prompt and the folder taken off."""
    found = []
    for line in code_lines(text):
        for part in re.split(r"\s*(?:&&|;|\|)\s*", line.split("  #")[0].split(" # ")[0]):
            found.append(_FOLDER.sub("", part.removeprefix("$ ").strip()))
    return [part for part in found if part]


def mentions(text):
    """Return each ``trainer ...`` between single backquotes in the prose of a page."""
    return re.findall(r"(?<!`)`(trainer [^`\n]+)`(?!`)", text)


def arguments(command):
    """Return the words after ``trainer``; None for a command that is not the program's."""
    words = shlex.split(command, posix="\\" not in command)
    if words[:1] == ["trainer"]:
        return words[1:]
    if re.fullmatch(r"python3?|py", words[0]) and words[1:3] == ["-m", "trainer"]:
        return words[3:]
    return None


def parse(words):
    """Parse ``words`` as the program does; fail with the program's own complaint."""
    try:
        _parser().parse_args(words)
    except SystemExit as left:
        return left.code == 0
    return True


def is_known(words):
    """Tell whether the command exists and has every option named; values may be left out."""
    (choices,) = (action.choices for action in _parser()._actions if action.dest == "==SUPPRESS==")
    command = choices.get(words[0])
    if command is None:
        return words[0] in ("--help", "--version", "COMMAND")
    options = {word.split("=")[0] for word in words[1:] if word.startswith("-")}
    return options <= set(command._option_string_actions)


def typed(page):
    """Return the program's own commands in the code of a page, as (command, arguments)."""
    shown = commands(page.read_text(encoding="utf-8"))
    return [(line, arguments(line)) for line in shown if arguments(line) is not None]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_command_shown_is_one_the_program_takes(page):
    refused = [line for line, words in typed(page) if not parse(words)]
    assert refused == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_command_named_in_passing_is_one_the_program_has(page):
    named = mentions(page.read_text(encoding="utf-8"))
    assert [span for span in named if not is_known(span.split()[1:])] == []


def test_the_readme_shows_the_demo_and_the_live_mirror():
    shown = {words[0] for _, words in typed(README) if words}
    assert {"demo", "live"} <= shown


def test_the_install_commands_name_extras_that_exist():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    installs = [line for line in commands(README.read_text(encoding="utf-8")) if "install" in line]
    pip = [line for line in installs if "pip install" in line]
    assert len(pip) >= 2
    named = {extra for line in pip for extra in re.findall(r"\[([a-z,-]+)\]", line)}
    assert named <= set(project["optional-dependencies"])
    assert "test" in named


def test_the_readme_says_the_same_caution_as_the_program():
    text = README.read_text(encoding="utf-8")
    for line in CAUTION_LINES:
        assert f"- {line}" in text


def test_the_readme_says_the_python_versions_that_the_package_takes():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    low, below = re.fullmatch(r">=3\.(\d+),<3\.(\d+)", project["requires-python"]).groups()
    text = README.read_text(encoding="utf-8")
    assert f"Python 3.{low} to 3.{int(below) - 1}" in text


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("```sh\ntrainer live --rotate 90\n```\n", ["trainer live --rotate 90"]),
        ("```toml\ntrainer = 1\n```\n", []),
        ("words\n\n    $ .venv/bin/trainer demo && echo done\n", ["trainer demo", "echo done"]),
        ("- a list\n    trainer is a word here\n", []),
        ("    .venv\\Scripts\\trainer demo\n", ["trainer demo"]),
    ],
)
def test_the_check_reads_code_and_leaves_prose_alone(text, found):
    assert commands(text) == found


def test_the_check_refuses_an_option_the_program_does_not_have():
    assert parse(["live", "--rotate", "90"])
    assert not parse(["live", "--turn", "90"])
    assert is_known(["live", "--record"])
    assert not is_known(["live", "--turn"])
    assert not is_known(["fly"])
    assert arguments("python -m trainer live") == ["live"]
    assert arguments("python3 -m trainer.lab video") is None
