"""A folder of clips measured by the workers of a Dask scheduler that is there already."""

import os
import sys

import pytest
from test_measure_many import clip, pretend_model  # noqa: F401 -- fixtures

from trainer.cli import main
from trainer.store.file import open_store

distributed = pytest.importorskip("distributed", reason="Dask (extra engine) is not installed")


@pytest.fixture
def scheduler():
    """A scheduler and a worker of Dask's own, in this process, where the stand-in is known."""
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
        protocol="tcp", host="127.0.0.1",
    ) as cluster:  # fmt: skip
        yield cluster.scheduler_address


def test_an_engines_workers_measure_a_folder_and_pass_a_bad_clip_over(
    clip, tmp_path, pretend_model, scheduler, capsys, monkeypatch  # noqa: F811
):  # fmt: skip
    clip("filmed/a.mp4", frames=165)
    clip("filmed/b.mp4", frames=170)  # else it would be the same clip
    (tmp_path / "filmed" / "bad.mp4").write_bytes(b"\0" * 3000)
    monkeypatch.chdir(tmp_path)
    words = ["measure", "filmed", "--out", "out", "--engine", scheduler]
    assert main([*words, "--player", "Ann", "--keep"]) == 1
    said = capsys.readouterr()
    assert said.out.endswith("Measured: 2. Passed over: 1.\n")
    assert "CameraError: " in said.err
    assert "bad.mp4" in said.err
    assert sorted(os.listdir("out")) == ["a.csv", "a.json", "b.csv", "b.json"]
    with open_store() as store:
        assert sorted(rep.session.source for rep in store.all_reps("Ann")) == ["a.mp4", "b.mp4"]
    # The same as without: byte for byte.
    engine = (tmp_path / "out" / "a.json").read_bytes()
    assert main(["measure", "filmed/a.mp4", "--out", "alone"]) == 0
    assert (tmp_path / "alone" / "a.json").read_bytes() == engine


def test_what_the_engine_could_not_do_is_said_in_a_line_about_the_clip(
    clip, tmp_path, pretend_model, scheduler, capsys, monkeypatch  # noqa: F811
):  # fmt: skip
    def lost(job):
        raise RuntimeError("the graph of tasks\ncould not be read\nsee https://example.org")

    monkeypatch.setattr("trainer.measure_many._measured_or_why", lost)
    words = ["measure", str(clip("a.mp4")), "--out", str(tmp_path / "out")]
    assert main([*words, "--engine", scheduler]) == 1
    (line,) = [one for one in capsys.readouterr().err.splitlines() if "TrainerError" in one]
    assert "did not measure a.mp4 (RuntimeError: the graph of tasks). A scheduler" in line
    assert "ClipJob" not in line


def test_no_scheduler_at_an_address_is_said_so(clip, tmp_path, pretend_model, capsys, monkeypatch):  # noqa: F811
    monkeypatch.setattr("trainer.adapters.task_engine.ANSWER_S", 0.5)
    words = ["measure", str(clip("a.mp4")), "--out", str(tmp_path / "out")]
    assert main([*words, "--engine", "tcp://127.0.0.1:9"]) == 1
    assert "no Dask scheduler answers at tcp://127.0.0.1:9" in capsys.readouterr().err


def test_without_the_package_the_extra_is_named(clip, tmp_path, pretend_model, capsys, monkeypatch):  # noqa: F811
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = ["measure", str(clip("a.mp4")), "--out", str(tmp_path / "out")]
    assert main([*words, "--engine", "tcp://127.0.0.1:8786"]) == 1
    assert "pip install 'backswing-mirror[engine]'" in capsys.readouterr().err
