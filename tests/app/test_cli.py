"""The command line in this process: options, exit codes and the words of errors."""

import re

import pytest

from trainer import cli
from trainer.cli import main
from trainer.errors import SettingsError, TrainerError

COMMANDS = (
    "live", "demo", "measure", "replay", "tags", "calibrate", "doctor",
    "backup", "restore", "forget", "export", "share", "import",
)  # fmt: skip


@pytest.fixture(autouse=True)
def no_settings_of_this_machine(monkeypatch, tmp_path):
    """A settings file of whoever runs the tests must not change them."""
    monkeypatch.setattr("trainer.settings.default_path", lambda: tmp_path / "settings.toml")


@pytest.fixture
def run_with(monkeypatch):
    """Make ``trainer doctor`` do something else: the whole of ``main`` stays round it."""

    def put(function):
        monkeypatch.setattr(cli, "_doctor", function)

    return put


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command, capsys):
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    said = capsys.readouterr().out
    assert f"usage: trainer {command}" in said
    assert "--settings" in said


def test_the_program_lists_every_command(capsys):
    with pytest.raises(SystemExit) as left:
        main(["--help"])
    assert left.value.code == 0
    said = capsys.readouterr().out
    for command in COMMANDS:
        assert re.search(rf"^    {command}\s", said, re.MULTILINE)


def test_the_version_is_told(capsys):
    with pytest.raises(SystemExit) as left:
        main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out.startswith("trainer 0.")


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["fly"],
        ["measure"],
        ["measure", "a.mp4"],
        ["replay"],
        ["live", "--handed", "both"],
        ["live", "--rotate", "45"],
        ["live", "--target-deg", "far"],
        ["live", "--sound", "loud"],
        ["live", "--screen", "big"],
        ["measure", "a.mp4", "--out", "x", "--jobs", "two"],
        ["doctor", "--unknown"],
        ["tags", "--size-cm", "large"],
        ["calibrate"],
    ],
)
def test_words_that_make_no_sense_give_exit_code_2(words, capsys):
    with pytest.raises(SystemExit) as left:
        main(words)
    assert left.value.code == 2
    assert "usage: trainer" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["replay", "none.trace"], "TraceError: the trace none.trace could not be read"),
        (["live", "--settings", "none.toml"], "SettingsError: there is no settings file none.toml"),
        (["live", "--target-deg", "1.5"], "SettingsError: --target-deg is 1.5"),
        (["live", "--confidence", "certain"], "SettingsError: --confidence is 'certain'"),
        (["demo", "--head-tol-cm", "nan"], "SettingsError: --head-tol-cm is nan"),
        (["measure", "a.mp4", "--out", "x", "--jobs", "0"], "SettingsError: --jobs is 0"),
        (
            ["measure", "a.mp4", "--out", "x", "--recorded-fps", "0.5"],
            "SettingsError: --recorded-fps is 0.5",
        ),
        (["measure", "a.mp4", "b/a.mp4", "--out", "x"], "SettingsError: two clips are called 'a'"),
        (["measure", "a.mp4", "--out", "x", "--stature-cm", "1.8"], "SettingsError: --stature-cm"),
    ],
)
def test_an_error_is_one_message_in_three_parts_and_exit_code_1(
    words, expected, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 1
    said = capsys.readouterr().err
    assert said.startswith(expected)
    assert "want" in said  # what was wanted
    assert said.count(". ") >= 1
    assert said.rstrip().endswith((".", "5"))  # a sentence, or an example value, to try
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_debug_shows_the_whole_of_an_error(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(TrainerError):
        main(["replay", "none.trace", "--debug"])


def test_ctrl_c_gives_130_and_no_traceback(run_with, capsys):
    def pressed(args):
        raise KeyboardInterrupt

    run_with(pressed)
    assert main(["doctor"]) == 130
    assert capsys.readouterr().err == "Stopped.\n"
    with pytest.raises(KeyboardInterrupt):
        main(["doctor", "--debug"])


def test_a_fault_of_our_own_is_not_dressed_up_as_the_users(run_with):
    def fail(args):
        raise ZeroDivisionError

    run_with(fail)
    with pytest.raises(ZeroDivisionError):
        main(["doctor"])


def settings_of(words):
    return cli._settings(cli._parser().parse_args(words))


def test_options_stand_over_the_settings_file(tmp_path):
    file = tmp_path / "my.toml"
    file.write_text(
        '[player]\nhanded = "left"\n[cues]\ntarget_deg = 70\n'
        '[camera]\nsource = 3\nrotate = 90\nrecorded_fps = 120\n[sound]\nplayer = "off"\n',
        encoding="utf-8",
    )
    alone = settings_of(["live", "--settings", str(file)])
    assert (alone.camera.source, alone.camera.rotate, alone.camera.recorded_fps) == ("3", 90, 120)
    assert (alone.rules.handed.value, alone.rules.cues.target_deg) == ("left", 70)
    assert (alone.sound, alone.camera.mirrored) == ("off", False)
    words = ["live", "--settings", str(file), "--handed", "right", "--target-deg", "80"]
    words += ["--camera", "a.mp4", "--rotate", "0", "--mirrored", "--recorded-fps", "240"]
    words += ["--confidence", "likely"]
    over = settings_of([*words, "--sound", "pygame", "--head-tol-cm", "6", "--hip-tol-cm", "3"])
    assert over.rules.cues.turn_confidence == 75.0
    assert (over.camera.source, over.camera.rotate, over.camera.recorded_fps) == ("a.mp4", 0, 240)
    assert (over.rules.handed.value, over.rules.cues.target_deg) == ("right", 80)
    assert (over.rules.cues.head_tol_cm, over.rules.cues.hip_tol_cm) == (6, 3)
    assert (over.sound, over.camera.mirrored) == ("pygame", True)


def test_the_settings_file_is_found_by_itself(tmp_path):
    (tmp_path / "settings.toml").write_text("[cues]\ntarget_deg = 66\n", encoding="utf-8")
    assert settings_of(["doctor"]).rules.cues.target_deg == 66


@pytest.mark.parametrize("rate", ["0", "-30", "nan", "inf", "5000"])
def test_a_recording_rate_that_is_none_is_refused(rate):
    with pytest.raises(SettingsError, match="--recorded-fps is"):
        settings_of(["live", f"--recorded-fps={rate}"])


@pytest.fixture
def doctors_findings(monkeypatch):
    """Stand-ins for what doctor looks at that depends on the machine."""

    def put(*, cameras=(), size=None):
        monkeypatch.setattr("trainer.adapters.camera.list_cameras", lambda: cameras)
        monkeypatch.setattr("trainer.doctor._pose", lambda model, clock: iter(()))

    return put


def test_doctor_without_a_camera_says_what_to_do_and_gives_1(doctors_findings, capsys):
    doctors_findings()
    assert main(["doctor"]) == 1
    lines = capsys.readouterr().out.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("MISSING camera: "))
    assert lines[at + 1].startswith("        -> ")
    assert "trainer demo" in lines[at + 1]
    assert lines[-1] == "The live mirror cannot run yet: see MISSING."
    assert any(line.startswith("ok      versions: Python 3.") for line in lines)


def test_doctor_with_a_clip_for_a_camera_gives_0(doctors_findings, capsys):
    from trainer.live import demo_clips

    doctors_findings()
    assert main(["doctor", "--camera", str(demo_clips()[0].path)]) == 0
    said = capsys.readouterr().out
    assert "ok      camera: full-turn-right.mp4: 1280x720" in said
    assert said.endswith("The live mirror can run.\n")


def test_doctor_says_whether_reps_can_be_filmed_and_the_mirror_runs_without(
    doctors_findings, capsys, monkeypatch
):
    from trainer.live import demo_clips

    doctors_findings()
    words = ["doctor", "--camera", str(demo_clips()[0].path)]
    main(words)
    assert "ok      filming: clips of reps can be written (MP4)" in capsys.readouterr().out
    # As in a build of OpenCV that can write no such clip.
    monkeypatch.setattr("cv2.VideoWriter", _NoCoder)
    assert main(words) == 0
    assert "note    filming: clip.mp4 could not be written" in capsys.readouterr().out


class _NoCoder:
    def __init__(self, *given):
        pass

    def isOpened(self):
        return False

    def release(self):
        pass


def test_doctor_with_a_slow_camera_says_how_to_make_it_faster(doctors_findings, capsys):
    from trainer.adapters.camera import CameraFacts

    slow = CameraFacts(index=0, name="cam", size_wh=(640, 480), stated_fps=30, measured_fps=9.6)
    doctors_findings(cameras=(slow,))
    assert main(["doctor"]) == 0
    said = capsys.readouterr().out
    assert "note    camera: camera 0 (cam): 640x480, 10 pictures a second" in said
    assert "More light" in said


def test_doctor_with_a_clip_that_is_missing_gives_1(doctors_findings, capsys):
    doctors_findings()
    assert main(["doctor", "--camera", "none.mp4"]) == 1
    assert "MISSING camera: none.mp4 does not exist" in capsys.readouterr().out


def test_replaying_tells_a_difference_with_exit_code_1_and_a_cut_with_0(tmp_path, capsys):
    from fakes import two_faults
    from golfer import View
    from test_trace_files import record

    path = tmp_path / "a.trace"
    record(path, two_faults(), view=View(hz=15.0))
    capsys.readouterr()
    assert main(["replay", str(path)]) == 0
    said = capsys.readouterr()
    assert said.out.endswith(
        "83 readings, 1 rep.\nSame result as when it was recorded, to the last bit.\n"
    )
    assert "head moved away from the target" in said.out
    assert said.err == ""

    whole = path.read_text(encoding="ascii")
    path.write_text(whole[:-200], encoding="ascii")
    assert main(["replay", str(path)]) == 0
    assert "The trace is not whole" in capsys.readouterr().out

    path.write_text(whole.replace('"phase":"top"', '"phase":"setup"', 1), encoding="ascii")
    assert main(["replay", str(path)]) == 1
    assert "The result differs from the recorded one from" in capsys.readouterr().err
