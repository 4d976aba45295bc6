"""Shared test set-up: no real window or speaker unless a test asks for one by name."""

import importlib.util
import os

import pytest

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """Turn every skip into a failure where TRAINER_NO_SKIPS=1 is set."""
    outcome = yield
    report = outcome.get_result()
    if (
        report.skipped
        and os.environ.get("TRAINER_NO_SKIPS") == "1"
        and not hasattr(report, "wasxfail")
    ):
        report.outcome = "failed"
        report.longrepr = f"skipped, but TRAINER_NO_SKIPS=1: {report.longrepr}"


@pytest.fixture(autouse=True)
def no_players_of_this_machine(tmp_path_factory, monkeypatch):
    """Records of whoever runs the tests are neither read nor written; each test begins anew."""
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path_factory.mktemp("players")))


_LAB = ("torch", "anny", "vtk", "av")
_NO_LAB = [name for name in _LAB if importlib.util.find_spec(name) is None]


def pytest_report_header():
    """Say which tests are left out, and why."""
    return f"lab tests left out: no {', '.join(_NO_LAB)} (the lab extra)" if _NO_LAB else None


def pytest_collection_modifyitems(config, items):
    """Leave out the tests of the lab extra where it is not installed: they are not asked for."""
    if _NO_LAB:
        lab = [item for item in items if item.get_closest_marker("lab")]
        items[:] = [item for item in items if not item.get_closest_marker("lab")]
        config.hook.pytest_deselected(items=lab)
