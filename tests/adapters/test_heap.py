"""One heap for all threads, where the C library would give each its own."""

import ctypes
import platform
import subprocess
import sys

import pytest

from trainer.adapters import heap

on_glibc = pytest.mark.skipif(
    platform.libc_ver()[0] != "glibc", reason="heaps a thread are glibc's own"
)

#: Eight threads take memory at once; malloc_info (glibc manual, "Malloc Tunable Parameters" and
#: malloc_info(3)) writes one <heap nr=...> for each heap there is.
HEAPS = """
import ctypes, sys, threading
from trainer.adapters.heap import share_heap
if sys.argv[1] == "shared":
    assert share_heap()
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
ready = threading.Barrier(8)
def take():
    for _ in range(2000):
        libc.malloc(1000)
    ready.wait()
threads = [threading.Thread(target=take) for _ in range(8)]
for thread in threads: thread.start()
for thread in threads: thread.join()
libc.fdopen.restype = ctypes.c_void_p
out = ctypes.c_void_p(libc.fdopen(1, b"w"))
libc.malloc_info(0, out)
libc.fflush(out)
"""


def heaps(how, env=None):
    done = subprocess.run(
        [sys.executable, "-c", HEAPS, how], capture_output=True, text=True, check=True, env=env
    )
    return done.stdout.count("<heap nr=")


@on_glibc
def test_threads_share_one_heap_once_asked():
    assert heaps("own") > 1
    assert heaps("shared") == 1


def test_a_limit_set_by_the_user_is_kept(monkeypatch):
    monkeypatch.setenv("MALLOC_ARENA_MAX", "4")
    assert not heap.share_heap()


def test_another_c_library_is_left_alone(monkeypatch):
    monkeypatch.setattr(platform, "libc_ver", lambda: ("", ""))
    monkeypatch.setattr(ctypes, "CDLL", None)  # calling it would fail
    assert not heap.share_heap()
