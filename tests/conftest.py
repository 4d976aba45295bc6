"""Shared test set-up: no real window or speaker unless a test asks for one by name."""

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
