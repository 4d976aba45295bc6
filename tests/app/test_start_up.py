"""The program starts without loading what a command does not need."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("cv2", "mediapipe", "pygame", "numpy", "scipy", "simpleaudio", "tqdm", "torch")


def loaded_after(statement):
    """Return which of ``HEAVY`` a new interpreter has loaded after ``statement``."""
    script = f"import sys\n{statement}\nprint(*(n for n in {HEAVY} if n in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return done.stdout.splitlines()[-1].split()


def test_the_check_sees_what_is_loaded():
    assert loaded_after("import numpy") == ["numpy"]


def test_the_command_line_alone_loads_nothing_heavy():
    assert loaded_after("import trainer.cli") == []


def test_asking_for_help_loads_nothing_heavy():
    ask = (
        "import contextlib, io\nfrom trainer.cli import main\n"
        "with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):\n"
        "    main(['live', '--help'])"
    )
    assert loaded_after(ask) == []


def test_the_mirror_itself_loads_no_camera_no_model_and_no_window():
    modules = "app, live, measure, measure_many, replay, recorder, settings, doctor, words"
    assert loaded_after(f"from trainer import {modules}") == ["numpy"]
