"""Clips beside the record: told of, found only while they are what was filmed, and deleted."""

import os
import time

import kept_reps
import pytest
from filmed import film

from trainer.cli import main
from trainer.errors import PicturesError
from trainer.store import pictures as kept_pictures
from trainer.store.care import forget
from trainer.store.file import open_store, store_path
from trainer.store.pictures import clip_name, clip_of, keep_within, pictures_dir, size_of, stray


def keep(player, number, reps=2):
    """Keep and film some reps of a player; return their clips."""
    of = kept_reps.session(number, player=player)
    with open_store(create=True) as store:
        clips = []
        for rep in range(1, reps + 1):
            store.save(kept_reps.rep(rep, of=of))
            clips.append(film(store, of.uid, rep)[0])
    return clips


def uid(number):
    return f"{number:032x}"


def test_what_is_told_of_a_clip_is_read_back_and_a_rep_without_one_has_none():
    keep("Ann", 1, reps=1)
    with open_store() as store:
        store.save(kept_reps.rep(2))
        clip, told = clip_of(store, uid(1), 1)
        assert (clip.parent, clip.name) == (pictures_dir(), f"{uid(1)}-1.mp4")
        assert clip.stat().st_size == told.bytes
        assert (told.frames, told.rate_hz, told.top_frame) == (12, 30, 7)
        assert clip_of(store, uid(1), 2) is None
        assert clip_of(store, uid(9), 1) is None
        assert store.check() == "ok"


@pytest.mark.parametrize("change", ["gone", "longer", "altered"])
def test_a_file_that_is_not_what_was_filmed_is_not_taken_for_it(change):
    (clip,) = keep("Ann", 1, reps=1)
    data = clip.read_bytes()
    if change == "gone":
        clip.unlink()
    else:
        clip.write_bytes(data + b"x" if change == "longer" else data[:-1] + b"\xff")
    with open_store() as store:
        assert clip_of(store, uid(1), 1) is None


def test_a_name_is_only_ever_that_of_a_rep():
    for session, number in (("../../x", 1), (uid(1).upper() + "A", 1), (uid(1), 0), ("", 1)):
        with pytest.raises(ValueError, match="no name"):
            clip_name(session, number)


def test_within_the_budget_nothing_goes_and_beyond_it_the_oldest_first():
    first, second = keep("Ann", 1)
    (third,) = keep("Bo", 2, reps=1)
    for age, clip in enumerate((third, second, first)):  # the file's own time decides
        os.utime(clip, (1e9 + 100 * age, 1e9 + 100 * age))
    with open_store() as store:
        everything = size_of([first, second, third])
        assert keep_within(store, everything) == 0
        assert keep_within(store, everything - 1) == 1
        assert (third.exists(), second.exists(), first.exists()) == (False, True, True)
        assert set(store.pictures_kept()) == {(uid(1), 1), (uid(1), 2)}
        assert keep_within(store, 0) == 2
        assert store.pictures_kept() == {}
        assert len(store.all_reps()) == 3


def test_what_is_left_of_a_clip_that_broke_off_is_cleared_away_later():
    (clip,) = keep("Ann", 1, reps=1)
    old, new = (clip.with_name(f".{clip.name}.{n}.part.mp4") for n in (1, 2))
    for half in (old, new):
        half.write_bytes(b"half")
    os.utime(old, (time.time() - 7200,) * 2)
    with open_store() as store:
        keep_within(store, 10**9)
    assert (old.exists(), new.exists(), clip.exists()) == (False, True, True)


def test_forgetting_a_player_takes_the_pictures_along(capsys):
    keep("Ann", 1)
    (other,) = keep("Bo", 2, reps=1)
    assert main(["forget", "ann", "--yes"]) == 0
    assert capsys.readouterr().out.startswith(
        "Deleted: 2 reps of 1 session, 2 clips of pictures of ann.\n"
    )
    assert list(pictures_dir().iterdir()) == [other]
    with open_store() as store:
        assert set(store.pictures_kept()) == {(uid(2), 1)}
        assert store.check() == "ok"


def test_a_clip_nothing_tells_of_goes_with_its_player_too():
    """As when the program was killed between the file and its line in the record."""
    (clip,) = keep("Ann", 1, reps=1)
    with open_store() as store:
        store.drop_pictures_of([(uid(1), 1)])
    forget("Ann")
    assert not clip.exists()


def test_a_clip_that_cannot_be_deleted_is_said_and_the_reps_stay(monkeypatch, capsys):
    (clip,) = keep("Ann", 1, reps=1)

    def held(self, **given):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(clip), "unlink", held)
    with pytest.raises(PicturesError, match="could not be deleted"):
        forget("Ann")
    monkeypatch.undo()
    assert clip.exists()


def test_pictures_alone_are_counted_and_deleted_of_one_player_or_all(capsys, monkeypatch):
    keep("Ann", 1)
    keep("Bo", 2, reps=1)
    folder = pictures_dir()
    megabytes = f"{size_of(folder.iterdir()) / 1e6:.1f}"
    assert main(["pictures"]) == 0
    assert capsys.readouterr().out == f"3 clips of pictures, {megabytes} MB, in {folder}.\n"
    monkeypatch.setattr("builtins.input", lambda question: "n")
    assert main(["pictures", "--delete", "--player", "Ann"]) == 1
    assert "Nothing was deleted." in capsys.readouterr().out
    assert main(["pictures", "--delete", "--player", "Ann", "--yes"]) == 0
    assert "Deleted: 2 clips of pictures of Ann. The reps are kept." in capsys.readouterr().out
    assert [p.name for p in folder.iterdir()] == [f"{uid(2)}-1.mp4"]
    monkeypatch.setattr("builtins.input", lambda question: "y")
    assert main(["pictures", "--delete"]) == 0
    assert list(folder.iterdir()) == []
    with open_store() as store:
        assert (len(store.all_reps()), store.pictures_kept()) == (3, {})


def test_clips_of_reps_that_are_not_kept_are_told_apart(capsys):
    keep("Ann", 1, reps=1)
    lost = pictures_dir() / f"{uid(7)}-1.mp4"
    lost.write_bytes(b"of a record that was damaged")
    (pictures_dir() / "holiday.mp4").write_bytes(b"not ours")
    with open_store() as store:
        assert stray(store) == [lost]
    main(["pictures"])
    assert "1 of them belong to no rep that is kept." in capsys.readouterr().out
    main(["pictures", "--delete", "--yes"])
    assert [p.name for p in pictures_dir().iterdir()] == ["holiday.mp4"]


def test_pictures_of_a_player_nobody_knows_are_an_error(capsys):
    keep("Ann", 1, reps=1)
    assert main(["pictures", "--player", "Zoe"]) == 1
    assert "nothing is kept of Zoe" in capsys.readouterr().err


def test_backup_and_restore_say_that_no_pictures_are_in_them(tmp_path, capsys):
    clips = keep("Ann", 1)
    copy = tmp_path / "copy.sqlite"
    assert main(["backup", str(copy)]) == 0
    assert capsys.readouterr().out.splitlines()[1] == (
        f"No pictures are in it: copy the folder {pictures_dir()} too (2 clips of pictures)."
    )
    clips[0].unlink()
    assert main(["restore", str(copy)]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == (
        "No pictures are in a backup. Reps that were filmed: 2; of these the clips of 1 lie in "
        f"{pictures_dir()}."
    )


def test_the_folder_lies_beside_the_record():
    assert pictures_dir() == store_path().parent / kept_pictures.FOLDER
