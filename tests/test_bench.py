"""The benchmark runs through. What it says is for docs/performance.md, never for a test."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from trainer.bench import _memory, _share
from trainer.bench_pages import page_ms
from trainer.pages.shots import SHOTS

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.real_pose
def test_the_quick_benchmark_runs_through_and_fills_its_table():
    done = subprocess.run(
        [sys.executable, "-m", "trainer.bench", "--quick"],
        cwd=ROOT,
        env=os.environ | {"SDL_VIDEODRIVER": "dummy"},
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert done.returncode == 0, done.stderr
    rows = [line.split("|")[1:-1] for line in done.stdout.splitlines() if line.startswith("| ")]
    assert [cell.strip() for cell in rows[0]] == ["what", "goal", "result", "met"]
    named = " ".join(row[0] for row in rows[1:])
    for what in (
        "bare loop",
        "1 job",
        "2 jobs",
        "own cost",
        "stamp",
        "dropped",
        "tags",
        "change of page",
        "memory",
        "start",
        "keeps its reps",
        "films its reps too",
        "while reps are filmed",
        "keeping a rep",
        "listing the newest 50",
    ):
        assert what in named
    assert all(any(letter.isdigit() for letter in row[2]) for row in rows[1:])


def test_every_page_is_timed_drawn_first_and_again():
    taken = page_ms((640, 360), 2)
    assert set(taken) == set(SHOTS)
    assert all(first > 0 and again > 0 for first, again in taken.values())


def test_memory_that_grows_or_is_too_much_misses_its_goal():
    flat = [[0.0, 300.0], [30.0, 320.0], [600.0, 322.0]]
    assert _memory(flat).met is True
    assert _memory([*flat, [605.0, 340.0]]).met is False
    assert _memory([*flat[:2], [300.0, 360.0], [600.0, 320.0]]).met is False
    assert _memory(flat[:1]).met is None


def test_a_share_is_read_from_the_ordered_values():
    assert _share([float(n) for n in range(100)], 0.95) == 95.0
    assert _share([7.0], 0.95) == 7.0
