"""What pyproject.toml promises, and what is installed."""

import base64
import hashlib
import importlib.metadata
import re
import sys
from pathlib import Path

import cv2

import trainer

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).resolve().parents[1]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PROJECT = PYPROJECT["project"]
OWNERS_OF_CV2 = ("opencv-python", "opencv-contrib-python")


def name_of(requirement):
    return re.match(r"[A-Za-z0-9_.-]+", requirement)[0].lower()


def test_both_packages_that_own_cv2_are_pinned_to_one_version():
    pins = {name_of(r): r.split("==")[1] for r in PROJECT["dependencies"] if "opencv" in r}
    assert set(pins) == set(OWNERS_OF_CV2)
    assert len(set(pins.values())) == 1


def test_the_cv2_that_is_imported_is_of_the_version_both_packages_have():
    versions = {importlib.metadata.version(name) for name in OWNERS_OF_CV2}
    assert len(versions) == 1
    # A package's version is OpenCV's own and a build number.
    assert versions.pop().rpartition(".")[0] == cv2.__version__


def test_the_cv2_that_is_imported_is_one_packages_whole_and_no_mixture():
    native = next(
        path
        for path in Path(cv2.__file__).parent.iterdir()
        if path.name.startswith("cv2.") and path.suffix in {".so", ".pyd"}
    )
    digest = hashlib.sha256(native.read_bytes()).digest()
    found = base64.urlsafe_b64encode(digest).decode().rstrip("=")
    owners = []
    for name in OWNERS_OF_CV2:
        files = importlib.metadata.files(name) or []
        stated = {file.hash.value for file in files if file.name == native.name and file.hash}
        if found in stated:
            owners.append(name)
    from cv2 import version

    assert owners == ["opencv-contrib-python" if version.contrib else "opencv-python"]


def test_the_python_range_is_stated_once_and_repeated_rightly():
    assert PROJECT["requires-python"] == ">=3.10,<3.15"
    assert PYPROJECT["tool"]["ruff"]["target-version"] == "py310"
    assert PYPROJECT["tool"]["mypy"]["python_version"] == "3.10"
    assert "Python 3.10 to 3.14" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_tones_and_demo_clips_go_into_the_wheel():
    wheel = PYPROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["force-include"] == {
        "sounds": "trainer/data/sounds",
        "demo_data": "trainer/data/demo_data",
    }


def test_the_version_is_the_same_everywhere():
    assert PROJECT["version"] == trainer.__version__
    changelog = (ROOT / "docs/changelog.md").read_text(encoding="utf-8")
    assert f"## {trainer.__version__}" in changelog


def test_every_dependency_has_its_reason_in_the_developers_page():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \|$", text.split("## Why each dependency")[1], re.M)
    explained = {name.split(" (")[0].strip() for row in rows for name in row.split(",")}
    wanted = {name_of(r) for r in PROJECT["dependencies"]}
    for extra in PROJECT["optional-dependencies"].values():
        wanted |= {name_of(r) for r in extra}
    wanted |= {name_of(r) for r in PYPROJECT["build-system"]["requires"]}
    wanted -= {PROJECT["name"]}
    assert wanted <= {part.split(" (")[0].strip() for part in explained}


def test_ci_runs_the_test_command_of_the_readme():
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    pattern = re.search(r"sed -n 's/\^    \\\((.+)\\\)\$/", script)[1]
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = [line for line in readme.splitlines() if re.fullmatch("    " + pattern, line)]
    assert found == [
        "    python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && "
        ".venv/bin/python -m pytest"
    ]


def test_developers_and_ci_make_the_same_checks():
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    checks = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Checks")[1]
    for command in re.findall(r"^    (\.venv/bin/(?:ruff|mypy).*)$", checks, re.M):
        assert f"\n{command}\n" in script


def test_the_top_level_holds_what_it_should_and_nothing_else():
    wanted = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    wanted |= {"trainer", "tests", "sounds", "demo_data", "docs"}
    made = {"build", "dist"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert {name for name in found - made if not name.endswith(".egg-info")} == wanted
