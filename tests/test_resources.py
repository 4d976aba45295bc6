"""Finding the files that come with the program, in a checkout and in an installed copy."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from trainer.core.records import CueKind
from trainer.errors import TrainerError
from trainer.resources import resource_dir

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("name", ["sounds", "demo_data"])
def test_a_checkout_keeps_them_beside_the_package(name):
    assert resource_dir(name) == ROOT / name


def test_an_installed_copy_keeps_them_inside_the_package(tmp_path):
    inside = tmp_path / "trainer" / "data" / "sounds"
    inside.mkdir(parents=True)
    assert resource_dir("sounds", package=tmp_path / "trainer") == inside


def test_a_strange_folder_beside_an_installed_package_is_not_ours(tmp_path):
    (tmp_path / "sounds").mkdir()
    with pytest.raises(TrainerError, match="'sounds' that comes with the program is missing"):
        resource_dir("sounds", package=tmp_path / "trainer")


def test_a_missing_folder_says_where_it_was_looked_for_and_what_to_reinstall(tmp_path):
    with pytest.raises(TrainerError) as caught:
        resource_dir("demo_data", package=tmp_path / "trainer")
    assert str(tmp_path / "trainer" / "data" / "demo_data") in str(caught.value)
    assert "pip install --force-reinstall --no-deps backswing-mirror" in str(caught.value)


@pytest.mark.network
def test_a_wheel_built_and_installed_finds_its_tones(tmp_path):
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    build = [*pip, "wheel", str(ROOT), "--no-deps", "--wheel-dir", str(tmp_path / "wheels")]
    if importlib.util.find_spec("hatchling") is not None:
        build.append("--no-build-isolation")
    built = subprocess.run(build, capture_output=True, text=True, timeout=300)
    if built.returncode and "No matching distribution found for hatchling" in built.stderr:
        pytest.skip("no package registry to fetch hatchling from, and it is not installed")
    assert built.returncode == 0, built.stderr
    (wheel,) = (tmp_path / "wheels").glob("*.whl")
    place = tmp_path / "installed"
    subprocess.run(
        [*pip, "install", "--no-deps", "--no-index", "--target", str(place), str(wheel)],
        check=True,
        capture_output=True,
        timeout=300,
    )
    script = (
        "from trainer.resources import resource_dir\n"
        "for name in ('sounds', 'demo_data'): print(resource_dir(name))"
    )
    found = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(place)},
        check=True,
        capture_output=True,
        text=True,
        timeout=60,
    ).stdout.splitlines()
    assert [Path(line) for line in found] == [
        place.resolve() / "trainer" / "data" / name for name in ("sounds", "demo_data")
    ]
    for kind in CueKind:
        name = f"{kind.value}.wav"
        assert (Path(found[0]) / name).read_bytes() == (ROOT / "sounds" / name).read_bytes()
