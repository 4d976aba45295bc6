"""The documentation against the program: links, options, examples, settings, figures, caution."""

import argparse
import json
import os
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from trainer import cli
from trainer.caution import CAUTION_LINES
from trainer.core.phase_state import MOVES
from trainer.core.practice_rules import PracticeRules
from trainer.core.records import Cue, CueKind, Measures, Phase, Rep, Side, Step
from trainer.core.rules import CueRules, PhaseRules, Rules, SetupCheckRules, SetupRules
from trainer.core.smoothing import OneEuroRules
from trainer.errors import SettingsError
from trainer.measure import clip_result, csv_text
from trainer.settings import CameraSettings, TagSettings, from_values
from trainer.settings_pictures import PictureSettings

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted(
    path
    for pattern in ("*.md", "docs/**/*.md", "sounds/*.md", "demo_data/*.md")
    for path in ROOT.glob(pattern)
)
#: Pages that speak of the program's own options, and of no other program's.
PLAYER_PAGES = [
    path for path in PAGES if path.is_relative_to(ROOT / "docs") and path.name != "performance.md"
]
each_page = pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))


def anchors(page):
    """The anchors of a page's headings, by GitHub's rule (from memory): lower case, words by -."""
    found = set()
    for heading in re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE):
        words = re.sub(r"[^\w\- ]", "", heading.lower())
        found.add(words.strip().replace(" ", "-"))
    return found


def code_blocks(page, language):
    return re.findall(
        rf"^ *```{language}\n(.*?)^ *```",
        page.read_text(encoding="utf-8"),
        re.MULTILINE | re.DOTALL,
    )


def table(page, heading):
    """The rows of the table under a heading, as lists of cells."""
    text = page.read_text(encoding="utf-8").split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    rows = [line for line in text.splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]


@each_page
def test_every_link_leads_somewhere(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if re.match(r"https?:", target):
            continue
        path, _, anchor = target.partition("#")
        there = (page.parent / path).resolve() if path else page
        assert there.exists(), f"{target} in {page.name}"
        if anchor:
            assert anchor in anchors(there), f"{target} in {page.name}"


@pytest.mark.parametrize("page", PLAYER_PAGES, ids=lambda p: p.name)
def test_every_option_named_for_players_exists(page):
    (commands_action,) = (
        action
        for action in cli._parser()._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    known = {
        option
        for parser in (*commands_action.choices.values(), cli._parser())
        for option in parser._option_string_actions
    }
    text = page.read_text(encoding="utf-8")
    # Lines that call another program name that program's options.
    lines = [
        line
        for line in text.splitlines()
        if not re.search(r"\b(pip|pytest|python|apt|dask)\b", line)
    ]
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", "\n".join(lines)))
    assert named <= known


@each_page
def test_every_python_example_runs(page, monkeypatch):
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    for number, block in enumerate(code_blocks(page, "python")):
        indent = len(block) - len(block.lstrip(" "))
        source = "\n".join(line[indent:] for line in block.splitlines())
        exec(compile(source, f"{page.name}, example {number + 1}", "exec"), {"__name__": "example"})


@each_page
def test_every_toml_example_is_a_settings_file_that_is_accepted(page):
    for block in code_blocks(page, "toml"):
        from_values(tomllib.loads(block), page.name)


SETTINGS_PAGE = ROOT / "docs/how-to/settings.md"
SECTIONS = {
    "player": {"name": None, "keep": True, "handed": "right", "stature_cm": None},
    "cues": CueRules(),
    "practice": PracticeRules(),
    "setup": SetupRules(),
    "setup_check": SetupCheckRules(),
    "phases": PhaseRules(),
    "smoothing": Rules().smoothing,
    "camera": CameraSettings(),
    "tags": TagSettings(),
    "pictures": PictureSettings(),
    "sound": {"player": "auto", "level_db": 0.0},
    "screen": {"show_caution": True, "large_text": False, "figures": True, "far": False},
}
#: The window must be longer than the stillness it is to show.
BESIDE = {"still_s": {"window_s": 60.0}, "window_s": {"still_s": 0.1}}
UNITS = {
    "_cm_s": "cm/s", "_deg_s": "deg/s", "_cm": "cm", "_deg": "deg", "_hz": "Hz", "_s": "s",
    "_fps": "pictures/s", "_mm": "mm", "_mb": "MB", "_sw": "shoulder widths",
}  # fmt: skip


def defaults(section):
    values = SECTIONS[section]
    if isinstance(values, dict):
        return values
    return {field.name: getattr(values, field.name) for field in fields(values)}


def test_the_settings_page_has_every_section_and_no_other():
    text = SETTINGS_PAGE.read_text(encoding="utf-8")
    assert set(re.findall(r"^## \[(\w+)\]$", text, re.MULTILINE)) == set(SECTIONS)
    with pytest.raises(SettingsError, match="unknown section") as caught:
        from_values({"no such": {}}, "here")
    known = str(caught.value).split("Known are: ")[1].split(". ")[0].split(", ")
    assert set(known) == set(SECTIONS)
    assert isinstance(SECTIONS["smoothing"], OneEuroRules)


@pytest.mark.parametrize("section", SECTIONS)
def test_the_settings_page_gives_every_key_with_its_default(section):
    stated = {}
    for key, default, _, meaning in table(SETTINGS_PAGE, f"[{section}]"):
        value = None if default == "none" else tomllib.loads(f"v = {default.strip('`')}")["v"]
        stated[key.strip("`")] = value
        assert meaning
    assert stated == defaults(section)
    assert list(stated) == list(defaults(section)), "in the order of the dataclass"


@pytest.mark.parametrize("section", SECTIONS)
def test_the_settings_page_gives_the_range_that_is_accepted(section):
    def accepted(key, value):
        try:
            from_values({section: BESIDE.get(key, {}) | {key: value}}, "here")
        except SettingsError:
            return False
        return True

    for cell, _, stated, _ in table(SETTINGS_PAGE, f"[{section}]"):
        key = cell.strip("`")
        numbers = re.match(r"(-?[\d.]+) to (-?[\d.]+) ?(.*)", stated)
        if numbers is None:
            for choice in re.findall(r"`([^`]+)`", stated):
                assert accepted(key, tomllib.loads(f"v = {choice}")["v"])
            continue
        low, high, unit = float(numbers[1]), float(numbers[2]), numbers[3]
        assert accepted(key, low), key
        assert accepted(key, high), key
        assert not accepted(key, low - 0.01), key
        assert not accepted(key, high + 0.01), key
        for ending, word in UNITS.items():
            if key.endswith(ending):
                assert unit.startswith(word), key
                break


@pytest.mark.parametrize("page", ["README.md", "docs/safety.md"])
def test_the_caution_is_the_programs_own(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    shown = text.split("(trainer/caution.py) -->\n")[1].split("<!-- end of caution -->")[0]
    assert shown.splitlines() == [f"- {line}" for line in CAUTION_LINES]


def test_the_diagram_holds_every_legal_move_and_no_other():
    text = (ROOT / "docs/figures/phases.svg").read_text(encoding="utf-8")
    drawn = re.findall(r'<path class="move" data-from="(\w+)" data-to="(\w+)"', text)
    legal = {(old.value, new.value) for old, moves in MOVES.items() for new in moves}
    assert set(drawn) == legal
    assert len(drawn) == len(legal)


@pytest.fixture(scope="module")
def fresh_figures(tmp_path_factory):
    folder = tmp_path_factory.mktemp("figures")
    for script in ("phases.py", "measures.py"):
        subprocess.run(
            [sys.executable, ROOT / "docs/figures" / script, folder],
            check=True,
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            timeout=300,
        )
    return folder


NUMBER = r"-?\d+(?:\.\d+)?"
#: Charts of a run of the accuracy report, which draws them; the others have scripts here.
CHARTS = sorted((ROOT / "docs/figures").glob("accuracy-*.*"))
FIGURES = [path for path in sorted((ROOT / "docs/figures").glob("*.svg")) if path not in CHARTS]


def test_every_chart_of_the_accuracy_report_is_on_its_page_with_words_for_it():
    text = (ROOT / "docs/accuracy.md").read_text(encoding="utf-8")
    shown = dict(
        (name, words) for words, name in re.findall(r"!\[([^\]]*)\]\(figures/([^)]+)\)", text)
    )
    assert set(shown) == {path.name for path in CHARTS}
    assert all(len(words) > 40 for words in shown.values())


@pytest.mark.parametrize("name", [path.name for path in FIGURES])
def test_the_figures_are_what_their_scripts_draw(name, fresh_figures):
    kept = (ROOT / "docs/figures" / name).read_text(encoding="utf-8")
    fresh = (fresh_figures / name).read_text(encoding="utf-8")
    written = r"<text[^>]*>([^<]*)</text>"
    assert re.findall(written, kept) == re.findall(written, fresh)
    made_by = r"Matplotlib v[\d.]+"
    if re.findall(made_by, kept) != re.findall(made_by, fresh):
        return  # another version draws the same in other words
    assert re.sub(NUMBER, "#", kept) == re.sub(NUMBER, "#", fresh)
    # Last digits may differ from machine to machine.
    assert [float(n) for n in re.findall(NUMBER, kept)] == pytest.approx(
        [float(n) for n in re.findall(NUMBER, fresh)], abs=0.05
    )


def test_no_figure_is_left_over(fresh_figures):
    kept = {path.name for path in FIGURES}
    assert kept == {path.name for path in fresh_figures.iterdir()}


def shape(value):
    """Names and nesting of a JSON value; of a list, the shape of its first item."""
    if isinstance(value, dict):
        return {key: shape(item) for key, item in value.items()}
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [shape(value[0])]
    return None


def test_the_measure_format_page_shows_what_is_written():
    page = ROOT / "docs/measure-format.md"
    now = Measures(t_s=3.7, shoulder_turn_deg=84.0)
    cue = Cue(kind=CueKind.HEAD_OUT, side=Side.AWAY, strength=0.2, t_s=2.9, decided_t_s=3.0)
    rep = Rep(number=1, setup_t_s=0.6, takeaway_t_s=2.4, complete=True, at_top=now, cues=(cue,))
    step = Step(t_s=3.7, pose=None, measures=now, phase=Phase.TOP, rep=rep)
    written = clip_result(
        [step], [rep] * 3, clip="swing.mp4", fps=30.0, size_wh=(1280, 720), rules=Rules()
    )
    (example,) = code_blocks(page, "json")
    assert shape(json.loads(example)) == shape(written)
    assert csv_text(written["frames"]).splitlines()[0] in page.read_text(encoding="utf-8")
    for phase in Phase:
        assert f"`{phase.value}`" in page.read_text(encoding="utf-8")
