"""Writes finished reps down in a thread of its own, so that no disk ever holds up a tone.

A rep counts as kept when it is on the disk, not before. Where it cannot be written it waits in
memory and is tried again; practice goes on meanwhile.
"""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from trainer.errors import BusyStoreError, DamagedStoreError, PicturesError, StoreError
from trainer.store.content import Store
from trainer.store.file import open_store, set_aside, store_path
from trainer.store.gather import FinishedRep
from trainer.store.pictures import clip_name, drop_clip, keep_within, pictures_dir
from trainer.store.records import KeptPictures, KeptRep, Motion, RepWord

#: What could not be written is tried again after so long, and at the end.
RETRY_S: Final = 5.0
#: At the end a record in use by another program is waited for so long.
LAST_TRY_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class _Filmed:
    """A rep's clip that is on the disk, and how much all of them may take."""

    pictures: KeptPictures
    most_bytes: int

    @property
    def number(self) -> int:
        return self.pictures.number


class RepWriter:
    """Takes finished reps from the pose thread. Nothing it does raises.

    ``trouble`` says in plain words what could not be kept, or what became of a damaged record;
    ``kept`` counts the reps that are on the disk, ``filmed`` those of them with pictures, and
    ``thrown`` the clips that had to go to stay within the budget.
    """

    # NB: ``trouble``, ``waiting`` and the counts are plain attributes, each rebound as a whole by
    # the writing thread alone; ``_places`` is a set it alone adds to. A reader sees old or new.

    def __init__(
        self,
        path: Path | None = None,
        *,
        retry_s: float = RETRY_S,
        last_try_s: float = LAST_TRY_S,
        open_it: Callable[[Path], Store] = lambda path: open_store(path, create=True),
    ) -> None:
        """Write into ``path``, by default the user's own record; begin at the first rep."""
        self.path = store_path() if path is None else path
        self.kept = 0
        self.waiting = 0
        self.filmed = 0
        self.thrown = 0
        self._said = ""  # a rep that was lost, a damaged record: stands until the end
        self._fault = ""  # why reps wait
        self._retry_s, self._last_try_s, self._open_it = retry_s, last_try_s, open_it
        self._busy = False
        self._store: Store | None = None
        self._queue: queue.SimpleQueue[FinishedRep | RepWord | _Filmed | None] = queue.SimpleQueue()
        self._unwritten: deque[tuple[KeptRep, Motion] | RepWord | _Filmed] = deque()
        self._places: set[tuple[str, int]] = set()
        self._thread = threading.Thread(target=self._run, name="keep", daemon=True)
        self._thread.start()

    @property
    def trouble(self) -> str:
        """Return what is wrong in plain words; empty while all is well."""
        return " ".join(words for words in (self._said, self._fault) if words)

    def put(self, finished: FinishedRep | RepWord) -> None:
        """Hand over one rep, or what was said of one before; never waits and never raises.

        Any thread may call it.
        """
        self._queue.put(finished)

    def put_pictures(self, pictures: KeptPictures, most_bytes: int) -> None:
        """Hand over what a rep's clip is, after the rep and once its file is there.

        The oldest clips then go until all take ``most_bytes`` or less. Never waits, never raises.
        """
        self._queue.put(_Filmed(pictures, most_bytes))

    def is_kept(self, session_uid: str, number: int) -> bool:
        """Tell whether that rep is on the disk."""
        return (session_uid, number) in self._places

    def close(self) -> None:
        """Write what is left and let the file go; wait at most some seconds. Safe to call twice."""
        if not self._thread.is_alive():
            return
        self._queue.put(None)
        self._thread.join(timeout=self._last_try_s + 5.0)
        if self._thread.is_alive():
            self._fault = f"The disk is too slow: not every rep is kept in {self.path}."

    def _run(self) -> None:
        try:
            going_on = True
            while going_on:
                going_on = self._take()
                if self._unwritten:
                    self._write_all()
            self._last_try()
        finally:
            self._let_go()

    def _take(self) -> bool:
        """Take in every rep there is, waiting for one; return False when there will be no more."""
        wait_s = self._retry_s if self._unwritten else None
        try:
            while True:
                finished = self._queue.get(timeout=wait_s)
                if finished is None:
                    return False
                if isinstance(finished, (RepWord, _Filmed)):
                    self._unwritten.append(finished)
                else:
                    self._work_out(finished)
                wait_s = 0.0
        except queue.Empty:
            return True

    def _work_out(self, finished: FinishedRep) -> None:
        try:
            self._unwritten.append(finished.worked_out())
            self._count()
        except Exception as error:
            # A fault of ours costs a rep its place in the record, not the player the practice.
            self._lose(finished.rep.number, error)

    def _write_all(self) -> None:
        while self._unwritten:
            first = self._unwritten[0]
            try:
                if self._store is None:
                    self._store = self._open_it(self.path)
                if isinstance(first, RepWord):
                    self._tell(self._store, first)
                elif isinstance(first, _Filmed):
                    self._keep_pictures(self._store, first)
                else:
                    self._store.save(*first)
            except DamagedStoreError as error:
                if not self._put_aside(error):
                    return
                continue
            except StoreError as error:
                self._let_go()
                self._wait_because(error)
                return
            except PicturesError as error:
                self._said = str(error)
            except Exception as error:
                number = first[0].rep.number if isinstance(first, tuple) else first.number
                self._lose(number, error)
            else:
                if isinstance(first, tuple):
                    kept = first[0]
                    self._places.add((kept.session.uid, kept.rep.number))
                    self.kept += 1
                self._fault = ""
            self._unwritten.popleft()
            self._count()

    def _tell(self, store: Store, word: RepWord) -> None:
        if not store.tell(word):
            self._said = f"What was said of rep {word.number} is not kept: the rep is not either."

    def _keep_pictures(self, store: Store, filmed: _Filmed) -> None:
        pictures = filmed.pictures
        if store.save_pictures(pictures):
            self.filmed += 1
            self.thrown += keep_within(store, filmed.most_bytes)
        else:  # forgotten meanwhile, or lost: then nothing tells whose pictures they are
            name = clip_name(pictures.session_uid, pictures.number)
            drop_clip(pictures_dir(self.path) / name)

    def _count(self) -> None:
        self.waiting = sum(isinstance(one, tuple) for one in self._unwritten)

    def _lose(self, number: int, error: Exception) -> None:
        self._said = f"Rep {number} was not kept: {type(error).__name__}: {error}"

    def _put_aside(self, error: DamagedStoreError) -> bool:
        """Move a damaged record away, for a new one to begin; return False when it cannot be."""
        self._let_go()
        try:
            aside = set_aside(self.path)
        except StoreError as refused:
            self._wait_because(refused)
            return False
        why = str(error).split(". ")[0]
        self._said = (
            f"A new record of reps was begun: {why}. The old one is kept as {aside.name}; "
            "put a backup in its place with trainer restore."
        )
        return True

    def _wait_because(self, error: StoreError) -> None:
        self._busy = isinstance(error, BusyStoreError)
        count = self.waiting
        reps = "1 rep waits" if count == 1 else f"{count} reps wait"
        self._fault = f"{reps if count else 'What was said or filmed waits'} to be kept: {error}"

    def _last_try(self) -> None:
        until_s = time.monotonic() + self._last_try_s
        while self._unwritten and self._busy and time.monotonic() < until_s:
            time.sleep(min(0.2, self._retry_s))
            self._write_all()
        if self._unwritten:
            count = self.waiting
            reps = "1 rep was" if count == 1 else f"{count} reps were"
            reps = reps if count else "What was said or filmed was"
            why = self._fault.split(" to be kept: ", 1)[-1]
            self._fault = f"{reps} not kept: {why}"

    def _let_go(self) -> None:
        if self._store is not None:
            self._store.close()
            self._store = None
