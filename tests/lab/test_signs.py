"""Counting false alarms of the signs by hand on clips that were read before."""

import pytest
from golfer import poses
from signing import signing
from situations import script_of

from trainer.core.gestures import Sign
from trainer.lab.__main__ import main
from trainer.lab.exam_poses import Seen, save_poses


def kept(folder, name, pairs):
    times, seen = zip(*pairs, strict=True)
    save_poses(folder / f"{name}.poses.npz", Seen(times, seen), (1280, 720), "made up")


def test_swings_and_waggles_count_no_alarm(tmp_path, capsys):
    kept(tmp_path, "swing", poses(script_of("swing_through", "waggle", "wave")))
    assert main(["signs", "--poses", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("1 clips")
    assert told.count(" 0 alarms") == len(Sign)


@pytest.mark.parametrize("sign", [Sign.HAND_UP, Sign.ON_HEAD])
def test_a_sign_that_is_there_is_counted_with_its_clip(tmp_path, capsys, sign):
    kept(tmp_path, "sign", [(n / 30, signing(sign, n / 30)) for n in range(75)])
    assert main(["signs", "--poses", str(tmp_path)]) == 1
    told = capsys.readouterr().out
    assert f"sign.poses.npz {1.0 if sign is Sign.HAND_UP else 1.5:.2f} s: {sign.value}" in told
