"""Run by the tests of disks: keeps reps where there is no room, or no leave, then where there is.

Usage: disk_child.py full|read-only FILE. Prints what the writer said meanwhile, as JSON.
"""

import contextlib
import json
import os
import resource
import signal
import sys
import time
from pathlib import Path

import kept_reps

from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.store.file import open_store
from trainer.store.gather import FinishedRep
from trainer.store.writer import RepWriter

NOBODY = 65534


def put(writer, number):
    writer.put(
        FinishedRep(
            session=kept_reps.session(),
            ended=kept_reps.BEGAN,
            rep=kept_reps.rep(number).rep,
            rules=Rules(),
            verdict=RepWords(good=True, headline="Good rep", details=()),
            reference=None,
            readings=(),
        )
    )


def until(wanted):
    for _ in range(12000):
        if wanted():
            return
        time.sleep(0.005)
    raise TimeoutError


@contextlib.contextmanager
def no_room(path):
    """Let no file grow: writing beyond fails with EFBIG, as with ENOSPC on a full disk."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    resource.setrlimit(resource.RLIMIT_FSIZE, (12 * 1024, hard))  # less than one rep takes
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))


@contextlib.contextmanager
def no_leave(path):
    """Let folder and file be read only. The administrator may do all, so be nobody in between."""
    administrator = os.geteuid() == 0
    parts = [path.parent, *path.parent.glob(path.name + "*")]
    for part in parts:
        part.chmod(0o555 if part.is_dir() else 0o444)
    if administrator:
        os.seteuid(NOBODY)
    yield
    if administrator:
        os.seteuid(0)
    for part in parts:
        part.chmod(0o755 if part.is_dir() else 0o644)


def main(trouble, path):
    with open_store(path, create=True) as store:
        store.save(kept_reps.rep(1))
    writer = RepWriter(path, retry_s=0.05)
    with {"full": no_room, "read-only": no_leave}[trouble](path):
        for number in (2, 3, 4):
            put(writer, number)
        until(lambda: writer.waiting == 3 and writer.trouble)
        said, kept = writer.trouble, writer.kept
    until(lambda: writer.kept == 3)
    writer.close()
    with open_store(path) as store:
        numbers, state = [one.rep.number for one in store.all_reps()], store.check()
    result = {"said": said, "kept": kept, "numbers": numbers, "state": state}
    json.dump({**result, "then": writer.trouble}, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
