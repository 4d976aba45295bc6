"""What keeping reps costs: a store of 200,000 reps, and the live loop with and without one."""

from __future__ import annotations

import sqlite3
import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from statistics import median

import numpy as np

from trainer.core.records import Measures, Rep
from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.rep_pictures import RepPictures
from trainer.store.file import open_store
from trainer.store.gather import FinishedRep
from trainer.store.keeper import Made, RepKeeper, new_session
from trainer.store.records import KeptSession, Kind
from trainer.store.rows import AT_TOP
from trainer.store.writer import RepWriter

#: Reps a session in the made-up store; nobody practises more in one go.
SESSION_REPS = 100


def made_up(session: KeptSession, number: int, readings: int = 60) -> FinishedRep:
    """Return a rep of two seconds at 30 pictures a second with every measure read."""
    names = AT_TOP
    noise = np.random.default_rng(number).normal(0, 1, (readings, len(names)))
    swing = np.linspace(0.0, 90.0, readings)[:, None]
    measured = [
        Measures(t_s=10.0 + row / 30.0, **dict(zip(names, (swing[row] + values).tolist())))  # noqa: B905
        for row, values in enumerate(noise)
    ]
    return FinishedRep(
        session=session,
        ended=session.began + timedelta(seconds=20 * number),
        rep=Rep(
            number=number,
            setup_t_s=10.0,
            takeaway_t_s=10.5,
            top_t_s=11.7,
            top_end_t_s=11.9,
            complete=True,
            at_top=measured[-1],
        ),
        rules=Rules(),
        verdict=RepWords(good=True, headline="Good rep", details=("turn about 90°, ±6",)),
        reference=None,
        readings=tuple((now, None) for now in measured),
    )


@dataclass(frozen=True, slots=True)
class Keeping:
    """What keeps a live run's reps; nothing where none is to be kept."""

    reps: RepKeeper | None = None
    pictures: RepPictures | None = None
    writer: RepWriter | None = None

    def all_kept(self, reps: Sequence[Rep]) -> None:
        """See to it that all were kept, and clips of whole reps that were filmed."""
        if self.writer is None:
            return
        if self.pictures is not None:
            self.pictures.close()
        self.writer.close()
        if self.writer.kept < len(reps):
            raise RuntimeError(self.writer.trouble or "not every rep was kept")
        whole = any(rep.complete for rep in reps)
        if self.pictures is not None and whole and not self.writer.filmed:
            raise RuntimeError(self.pictures.trouble or "no rep was filmed")


def keeping(path: Path | None, *, film: bool = False) -> Keeping:
    """Return what keeps a live run's reps in ``path``, and films them too if so."""
    if path is None:
        return Keeping()
    writer = RepWriter(path)
    pictures = RepPictures(writer, on=True) if film else None
    made = Made(kind=Kind.LIVE, source="the demo clip")
    return Keeping(RepKeeper("me", made, writer, pictures=pictures), pictures, writer)


def save_ms(reps: int) -> tuple[list[float], list[float]]:
    """Return ms a rep: to work out what is kept, and to have it on the disk."""
    worked: list[float] = []
    saved: list[float] = []
    session = new_session("me", Made(kind=Kind.LIVE, source="camera 0"), _day(0))
    with (
        tempfile.TemporaryDirectory() as folder,
        open_store(Path(folder) / "reps.sqlite", create=True) as store,
    ):
        for number in range(1, reps + 1):
            finished = made_up(session, number)
            begun_s = time.perf_counter()
            kept, motion = finished.worked_out()
            worked_s = time.perf_counter()
            store.save(kept, motion)
            saved.append((time.perf_counter() - worked_s) * 1000)
            worked.append((worked_s - begun_s) * 1000)
    return worked, saved


def list_ms(path: Path, rounds: int, player: str | None = None) -> float:
    """Return ms to open a store and list its newest 50 reps, median."""
    taken = []
    for _ in range(rounds):
        begun_s = time.perf_counter()
        with open_store(path) as store:
            found = store.last_reps(50, player)
        taken.append((time.perf_counter() - begun_s) * 1000)
        if len(found) != 50:
            raise RuntimeError(f"{len(found)} reps were listed, not 50")
    return median(taken)


def fill(path: Path, reps: int, players: int = 5) -> None:
    """Fill a store with so many reps of 60 readings: one saved as ever, the others copied from it.

    What is listed is what a store kept rep by rep would list; only the filling is quicker.
    """
    sessions = -(-reps // SESSION_REPS)
    with open_store(path, create=True) as store:
        made = Made(kind=Kind.LIVE, source="camera 0")
        for number in range(players):
            session = new_session(f"player {number}", made, _day(number))
            for rep in range(1, SESSION_REPS + 1):
                store.save(*made_up(session, rep).worked_out())
    with closing(sqlite3.connect(path)) as db:
        columns = {
            table: ", ".join(
                row[1] for row in db.execute(f"PRAGMA table_info({table})") if row[1] not in skip
            )
            for table, skip in (
                ("sessions", ("id", "uid", "began_utc")),
                ("reps", ("id", "session_id")),
            )
        }
        for number in range(players, sessions):
            began = f"{_day(number):%Y-%m-%dT%H:%M:%S}.000Z"
            model, given = 1 + number % players, (f"{number:032x}", began, 1 + number % players)
            session_id = db.execute(
                f"INSERT INTO sessions (uid, began_utc, {columns['sessions']}) "
                f"SELECT ?, ?, {columns['sessions']} FROM sessions WHERE id = ?",
                given,
            ).lastrowid
            first = db.execute("SELECT coalesce(max(id), 0) FROM reps").fetchone()[0]
            db.execute(
                f"INSERT INTO reps (id, session_id, {columns['reps']}) "
                f"SELECT ? + number, ?, {columns['reps']} FROM reps WHERE session_id = ?",
                (first, session_id, model),
            )
            db.execute(
                "INSERT INTO curves SELECT ? + number, names, readings, packed FROM curves "
                "JOIN reps ON reps.id = rep_id WHERE session_id = ?",
                (first, model),
            )
        db.commit()


def _day(number: int) -> datetime:
    return datetime(2020, 1, 1, 12, tzinfo=timezone.utc) + timedelta(hours=7 * number)
