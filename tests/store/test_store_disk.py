"""A disk without room, and a folder that may only be read: by the system's own limits."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent

posix_only = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has no limit of a file's size, and other permissions"
)


@posix_only
@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        ("full", ("A disk", "with space, was wanted. Make room")),
        ("read-only", ("may not be written", "A file and folder that can be written were wanted")),
    ],
)
def test_reps_wait_with_a_clear_word_and_are_written_when_they_can_be(trouble, words):
    paths = [str(HERE.parents[1]), str(HERE.parent)]
    # Not pytest's own folder, which only its owner may enter.
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        done = subprocess.run(
            [sys.executable, str(HERE / "disk_child.py"), trouble, f"{folder}/in/reps.sqlite"],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
            capture_output=True,
            text=True,
            timeout=300,
        )
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["said"].startswith("3 reps wait to be kept: the record of reps, ")
    for part in words:
        assert part in result["said"]
    assert result["kept"] == 0
    assert result["numbers"] == [1, 2, 3, 4]
    assert (result["state"], result["then"]) == ("ok", "")
