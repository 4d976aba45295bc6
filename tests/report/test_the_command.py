"""``trainer report``: what it writes, and what it says when it cannot."""

import webbrowser

import pytest

from tests.report.practice import practice, save, session
from trainer.cli import main
from trainer.report import write
from trainer.store.file import open_store


@pytest.fixture
def kept():
    with open_store(create=True) as store:
        save(store, *practice(session(1, player="ann"), 3))
        save(store, *practice(session(2, player="me"), 4))


@pytest.mark.usefixtures("kept")
def test_it_writes_one_page_about_the_player_named(tmp_path, capsys):
    out = tmp_path / "new folder" / "page.html"
    assert main(["report", "--player", "ANN", "--out", str(out)]) == 0
    assert capsys.readouterr().out == f"Written: {out}\n"
    assert [path.name for path in out.parent.iterdir()] == ["page.html"]
    assert "ann made 3 whole reps" in out.read_text(encoding="utf-8")


@pytest.mark.usefixtures("kept")
def test_without_a_name_it_is_the_settings_player_or_me(tmp_path, monkeypatch):
    out = tmp_path / "page.html"
    assert main(["report", "--out", str(out)]) == 0
    assert "me made 4 whole reps" in out.read_text(encoding="utf-8")
    settings = tmp_path / "s.toml"
    settings.write_text('[player]\nname = "ann"\n')
    assert main(["report", "--settings", str(settings), "--out", str(out)]) == 0
    assert "ann made 3 whole reps" in out.read_text(encoding="utf-8")


@pytest.mark.usefixtures("kept")
def test_a_session_that_is_not_there_is_an_error_and_leaves_an_earlier_page_alone(tmp_path, capsys):
    out = tmp_path / "page.html"
    out.write_text("earlier")
    assert main(["report", "--session", "7", "--out", str(out)]) == 1
    assert "there is no session 7. One of 1 to 1" in capsys.readouterr().err
    assert out.read_text() == "earlier"


@pytest.mark.usefixtures("kept")
def test_a_place_that_cannot_be_written_says_so_and_leaves_nothing(tmp_path, capsys):
    (tmp_path / "page.html").mkdir()
    assert main(["report", "--out", str(tmp_path / "page.html")]) == 1
    assert "could not be written" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_without_a_record_it_says_how_to_make_one(tmp_path, capsys):
    assert main(["report", "--out", str(tmp_path / "page.html")]) == 1
    assert "there is no record of reps yet" in capsys.readouterr().err


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("opens", [True, False])
def test_it_is_shown_when_asked_and_said_where_that_failed(tmp_path, capsys, monkeypatch, opens):
    asked = []
    monkeypatch.setattr(webbrowser, "open", lambda url: asked.append(url) or opens)
    out = tmp_path / "page.html"
    assert main(["report", "--out", str(out), "--open"]) == 0
    assert asked == [out.as_uri()]
    assert ("No browser could be opened" in capsys.readouterr().out) is not opens


def test_a_machine_without_any_browser_is_no_error(tmp_path, monkeypatch):
    def none(url):
        raise webbrowser.Error("could not locate runnable browser")

    monkeypatch.setattr(webbrowser, "open", none)
    assert not write.show(tmp_path / "page.html")
