"""The picture at the top on the page: only of a rep that was filmed, and only if wanted."""

import base64
import zipfile

import cv2
import numpy as np
import pytest

from tests.filmed import TOP_FRAME, colour, film
from tests.report.practice import practice, save, session
from tests.report.reading import page, said, strictly
from trainer.cli import main
from trainer.store.file import open_store, store_path
from trainer.store.pictures import pictures_dir
from trainer.store.share import read_share


def images(text):
    return list(strictly(text).iter("img"))


def filmed_all(store, of, reps):
    for number in range(1, reps + 1):
        film(store, of.uid, number)


def test_without_filming_a_page_has_no_picture_and_allows_none(store):
    save(store, *practice(session(), 8, seed=4))
    text = page(store)
    assert images(text) == []
    assert "img-src" not in text


def test_the_reps_shown_closer_have_their_picture_at_the_top_inside_the_page(store):
    of = session()
    save(store, *practice(of, 8, seed=4))
    filmed_all(store, of, 8)
    text = page(store)
    found = images(text)
    # Best and worst; all these clips show the same, and no picture is there twice.
    assert len(found) == 1
    kind, _, packed = found[0].get("src").partition(",")
    assert kind == "data:image/jpeg;base64"
    shown = cv2.imdecode(np.frombuffer(base64.b64decode(packed), np.uint8), cv2.IMREAD_COLOR)
    assert shown.shape == (48, 64, 3)
    np.testing.assert_allclose(shown[24, 32][::-1], colour(TOP_FRAME), atol=16)
    assert "img-src data:" in text
    assert "default-src 'none'" in text


def test_a_picture_has_words_for_who_cannot_see_it(store):
    of = session()
    save(store, *practice(of, 8, seed=4))
    filmed_all(store, of, 8)
    (image,) = images(page(store))
    words = image.get("alt")
    assert words.startswith("Picture of the player. Best: rep ")
    assert "at the top, as the camera saw it: shoulder turn " in words
    figures = [f for f in strictly(page(store)).iter("figure") if f.get("class") == "picture"]
    assert said(figures[0].find("figcaption")).endswith("at the top, as the camera saw it.")


def test_a_clip_that_was_deleted_or_changed_is_left_out(store):
    of = session()
    save(store, *practice(of, 8, seed=4))
    filmed_all(store, of, 8)
    for number, clip in enumerate(pictures_dir(store.path).iterdir()):
        if number % 2:
            clip.unlink()
        else:
            clip.write_bytes(clip.read_bytes()[:-1] + b"\x00")
    assert images(page(store)) == []


def test_a_clip_whose_top_is_not_known_gives_no_picture(store):
    of = session()
    save(store, *practice(of, 3, seed=4))
    for number in (1, 2, 3):
        film(store, of.uid, number, top_frame=None)
    assert images(page(store)) == []


@pytest.fixture
def filmed():
    with open_store(create=True) as store:
        save(store, *practice(session(), 4))
        filmed_all(store, session(), 4)


@pytest.mark.usefixtures("filmed")
def test_a_page_is_made_without_pictures_when_asked(tmp_path):
    out = tmp_path / "page.html"
    main(["report", "--player", "Ann", "--out", str(out)])
    assert len(images(out.read_text(encoding="utf-8"))) == 1
    main(["report", "--player", "Ann", "--out", str(out), "--without-pictures"])
    text = out.read_text(encoding="utf-8")
    assert images(text) == []
    assert "data:image" not in text


@pytest.mark.usefixtures("filmed")
def test_a_shared_file_holds_a_page_and_pictures_only_when_asked(tmp_path, monkeypatch, capsys):
    plain, with_pictures = tmp_path / "plain.zip", tmp_path / "with.zip"
    assert main(["share", "--player", "Ann", "--out", str(plain)]) == 0
    assert main(["share", "--player", "Ann", "--out", str(with_pictures), "--with-pictures"]) == 0
    assert capsys.readouterr().out.startswith(f"Written: {plain}, 4 reps of Ann and a page.\n")
    for path, count in ((plain, 0), (with_pictures, 1)):
        with zipfile.ZipFile(path) as packed:
            assert sorted(packed.namelist()) == ["report.html", "reps.json"]
            text = packed.read("report.html").decode("utf-8")
            assert b"mp4" not in packed.read("reps.json")
        assert len(images(text)) == count
        assert "Ann made 4 whole reps" in said(strictly(text).find("body"))
        assert len(read_share(path)) == 4
    # The coach takes the reps in; no picture comes with them.
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "coach"))
    assert main(["import", str(with_pictures)]) == 0
    with open_store() as store:
        assert (len(store.all_reps()), store.pictures_kept()) == (4, {})
    assert not pictures_dir(store_path()).exists()


def test_a_shared_page_is_about_the_sessions_that_are_shared(tmp_path):
    with open_store(create=True) as store:
        for number in (1, 2, 3):
            save(store, *practice(session(number), number + 1))
    out = tmp_path / "a.zip"
    for wanted, reps in (("1", 4), ("2", 7), ("9", 9), (None, 9)):
        more = [] if wanted is None else ["--sessions", wanted]
        assert main(["share", "--player", "Ann", "--out", str(out), *more]) == 0
        with zipfile.ZipFile(out) as packed:
            text = packed.read("report.html").decode("utf-8")
        assert f"Ann made {reps} whole reps" in said(strictly(text).find("body"))
        assert len(read_share(out)) == reps
