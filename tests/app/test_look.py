"""How the window looks: from option or settings file to the glass."""

import pytest
from fakes import FakeEstimator, FakeSource, frames_and_poses, good_reps, mirror, outcome

from trainer import cli
from trainer.cli import main
from trainer.ports import Look


def settings_of(*words):
    return cli._settings(cli._parser().parse_args(words))


@pytest.mark.parametrize("command", ["live", "demo"])
def test_options_reach_the_settings(command, tmp_path):
    empty = tmp_path / "my.toml"
    empty.write_text("", encoding="utf-8")
    words = [command, "--settings", str(empty)]
    assert settings_of(*words).look == Look()
    assert settings_of(*words, "--large-text").look == Look(large_text=True)
    assert settings_of(*words, "--no-figures").look == Look(figures=False)


def test_the_mirror_hands_the_look_to_the_glass():
    frames, known = frames_and_poses(good_reps(1))
    look = Look(large_text=True, figures=False)
    live, _, screen = mirror(FakeSource(frames), FakeEstimator(known), look=look)
    outcome(live)
    assert {view.look for view in screen.views} == {look}


def test_a_mirror_without_tones_and_figures_does_not_begin(tmp_path, capsys):
    empty = tmp_path / "my.toml"
    empty.write_text("", encoding="utf-8")
    words = ["live", "--settings", str(empty), "--sound", "off", "--no-figures"]
    assert main([*words, "--screen", "none", "--no-keep"]) == 1
    assert "nothing would tell of a rep" in capsys.readouterr().err
