"""A rep called kept is kept, whenever the program is killed."""

import json
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
KILLS = 210
FILM_KILLS = 12


def nursery(name, path, kills):
    """Run a nursery over the record at ``path``; return what it found."""
    paths = [str(HERE.parents[1]), str(HERE.parent)]
    done = subprocess.run(
        [sys.executable, str(HERE / name), str(path)]
        + [str(kills), str(int.from_bytes(os.urandom(4), "little"))],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_no_rep_called_kept_is_lost_by_any_of_200_kills_at_random_moments(tmp_path):
    """SIGKILL cannot be caught (POSIX.1-2017, <signal.h>); Windows: TerminateProcess.

    After each, SQLite's ``PRAGMA integrity_check`` and ``foreign_key_check`` say whether the file
    is whole.
    """
    result = nursery("kill_nursery.py", tmp_path / "reps.sqlite", KILLS)
    assert result["faults"] == []
    assert result["killed"] == KILLS  # none ended by itself
    assert result["killed_writing"] >= KILLS // 2
    assert result["reps"] > KILLS


def test_a_kill_while_filming_leaves_whole_clips_and_a_record_that_tells_of_no_other(tmp_path):
    result = nursery("film_nursery.py", tmp_path / "reps.sqlite", FILM_KILLS)
    assert result["faults"] == []
    assert result["killed"] == FILM_KILLS
    assert result["filmed"] >= FILM_KILLS
