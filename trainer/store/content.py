"""What is in the record of reps: written whole, found by player and time.

``file`` opens the record and says where it lies.
"""

from __future__ import annotations

import json
import sqlite3
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from trainer.errors import StoreError
from trainer.store.packing import pack_curves, pack_points, unpack_curves, unpack_points
from trainer.store.records import (
    KeptPictures,
    KeptRep,
    KeptSession,
    Motion,
    RepWord,
    SessionLine,
)
from trainer.store.rows import (
    SAID,
    cue_of,
    cue_row,
    rep_of,
    row_of,
    session_of,
    session_row,
    time_of,
)
from trainer.store.trouble import in_words, understood

_SESSIONS: Final = """
SELECT sessions.*, players.name AS player,
    (SELECT count(*) FROM reps WHERE session_id = sessions.id AND complete) AS complete_reps,
    (SELECT max(ended_utc) FROM reps WHERE session_id = sessions.id) AS last_utc
FROM sessions JOIN players ON players.id = sessions.player_id
"""
#: CROSS: sessions are gone through first, in the order asked for, so that a few newest reps are
#: found without looking at the others.
_REPS: Final = """
SELECT reps.*, players.name AS player, sessions.uid, sessions.began_utc,
    sessions.utc_offset_min AS began_offset_min, sessions.kind, sessions.source, sessions.model,
    sessions.model_fitted, sessions.program, sessions.clip_sha256
FROM sessions CROSS JOIN reps ON reps.session_id = sessions.id
    JOIN players ON players.id = sessions.player_id
"""
_NEWEST_FIRST: Final = "ORDER BY sessions.began_utc DESC, sessions.id DESC"


def player_key(name: str) -> str:
    """Return what tells players apart: capitals make no other player."""
    return unicodedata.normalize("NFC", name).casefold()


class Store:
    """The record of reps, open. Used from the thread that opened it; closed at the end of ``with``.

    Every method raises StoreError when the file cannot be used: locked by another program,
    no space, read-only; and DamagedStoreError when it is not whole.
    """

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        """Use ``file.open_store``."""
        self.path = path
        self._db = db

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go. Safe to call twice."""
        with suppress(sqlite3.Error):
            self._db.close()

    def save(self, kept: KeptRep, motion: Motion | None = None) -> bool:
        """Keep one rep, its session and its player, in one transaction.

        Returns False when that rep was there already, and leaves it as it is: a save whose answer
        was lost may be made again.
        """
        with in_words(self.path), self._transaction():
            return self._save(kept, motion)

    def tell(self, word: RepWord) -> bool:
        """Put down what was said of a kept rep; return False when there is no such rep."""
        if word.what not in SAID:
            raise ValueError(f"{word.what!r} is nothing that is said of a rep")
        said = int(word.said) if isinstance(word.said, bool) else word.said
        with in_words(self.path), self._transaction():
            done = self._db.execute(
                f"UPDATE reps SET {word.what} = ? WHERE number = ? AND session_id = "
                "(SELECT id FROM sessions WHERE uid = ?)",
                (said, word.number, word.session_uid),
            )
        return done.rowcount > 0

    def save_all(self, reps: Iterable[tuple[KeptRep, Motion]]) -> int:
        """Keep all of ``reps`` or none; return how many were not there already.

        Raises StoreError when one belongs to a session that is here under another player's name.
        """
        new = 0
        with in_words(self.path), self._transaction():
            for kept, motion in reps:
                self._refuse_another(kept.session)
                new += self._save(kept, motion)
        return new

    def file_clip(self, session: KeptSession, reps: Iterable[tuple[KeptRep, Motion]]) -> None:
        """Keep a clip's reps in the place of what the same clip gave its player before."""
        with in_words(self.path), self._transaction():
            self._db.execute(
                "DELETE FROM sessions WHERE clip_sha256 = ? AND player_id IN "
                "(SELECT id FROM players WHERE key = ?)",
                (session.clip_sha256, player_key(session.player)),
            )
            for kept, motion in reps:
                self._save(kept, motion)

    def has_clip(self, player: str, clip_sha256: str) -> bool:
        """Tell whether reps of that clip are kept of that player."""
        found = self.query(
            "SELECT 1 FROM sessions JOIN players ON players.id = player_id "
            "WHERE clip_sha256 = ? AND key = ?",
            (clip_sha256, player_key(player)),
        )
        return bool(found)

    def players(self) -> tuple[str, ...]:
        """Return the names of all players with a session, in order."""
        with understood(self.path):
            rows = self._db.execute("SELECT name FROM players ORDER BY key").fetchall()
        return tuple(row["name"] for row in rows)

    def sessions(self, player: str | None = None, *, most: int = -1) -> list[SessionLine]:
        """Return the ``most`` newest sessions (all: -1), of one player or of all, newest first."""
        with understood(self.path):
            where, given = self._of(player)
            query = f"{_SESSIONS} {where} {_NEWEST_FIRST} LIMIT ?"
            return [
                SessionLine(
                    session=session_of(row, row["utc_offset_min"]),
                    reps=row["complete_reps"],
                    last=time_of(row["last_utc"], row["utc_offset_min"]),
                )
                for row in self._db.execute(query, (*given, most))
            ]

    def last_reps(self, count: int, player: str | None = None) -> list[KeptRep]:
        """Return the ``count`` newest reps, of one player or of all, newest first."""
        with understood(self.path):
            where, given = self._of(player)
            order = f"{_NEWEST_FIRST}, reps.number DESC LIMIT ?"
            return self._reps(f"{where} {order}", (*given, count))

    def reps_of(self, session: KeptSession) -> list[KeptRep]:
        """Return the reps of a session, in order."""
        with understood(self.path):
            return self._reps("WHERE sessions.uid = ? ORDER BY reps.number", (session.uid,))

    def all_reps(self, player: str | None = None) -> list[KeptRep]:
        """Return every rep, of one player or of all, oldest first."""
        with understood(self.path):
            where, given = self._of(player)
            order = "ORDER BY sessions.began_utc, sessions.id, reps.number"
            return self._reps(f"{where} {order}", given)

    def motion(self, kept: KeptRep) -> Motion:
        """Return a rep's curves, and its points at setup and top; None for what is not there."""
        with understood(self.path):
            rep_id = self._rep_id(kept)
            row = self._db.execute(
                "SELECT names, readings, packed FROM curves WHERE rep_id = ?", (rep_id,)
            ).fetchone()
            curves = None
            if row is not None:
                curves = unpack_curves(json.loads(row["names"]), row["readings"], row["packed"])
            points = {
                row["moment"]: unpack_points((row["width_px"], row["height_px"]), row["points"])
                for row in self._db.execute("SELECT * FROM poses WHERE rep_id = ?", (rep_id,))
            }
        return Motion(curves=curves, setup_pose=points.get("setup"), top_pose=points.get("top"))

    def save_pictures(self, pictures: KeptPictures) -> bool:
        """Put down what a rep's clip is; return False when the rep is not here."""
        with in_words(self.path), self._transaction():
            rep_id = self._place_id(pictures.session_uid, pictures.number)
            if rep_id is None:
                return False
            told = asdict(pictures)
            del told["session_uid"], told["number"]
            self._db.execute("DELETE FROM pictures WHERE rep_id = ?", (rep_id,))
            self._insert("pictures", {"rep_id": rep_id, **told})
        return True

    def pictures_of(self, session_uid: str, number: int) -> KeptPictures | None:
        """Return what is told of a rep's clip; None when it has none."""
        with understood(self.path):
            row = self._db.execute(
                "SELECT * FROM pictures WHERE rep_id = ?", (self._place_id(session_uid, number),)
            ).fetchone()
        if row is None:
            return None
        told = {name: row[name] for name in row.keys() if name != "rep_id"}  # noqa: SIM118
        return KeptPictures(session_uid=session_uid, number=number, **told)

    def pictures_kept(self) -> dict[tuple[str, int], str]:
        """Return the player of every rep that has a clip, by session ``uid`` and number."""
        with understood(self.path):
            rows = self._db.execute(
                "SELECT uid, number, name FROM pictures JOIN reps ON reps.id = rep_id "
                "JOIN sessions ON sessions.id = session_id JOIN players ON players.id = player_id"
            )
            return {(row["uid"], row["number"]): row["name"] for row in rows}

    def drop_pictures_of(self, places: Iterable[tuple[str, int]]) -> None:
        """Forget that these reps, by session ``uid`` and number, have a clip."""
        with in_words(self.path), self._transaction():
            for place in places:
                self._db.execute("DELETE FROM pictures WHERE rep_id = ?", (self._place_id(*place),))

    def check(self) -> str:
        """Return what SQLite says of the file's wholeness: "ok", or what is wrong with it."""
        with understood(self.path):
            lines = [row[0] for row in self._db.execute("PRAGMA integrity_check")]
            lines += [str(tuple(row)) for row in self._db.execute("PRAGMA foreign_key_check")]
        return "ok" if lines == ["ok"] else "; ".join(line for line in lines if line != "ok")

    def query(self, sql: str, given: dict[str, Any] | tuple[Any, ...] = ()) -> list[sqlite3.Row]:
        """Return the rows of a query by its own words."""
        with in_words(self.path):
            return self._db.execute(sql, given).fetchall()

    def copy_into(self, target: sqlite3.Connection) -> None:
        """Write all there is into another database, as of one moment."""
        with in_words(self.path):
            self._db.backup(target)

    def replace_by(self, other: Store) -> None:
        """Put what ``other`` holds in the place of all there is, at once or not at all."""
        with in_words(self.path):
            other._db.backup(self._db)

    def delete_player(self, player: str) -> None:
        """Delete a player, with every session and rep, and overwrite where they stood."""
        with in_words(self.path):
            self._db.execute("PRAGMA secure_delete = ON")
        with in_words(self.path), self._transaction():
            self._db.execute("DELETE FROM players WHERE key = ?", (player_key(player),))

    def rename_player(self, old: str, new: str) -> int:
        """Put every session of ``old`` under ``new``, with what ``new`` has; return how many."""
        with in_words(self.path), self._transaction():
            was = self._player_id(old)
            if was is None:
                return 0
            now = self._player_id(new)
            if now is None or now == was:
                given = (player_key(new), new, was)
                self._db.execute("UPDATE players SET key = ?, name = ? WHERE id = ?", given)
            moved = self._db.execute(
                "UPDATE sessions SET player_id = ? WHERE player_id = ?", (now or was, was)
            )
            if now not in (None, was):
                self._db.execute("DELETE FROM players WHERE id = ?", (was,))
        return moved.rowcount

    def clean(self) -> None:
        """Give freed space back and empty the log. Raises BusyStoreError while it is used."""
        with in_words(self.path):
            self._db.execute("VACUUM")
            if self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]:
                raise sqlite3.OperationalError("database is locked")

    def _save(self, kept: KeptRep, motion: Motion | None) -> bool:
        session_id = self._session_id(kept.session)
        found = self._db.execute(
            "SELECT 1 FROM reps WHERE session_id = ? AND number = ?",
            (session_id, kept.rep.number),
        ).fetchone()
        if found:
            return False
        rep_id = self._insert("reps", {"session_id": session_id, **row_of(kept)})
        self._db.executemany(
            "INSERT INTO cues VALUES (?, ?, ?, ?, ?, ?, ?)",
            [(rep_id, place, *cue_row(cue)) for place, cue in enumerate(kept.rep.cues)],
        )
        if motion is not None:
            self._insert_motion(rep_id, motion)
        return True

    def _refuse_another(self, session: KeptSession) -> None:
        row = self._db.execute(
            "SELECT key, name FROM sessions JOIN players ON players.id = player_id WHERE uid = ?",
            (session.uid,),
        ).fetchone()
        if row is not None and row["key"] != player_key(session.player):
            raise StoreError(
                f"a session of {session.began:%Y-%m-%d %H:%M} is here already as one of "
                f"{row['name']}. Reps of one player under one name were wanted. "
                f"Give --player {row['name']}."
            )

    def _of(self, player: str | None) -> tuple[str, tuple[Any, ...]]:
        """Return the condition of a query, and what it is given."""
        if player is None:
            return "", ()
        known = self._player_id(player)
        # A player nobody knows has no reps: no id is negative.
        return "WHERE sessions.player_id = ?", (-1 if known is None else known,)

    def _player_id(self, player: str) -> int | None:
        key = player_key(player)
        row = self._db.execute("SELECT id FROM players WHERE key = ?", (key,)).fetchone()
        return None if row is None else int(row["id"])

    def _reps(self, rest: str, given: tuple[Any, ...]) -> list[KeptRep]:
        rows = self._db.execute(f"{_REPS} {rest}", given).fetchall()
        sessions: dict[str, KeptSession] = {}
        found = []
        for row in rows:
            if row["uid"] not in sessions:
                sessions[row["uid"]] = session_of(row, row["began_offset_min"])
            cues = self._db.execute(
                "SELECT * FROM cues WHERE rep_id = ? ORDER BY place", (row["id"],)
            )
            found.append(rep_of(sessions[row["uid"]], row, map(cue_of, cues)))
        return found

    def _rep_id(self, kept: KeptRep) -> int | None:
        return self._place_id(kept.session.uid, kept.rep.number)

    def _place_id(self, session_uid: str, number: int) -> int | None:
        row = self._db.execute(
            "SELECT reps.id FROM reps JOIN sessions ON sessions.id = reps.session_id "
            "WHERE sessions.uid = ? AND reps.number = ?",
            (session_uid, number),
        ).fetchone()
        return None if row is None else row["id"]

    def _session_id(self, session: KeptSession) -> int:
        row = self._db.execute("SELECT id FROM sessions WHERE uid = ?", (session.uid,)).fetchone()
        if row is not None:
            return int(row["id"])
        player_id = self._player_id(session.player)
        if player_id is None:
            names = {"key": player_key(session.player), "name": session.player}
            player_id = self._insert("players", names)
        return self._insert("sessions", {"player_id": player_id, **session_row(session)})

    def _insert_motion(self, rep_id: int, motion: Motion) -> None:
        if motion.curves is not None and motion.curves.t_s.size:
            names, count, packed = pack_curves(motion.curves)
            self._insert(
                "curves",
                {"rep_id": rep_id, "names": json.dumps(names), "readings": count, "packed": packed},
            )
        for moment, pose in (("setup", motion.setup_pose), ("top", motion.top_pose)):
            if pose is not None:
                width, height = pose.size_wh
                self._db.execute(
                    "INSERT INTO poses VALUES (?, ?, ?, ?, ?)",
                    (rep_id, moment, width, height, pack_points(pose)),
                )

    def _insert(self, table: str, row: dict[str, Any]) -> int:
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        done = self._db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", row)
        assert done.lastrowid is not None  # an INSERT of one row has one
        return done.lastrowid

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):  # some errors have rolled back already
                self._db.execute("ROLLBACK")
            raise
