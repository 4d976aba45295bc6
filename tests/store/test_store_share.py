"""A file of reps to a coach and back, and every strange file refused with nothing changed."""

import io
import json
import os
import struct
import zipfile

import kept_reps
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from trainer.cli import main
from trainer.errors import ShareError, StoreError
from trainer.store.content import player_key
from trainer.store.file import open_store, store_path
from trainer.store.rows import COLUMNS, row_of
from trainer.store.share import MOST_BYTES, read_share, take
from trainer.store.values import StrangeError, rep_from, rep_values


def keep(*reps):
    with open_store(create=True) as store:
        for seed, kept in enumerate(reps):
            store.save(kept, kept_reps.motion(seed=seed))


def all_told(player=None):
    """Every rep as plain values with its motion: what is compared."""
    from trainer.store.values import cue_values, motion_values, session_values

    with open_store() as store:
        return [
            (session_values(one.session), rep_values(one), cue_values(one))
            + (motion_values(store.motion(one)),)
            for one in store.all_reps(player)
        ]


@pytest.fixture
def shared(tmp_path):
    """A good file, and the values in it."""
    keep(kept_reps.rep(1), kept_reps.rep(2), kept_reps.bare(3))
    path = tmp_path / "ann.zip"
    assert main(["share", "--player", "ann", "--out", str(path)]) == 0
    with zipfile.ZipFile(path) as packed:
        return path, json.loads(packed.read("reps.json"))


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """From here on another machine, on which nothing is kept."""

    def go():
        monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "elsewhere"))

    return go


def zipped(path, values, *, name="reps.json", more=()):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        text = values if isinstance(values, (bytes, str)) else json.dumps(values)
        packed.writestr(name, text)
        for other, content in more:
            packed.writestr(other, content)
    return path


def test_what_is_shared_arrives_whole(shared, elsewhere, capsys):
    path, _ = shared
    sent = all_told()
    elsewhere()
    capsys.readouterr()
    assert main(["import", str(path)]) == 0
    assert capsys.readouterr().out == "3 reps of 1 session taken in: Ann.\n"
    assert all_told() == sent


def test_what_arrives_twice_is_there_once(shared, elsewhere, capsys):
    path, _ = shared
    elsewhere()
    main(["import", str(path)])
    capsys.readouterr()
    assert main(["import", str(path)]) == 0
    assert "0 reps of 1 session taken in, 3 were here already: Ann." in capsys.readouterr().out
    assert len(all_told()) == 3


def test_a_coach_files_the_reps_under_a_name_of_their_own(shared, elsewhere):
    path, _ = shared
    elsewhere()
    main(["import", str(path), "--player", "Ann P"])
    with open_store() as store:
        assert store.players() == ("Ann P",)


def test_reps_of_a_session_here_under_another_name_are_refused(shared, capsys):
    path, _ = shared
    before = all_told()
    assert main(["import", str(path), "--player", "Bo"]) == 1
    said = capsys.readouterr().err
    assert "is here already as one of Ann" in said
    assert said.rstrip().endswith("Give --player Ann.")
    assert all_told() == before


def test_only_the_player_asked_for_and_only_the_newest_are_shared(tmp_path):
    later = kept_reps.session(2, began=kept_reps.BEGAN.replace(year=2027))
    other = kept_reps.session(3, player="Bo")
    keep(kept_reps.rep(1), kept_reps.rep(1, of=later), kept_reps.rep(1, of=other))
    path = tmp_path / "a.zip"
    assert main(["share", "--player", "ann", "--out", str(path), "--sessions", "1"]) == 0
    assert {kept.session.uid for kept, _ in read_share(path)} == {later.uid}
    main(["share", "--player", "ann", "--out", str(path)])
    assert {player_key(kept.session.player) for kept, _ in read_share(path)} == {"ann"}


def test_a_page_goes_with_the_reps_and_is_never_unpacked(tmp_path, elsewhere):
    keep(kept_reps.rep(1))
    page = tmp_path / "page.html"
    page.write_text("<!doctype html><title>reps</title>", encoding="utf-8")
    path = tmp_path / "a.zip"
    main(["share", "--player", "Ann", "--out", str(path), "--page", str(page)])
    with zipfile.ZipFile(path) as packed:
        assert packed.read("report.html") == page.read_bytes()
    elsewhere()
    assert main(["import", str(path)]) == 0
    assert {p.name.split("-")[0] for p in store_path().parent.iterdir()} == {"reps.sqlite"}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["share", "--player", "Zoe", "--out", "a.zip"], "StoreError: nothing is kept of Zoe"),
        (["export", "--player", "Zoe", "--out", "x"], "StoreError: nothing is kept of Zoe"),
        (
            ["share", "--player", "Ann", "--out", "a.zip", "--sessions", "0"],
            "SettingsError: --sessions is 0",
        ),
        (
            ["share", "--player", "Ann", "--out", "a.zip", "--page", "none.html"],
            "ShareError: the page none.html could not be read",
        ),
        (["import", "none.zip"], "ShareError: there is no file none.zip"),
        (["import", "."], "ShareError: . could not be read"),
    ],
)
def test_what_cannot_be_done_is_said_in_three_parts(words, expected, tmp_path, monkeypatch, capsys):
    keep(kept_reps.rep(1))
    monkeypatch.chdir(tmp_path)
    assert main(words) == 1
    said = capsys.readouterr().err
    assert said.startswith(expected)
    assert "wanted" in said
    assert os.listdir(tmp_path) == []


# --- files made to do harm ---


def path_tricks(values):
    for name in ("../reps.json", "/etc/passwd", "C:\\reps.json", "a/../../reps.json", "reps.json/"):
        yield name, lambda path, name=name: zipped(path, values, more=[(name, "harm")])


def bombs(values):
    def honest(path):
        return zipped(path, b"[" + b" " * (MOST_BYTES + 10) + b"]")

    def small_but_bursting(path):
        return zipped(path, b'{"schema":1,"x":"' + b"a" * 3_000_000 + b'"}')

    def lying(path):
        """The sizes written in the zip say little; what is packed is a lot."""
        zipped(path, b" " * 5_000_000 + json.dumps(values).encode())
        raw = bytearray(path.read_bytes())
        for mark, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
            place = raw.index(mark)
            raw[place + at : place + at + 4] = struct.pack("<I", 100)
        path.write_bytes(raw)

    def nested(path):
        inner = io.BytesIO()
        with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr("reps.json", b" " * 1_000_000)
        return zipped(path, inner.getvalue())

    def in_the_page(path):
        return zipped(path, values, more=[("report.html", b"a" * 20_000_000)])

    yield from (
        ("too big", honest), ("bursting", small_but_bursting), ("lying", lying),
        ("a zip in a zip", nested), ("page", in_the_page),
    )  # fmt: skip


def shapes(values):
    def with_two(path):
        with zipfile.ZipFile(path, "w") as packed:
            packed.writestr("reps.json", json.dumps(values))
            with pytest.warns(UserWarning, match="Duplicate"):
                packed.writestr("reps.json", "{}")

    def encrypted(path):
        raw = bytearray(zipped(path, values).read_bytes())
        for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
            raw[raw.index(mark) + at] |= 1
        path.write_bytes(raw)

    def cut(path):
        whole = zipped(path, values).read_bytes()
        path.write_bytes(whole[: len(whole) // 2])

    def flipped(path):
        raw = bytearray(zipped(path, values).read_bytes())
        raw[len(raw) // 3] ^= 0xFF
        path.write_bytes(raw)

    def lzma(path):
        with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as packed:
            packed.writestr("reps.json", json.dumps(values))

    yield from (
        ("twice", with_two), ("encrypted", encrypted), ("cut", cut), ("flipped", flipped),
        ("lzma", lzma), ("no zip", lambda path: path.write_bytes(b"PK\x03\x04 no zip")),
        ("empty", lambda path: path.write_bytes(b"")),
        ("no reps", lambda path: zipped(path, values, name="other.json")),
    )  # fmt: skip


def texts(values):
    good = json.dumps(values)
    deep = 200_000
    return {
        "no json": "this is no JSON",
        "no utf-8": good.encode("utf-16"),
        "deep lists": "[" * deep + "]" * deep,
        "deep tables": '{"a":' * deep + "1" + "}" * deep,
        "not a number": good.replace('"pain": false', '"pain": NaN', 1),
        "infinite": good.replace('"target_deg": 84.0', '"target_deg": Infinity', 1),
        "huge": good.replace('"target_deg": 84.0', '"target_deg": 1e999', 1),
        "many digits": good.replace('"schema": 1', '"schema": ' + "9" * 5000, 1),
        "other schema": good.replace('"schema": 1', '"schema": 2', 1),
        "true for a schema": good.replace('"schema": 1', '"schema": true', 1),
        "a list": "[]",
        "nothing": "null",
    }.items()


def changed(values, place, value):
    """Return the values with another one at a place; a place ends in a name or a number."""
    copy = json.loads(json.dumps(values))
    into = copy
    for part in place[:-1]:
        into = into[part]
    into[place[-1]] = value
    return copy


REP = ("sessions", 0, "reps", 0)
WRONG = [
    (("sessions",), {}),
    (("sessions",), []),
    (("extra",), 1),
    (("sessions", 0, "uid"), "../../etc"),
    (("sessions", 0, "uid"), 7),
    (("sessions", 0, "player"), "../ann"),
    (("sessions", 0, "player"), "a" * 41),
    (("sessions", 0, "player"), None),
    (("sessions", 0, "began"), "yesterday"),
    (("sessions", 0, "began"), "2026-02-30T10:00:00.000+00:00"),
    (("sessions", 0, "began"), "2026-05-31T18:30:05.250"),
    (("sessions", 0, "kind"), "stolen"),
    (("sessions", 0, "source"), "camera\x1b[2J"),
    (("sessions", 0, "source"), "a\x00b"),
    (("sessions", 0, "source"), "\ud800"),
    (("sessions", 0, "model"), "m" * 100_000),
    (("sessions", 0, "model_fitted"), 1),
    (("sessions", 0, "reps"), {"0": 1}),
    ((*REP, "number"), 0),
    ((*REP, "number"), 2),  # the second rep has it too
    ((*REP, "number"), 1.5),
    ((*REP, "number"), True),
    ((*REP, "target_deg"), "84"),
    ((*REP, "target_deg"), None),
    ((*REP, "target_deg"), 1e9),
    ((*REP, "top_shoulder_turn_deg"), [90]),
    ((*REP, "takeaway_t_s"), None),
    ((*REP, "complete"), "yes"),
    ((*REP, "handed"), "both"),
    ((*REP, "words"), "Good rep"),
    ((*REP, "words"), ["a"] * 1000),
    ((*REP, "note"), 5),
    ((*REP, "id"), 1),
    ((*REP, "session_id); DROP TABLE reps; --"), 1),
    ((*REP, "cues"), None),
    ((*REP, "cues", 0, "kind"), "shout"),
    ((*REP, "cues", 0, "side"), "behind"),
    ((*REP, "cues", 0, "strength"), None),
    ((*REP, "cues", 0, "loud"), 1),
    ((*REP, "curves", "t_s"), []),
    ((*REP, "curves", "t_s", 1), -50.0),
    ((*REP, "curves", "shoulder_turn_deg"), [1.0]),
    ((*REP, "curves", "shoulder_turn_deg", 0), "x"),
    ((*REP, "curves", "made_up_deg"), [1.0]),
    ((*REP, "setup_pose", "points"), [[0, 0, 0]]),
    ((*REP, "setup_pose", "points", 3), [0, 0]),
    ((*REP, "setup_pose", "size_wh"), [1280]),
    ((*REP, "setup_pose", "size_wh"), [0, 720]),
]


def refused(path, capsys, before):
    files = {p.name: p.stat().st_size for p in store_path().parent.iterdir()}
    assert main(["import", str(path)]) == 1
    said = capsys.readouterr().err
    assert said.startswith("ShareError: ")
    assert "nothing was changed: " in said
    assert "wanted. Ask for it again." in said
    assert "Traceback" not in said
    assert len(said) < 1000
    assert all_told() == before
    assert {p.name: p.stat().st_size for p in store_path().parent.iterdir()} == files


@pytest.mark.parametrize("corpus", [path_tricks, bombs, shapes])
def test_a_zip_made_to_do_harm_is_refused(shared, tmp_path, capsys, corpus):
    _, values = shared
    before = all_told()
    for name, make in corpus(values):
        path = tmp_path / "bad.zip"
        path.unlink(missing_ok=True)
        make(path)
        try:
            refused(path, capsys, before)
        except AssertionError as error:
            raise AssertionError(name) from error
    assert sorted(os.listdir(tmp_path)) == ["ann.zip", "bad.zip"]  # nothing was unpacked


def test_a_text_made_to_do_harm_is_refused(shared, tmp_path, capsys):
    _, values = shared
    before = all_told()
    for name, text in texts(values):
        assert text != json.dumps(values), name
        refused(zipped(tmp_path / "bad.zip", text), capsys, before)


@pytest.mark.parametrize(("place", "value"), WRONG)
def test_a_value_that_should_not_be_is_refused(shared, tmp_path, capsys, place, value):
    _, values = shared
    bad = zipped(tmp_path / "bad.zip", changed(values, place, value))
    refused(bad, capsys, all_told())


@pytest.mark.parametrize("name", [n for n in ("uid", "began", "reps")])
def test_a_session_without_what_it_needs_is_refused(shared, tmp_path, capsys, name):
    _, values = shared
    del values["sessions"][0][name]
    refused(zipped(tmp_path / "bad.zip", values), capsys, all_told())


def test_a_file_of_an_earlier_version_may_lack_what_need_not_be_known(shared, tmp_path):
    _, values = shared
    del values["sessions"][0]["reps"][0]["practice_kind"]
    (first, *_) = read_share(zipped(tmp_path / "old.zip", values))
    assert first[0].practice_kind is None


def test_one_bad_rep_among_good_ones_leaves_none_behind(shared, elsewhere, tmp_path):
    """All are looked at first; and where the record itself refuses one, none stays."""
    path, _ = shared
    found = read_share(path)
    elsewhere()
    keep(kept_reps.rep(9, of=kept_reps.session(9, player="Bo")))
    clash = kept_reps.rep(1, of=kept_reps.session(9, player="Ann"))
    with open_store() as store:
        with pytest.raises(StoreError, match="as one of Bo"):
            take(store, [*found, (clash, kept_reps.motion())])
        assert store.players() == ("Bo",)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=8,
)


@hypothesis_settings(deadline=None, max_examples=60)
@given(name=st.sampled_from([*COLUMNS, "ended", "cues", "curves", "top_pose"]), value=json_values)
def test_any_value_in_any_place_is_taken_for_what_it_is_or_refused(name, value):
    told = rep_values(kept_reps.rep(1))
    told |= {"cues": [], "curves": None, "setup_pose": None, "top_pose": None, name: value}
    try:
        kept, _ = rep_from(told, kept_reps.session(), "rep")
    except StrangeError:
        return
    row = row_of(kept)
    assert all(v is None or isinstance(v, (int, float, str)) for v in row.values())


def test_every_column_knows_what_it_may_hold():
    """A new column that nobody said anything of would let anything in, or fail."""
    assert set(row_of(kept_reps.rep(1))) == set(COLUMNS)
    told = rep_values(kept_reps.rep(1))
    told |= {"cues": [], "curves": None, "setup_pose": None, "top_pose": None}
    for name in set(told) - {"cues", "curves", "setup_pose", "top_pose"}:
        with pytest.raises(StrangeError):
            rep_from({**told, name: {"a": 1}}, kept_reps.session(), "rep")


def test_a_share_that_is_too_much_says_how_to_make_it_less(tmp_path, monkeypatch, capsys):
    keep(kept_reps.rep(1), kept_reps.rep(2))
    monkeypatch.setattr("trainer.store.share.MOST_REPS", 1)
    assert main(["share", "--player", "Ann", "--out", str(tmp_path / "a.zip")]) == 1
    assert "Take fewer of the newest with --sessions." in capsys.readouterr().err
    assert os.listdir(tmp_path) == []


def test_a_strange_file_makes_no_record_where_there_was_none(shared, elsewhere, tmp_path):
    elsewhere()
    with pytest.raises(ShareError):
        read_share(zipped(tmp_path / "bad.zip", "[]"))
    assert main(["import", str(tmp_path / "bad.zip")]) == 1
    assert not store_path().exists()
