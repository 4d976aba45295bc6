"""A rep called kept is kept, whenever the program is killed."""

import json
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
KILLS = 210


def test_no_rep_called_kept_is_lost_by_any_of_200_kills_at_random_moments(tmp_path):
    """SIGKILL cannot be caught (POSIX.1-2017, <signal.h>); Windows: TerminateProcess.

    After each, SQLite's ``PRAGMA integrity_check`` and ``foreign_key_check`` say whether the file
    is whole.
    """
    paths = [str(HERE.parents[1]), str(HERE.parent)]
    done = subprocess.run(
        [sys.executable, str(HERE / "kill_nursery.py"), str(tmp_path / "reps.sqlite")]
        + [str(KILLS), str(int.from_bytes(os.urandom(4), "little"))],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["faults"] == []
    assert result["killed"] == KILLS  # none ended by itself
    assert result["killed_writing"] >= KILLS // 2
    assert result["reps"] > KILLS
