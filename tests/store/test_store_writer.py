"""The thread that writes reps down: kept means on the disk, and what cannot be kept waits."""

import sqlite3
import threading
from contextlib import closing

import kept_reps
import pytest

from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.errors import StoreError
from trainer.store.content import Store
from trainer.store.file import open_store, store_path
from trainer.store.gather import FinishedRep
from trainer.store.records import RepWord
from trainer.store.writer import RepWriter


def finished(number, *, of=None, rep=None, readings=()):
    return FinishedRep(
        session=of or kept_reps.session(),
        ended=kept_reps.BEGAN,
        rep=rep or kept_reps.rep(number).rep,
        rules=Rules(),
        verdict=RepWords(good=True, headline="Good rep", details=()),
        reference=None,
        readings=readings,
    )


class Waiting:
    """Waits until something is true of the writer; a test that hangs fails."""

    def __init__(self, writer):
        self._writer = writer
        self._nap = threading.Event()

    def until(self, wanted):
        for _ in range(6000):
            if wanted(self._writer):
                return
            self._nap.wait(0.005)
        raise AssertionError(f"it never came: {self._writer.trouble}")


@pytest.fixture
def writer():
    made = []

    def make(**given):
        made.append(RepWriter(**{"retry_s": 0.02, "last_try_s": 0.2, **given}))
        return made[-1], Waiting(made[-1])

    yield make
    for one in made:
        one.close()


def numbers(path=None):
    with open_store(path) as store:
        return [kept.rep.number for kept in store.all_reps()]


def test_a_rep_is_called_kept_only_once_another_program_can_read_it(writer):
    """Each answer "kept" is checked at once from outside, by plain SQLite."""
    keeping, waiting = writer()
    of = kept_reps.session()
    for number in range(1, 21):
        keeping.put(finished(number))
        waiting.until(lambda w, n=number: w.is_kept(of.uid, n))
        with closing(sqlite3.connect(store_path())) as db:
            assert db.execute("SELECT max(number) FROM reps").fetchone() == (number,)
    assert (keeping.kept, keeping.waiting, keeping.trouble) == (20, 0, "")


def test_a_rep_is_not_called_kept_while_its_writing_is_under_way(writer):
    begun, may_go_on = threading.Event(), threading.Event()

    class Slow(Store):
        def save(self, kept, motion=None):
            begun.set()
            assert may_go_on.wait(30)
            return super().save(kept, motion)

    def slow(path):
        plain = open_store(path, create=True)
        return Slow(plain._db, path)

    # SQLite's connection belongs to the thread that opened it, which is the writer's.
    keeping, waiting = writer(open_it=slow)
    keeping.put(finished(1))
    assert begun.wait(30)
    assert not keeping.is_kept(kept_reps.session().uid, 1)
    may_go_on.set()
    waiting.until(lambda w: w.is_kept(kept_reps.session().uid, 1))


def test_no_file_is_made_before_the_first_rep(writer):
    keeping, _ = writer()
    keeping.close()
    assert not store_path().exists()


def test_closing_writes_what_is_left(writer):
    keeping, _ = writer()
    for number in range(1, 30):
        keeping.put(finished(number))
    keeping.close()
    keeping.close()
    assert numbers() == list(range(1, 30))
    assert keeping.trouble == ""


def test_a_record_in_use_by_another_program_is_waited_for(writer):
    open_store(create=True).close()
    other = sqlite3.connect(store_path(), isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")

    def impatient(path):
        store = open_store(path, create=True)
        store._db.execute("PRAGMA busy_timeout = 10")
        return store

    keeping, waiting = writer(open_it=impatient)
    keeping.put(finished(1))
    keeping.put(finished(2))
    waiting.until(lambda w: w.waiting == 2 and w.trouble)
    assert keeping.trouble.startswith("2 reps wait to be kept: the record of reps, ")
    assert "in use by another program" in keeping.trouble
    assert "was wanted. Close the other program." in keeping.trouble
    assert keeping.kept == 0
    other.execute("COMMIT")
    other.close()
    waiting.until(lambda w: w.kept == 2)
    assert keeping.trouble == ""
    assert numbers() == [1, 2]


def test_reps_another_program_never_lets_be_written_are_told_at_the_end(writer):
    open_store(create=True).close()
    other = sqlite3.connect(store_path(), isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    keeping, _ = writer()
    keeping.put(finished(1))
    keeping.close()
    other.close()
    assert keeping.trouble.startswith("1 rep was not kept: the record of reps, ")


def test_a_full_disk_is_told_and_the_reps_are_written_once_there_is_room(writer):
    """SQLite's own limit of pages stands in for the disk: it raises the same SQLITE_FULL."""
    limit = [1]

    def small(path):
        store = open_store(path, create=True)
        pages = store._db.execute("PRAGMA page_count").fetchone()[0]
        store._db.execute(f"PRAGMA max_page_count = {pages + limit[0]}")
        return store

    keeping, waiting = writer(open_it=small)
    for number in range(1, 60):
        keeping.put(finished(number, rep=kept_reps.rep(number).rep))
    waiting.until(lambda w: "could not grow" in w.trouble)
    assert "A disk with space was wanted. Make room" in keeping.trouble
    kept_then = keeping.kept
    assert keeping.waiting == 59 - kept_then > 0
    limit[0] = 10_000
    waiting.until(lambda w: w.kept == 59)
    assert keeping.trouble == ""
    assert numbers() == list(range(1, 60))


def test_a_damaged_record_is_set_aside_and_a_new_one_begun(writer):
    store_path().write_bytes(b"no database at all. " * 500)
    keeping, waiting = writer()
    keeping.put(finished(1))
    waiting.until(lambda w: w.kept == 1)
    assert "is damaged (file is not a database)" in keeping.trouble
    assert "kept as reps.sqlite.damaged" in keeping.trouble
    assert store_path().with_name("reps.sqlite.damaged").read_bytes().startswith(b"no database")
    assert numbers() == [1]
    keeping.put(finished(2))
    waiting.until(lambda w: w.kept == 2)
    assert "new record" in keeping.trouble  # it stands until the end


def test_a_second_damaged_record_does_not_take_the_firsts_place(writer):
    for text in (b"one. ", b"two. "):
        if store_path().exists():
            store_path().unlink()
        for ending in ("-wal", "-shm"):
            store_path().with_name(f"reps.sqlite{ending}").unlink(missing_ok=True)
        store_path().write_bytes(text * 500)
        keeping, waiting = writer()
        keeping.put(finished(1))
        waiting.until(lambda w: w.kept == 1)
        keeping.close()
    folder = store_path().parent
    assert (folder / "reps.sqlite.damaged").read_bytes().startswith(b"one. ")
    assert (folder / "reps.sqlite.damaged-2").read_bytes().startswith(b"two. ")


def test_a_record_of_a_newer_program_is_left_and_the_reps_wait(writer):
    with open_store(create=True) as store:
        store._db.execute("PRAGMA user_version = 99")
    keeping, waiting = writer()
    keeping.put(finished(1))
    waiting.until(lambda w: "is of version 99" in w.trouble)
    keeping.close()
    assert keeping.trouble.startswith("1 rep was not kept: the record of reps, ")


def test_a_folder_that_cannot_be_made_is_told(writer, tmp_path):
    in_the_way = tmp_path / "a file"
    in_the_way.write_text("", encoding="ascii")
    keeping, waiting = writer(path=in_the_way / "reps.sqlite")
    keeping.put(finished(1))
    waiting.until(lambda w: "could not be made" in w.trouble)


def test_a_fault_of_our_own_costs_one_rep_and_says_which(writer):
    keeping, waiting = writer()
    keeping.put(finished(1, readings=(("no reading", None),)))
    keeping.put(finished(2))
    waiting.until(lambda w: w.kept == 1)
    assert keeping.trouble.startswith("Rep 1 was not kept: AttributeError")
    assert numbers() == [2]


def test_a_record_opened_and_refused_again_and_again_stays_whole(writer):
    refusals = [3]

    class Refusing(Store):
        def save(self, kept, motion=None):
            if refusals[0]:
                refusals[0] -= 1
                raise StoreError("the disk is away. A disk was wanted. Plug it in.")
            return super().save(kept, motion)

    def refusing(path):
        plain = open_store(path, create=True)
        return Refusing(plain._db, path)

    keeping, waiting = writer(open_it=refusing)
    keeping.put(finished(1))
    waiting.until(lambda w: w.kept == 1)
    with open_store() as store:
        assert store.check() == "ok"


def word(number, what, said, *, of=None):
    return RepWord(session_uid=(of or kept_reps.session()).uid, number=number, what=what, said=said)


def test_what_is_said_of_a_rep_is_put_down_after_it_and_can_be_taken_back():
    writer = RepWriter()
    writer.put(finished(1))
    writer.put(word(1, "coach_good", False))
    writer.put(word(1, "note", "too quick\u00e9"))
    writer.put(word(1, "guess", "short"))
    writer.put(finished(2))
    writer.put(word(2, "coach_good", True))
    writer.put(word(2, "coach_good", None))
    writer.close()
    assert (writer.kept, writer.trouble) == (2, "")
    with open_store() as store:
        first, second = store.all_reps()
    assert (first.coach_good, first.note, first.guess) == (False, "too quick\u00e9", "short")
    assert (second.coach_good, second.note, second.guess) == (None, None, None)


def test_a_word_waits_with_its_rep_while_the_record_is_locked():
    writer = RepWriter(retry_s=0.02, last_try_s=10.0)
    writer.put(finished(1))
    Waiting(writer).until(lambda w: w.kept == 1)
    with closing(sqlite3.connect(store_path())) as other:
        other.execute("BEGIN IMMEDIATE")
        writer.put(word(1, "note", "later"))
        Waiting(writer).until(lambda w: "What was said or filmed waits to be kept" in w.trouble)
        assert writer.waiting == 0
        other.execute("ROLLBACK")
    writer.close()
    assert writer.trouble == ""
    with open_store() as store:
        assert store.all_reps()[0].note == "later"


def test_a_word_on_a_rep_that_is_not_there_is_said_and_a_strange_one_is_refused():
    writer = RepWriter()
    writer.put(word(7, "note", "lost"))
    writer.close()
    assert writer.trouble == "What was said of rep 7 is not kept: the rep is not either."
    with open_store() as store, pytest.raises(ValueError, match="nothing that is said"):
        store.tell(word(7, "number = 1; --", "x"))
