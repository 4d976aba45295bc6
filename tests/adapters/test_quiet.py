"""Native log lines stay off standard error; everything else comes through."""

import os
import sys

from trainer.adapters.quiet import NATIVE_LOG_VARIABLE, Hush, quiet_stderr

#: As MediaPipe 1.2.3 wrote them on Linux, 25 Nov 2026.
NATIVE = (
    b"INFO: Created TensorFlow Lite XNNPACK delegate for CPU.\n"
    b"WARNING: [model_load.cc:402] Sparsity tensors may not yet be fully supported.\n"
    b"ALSA lib confmisc.c:855:(parse_card) cannot find card '0'\n"
    b"error: XDG_RUNTIME_DIR is invalid or not set in the environment.\n"
    b"W0000 00:00:1795620176.763440    7447 inference_runner_litert.cc:1433] Input tensor\n"
)


def test_native_lines_are_held_back_and_handed_to_the_caller(capfd):
    with quiet_stderr() as said:
        os.write(2, NATIVE)
    assert capfd.readouterr().err == ""
    assert len(said) == 5
    assert said[0].startswith("INFO: Created")


def test_what_others_write_meanwhile_comes_through_afterwards(capfd):
    with quiet_stderr():
        os.write(2, NATIVE)
        os.write(2, b"Traceback (most recent call last):\n")
        os.write(2, b"an unfinished line")
    assert capfd.readouterr().err == "Traceback (most recent call last):\nan unfinished line"


def test_standard_error_works_again_after_an_error_inside(capfd):
    try:
        with quiet_stderr():
            raise ValueError
    except ValueError:
        pass
    os.write(2, b"here\n")
    sys.stderr.write("and here\n")
    sys.stderr.flush()
    assert "here\n" in capfd.readouterr().err


def test_the_variable_lets_everything_through(capfd, monkeypatch):
    monkeypatch.setenv(NATIVE_LOG_VARIABLE, "1")
    with quiet_stderr():
        os.write(2, NATIVE)
    assert capfd.readouterr().err.encode() == NATIVE


def test_a_hush_holds_back_until_it_is_lifted(capfd):
    hush = Hush()
    for _ in range(2):
        with hush:
            os.write(2, NATIVE)
    assert capfd.readouterr().err == ""
    hush.lift()
    with hush:
        os.write(2, NATIVE)
    assert capfd.readouterr().err.encode() == NATIVE
