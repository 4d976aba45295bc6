"""MediaPipe comes without its plotting library, and whoever wants that still gets it."""

import subprocess
import sys
import textwrap

import pytest


def run(code):
    """Run ``code`` in a fresh interpreter, because imports last as long as a process."""
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_the_vision_tasks_come_without_matplotlib():
    pytest.importorskip("mediapipe")
    assert run(
        """
        import sys
        from trainer.adapters.mediapipe_load import load_vision
        vision = load_vision()
        print(vision.PoseLandmarker.__name__, "matplotlib" in sys.modules)
        """
    ) == ["PoseLandmarker", "False"]


def test_a_drawing_function_that_wants_matplotlib_gets_the_real_one():
    pytest.importorskip("matplotlib")
    assert run(
        """
        import os
        os.environ["MPLBACKEND"] = "agg"
        from trainer.adapters.mediapipe_load import load_vision
        plots = load_vision().drawing_utils.plt
        figure = plots.figure()
        import matplotlib.pyplot
        print(type(figure).__name__, plots.figure is matplotlib.pyplot.figure)
        """
    ) == ["Figure", "True"]


def test_a_matplotlib_loaded_before_is_left_alone():
    pytest.importorskip("matplotlib")
    assert run(
        """
        import sys
        import matplotlib.pyplot as before
        from trainer.adapters.mediapipe_load import plotting_later
        with plotting_later():
            import matplotlib.pyplot as inside
        print(inside is before, sys.modules["matplotlib.pyplot"] is before)
        """
    ) == ["True", "True"]


def test_no_stand_in_is_left_behind_when_the_import_fails():
    assert run(
        """
        import sys
        from trainer.adapters.mediapipe_load import plotting_later
        try:
            with plotting_later():
                raise ImportError("no mediapipe")
        except ImportError as error:
            print(error.args[0].replace(" ", "-"))
        print(any(name.startswith("matplotlib") for name in sys.modules))
        """
    ) == ["no-mediapipe", "False"]
