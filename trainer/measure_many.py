"""Many clips at once, each in a process of its own, with one progress bar."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import queue
import signal
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from trainer.core.counted import counted
from trainer.core.rules import Rules
from trainer.errors import SettingsError, TrainerError
from trainer.measure import ClipJob, Measured, make_out_dir, measure_clip
from trainer.measure_table import HEAD, row_before, row_of
from trainer.model_match import rules_for
from trainer.settings import TagSettings, refuse_untold_turn
from trainer.store.clips import clip_print
from trainer.store.file import open_store, store_path
from trainer.tag_setup import tag_size_mm

#: What a file's name ends in for it to be taken for a clip of a folder.
CLIP_ENDINGS: Final = (".avi", ".m4v", ".mkv", ".mov", ".mp4", ".webm")
#: So many clips without a rep are named; the table has all.
MOST_NAMED: Final = 10
#: What OpenCV and the kinds of BLAS that NumPy comes with read their number of threads from.
THREADS_FROM: Final = (
    "OPENCV_FOR_THREADS_NUM",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)


def measure_clips(
    clips: Iterable[Path],
    out_dir: Path,
    rules: Rules,
    *,
    model: Path | None,
    jobs: int,
    say: Callable[[str], None],
    rotate: int = 0,
    mirrored: bool = False,
    recorded_fps: float | None = None,
    resume: bool = False,
    player: str | None = None,
    engine: str | None = None,
    tags: TagSettings | None = None,
) -> list[str]:
    """Measure ``clips`` into ``out_dir``, ``jobs`` at a time; return a message a failed clip.

    A folder stands for the clips in it. ``resume`` leaves out those whose results are there; with
    ``player`` the reps are kept as that player's, those of the same clip in place of earlier ones.
    With ``engine`` the workers of the Dask scheduler at that address do it, in place of ``jobs``.
    One clip that fails does not stop the others. Raises SettingsError when two clips would write
    the same files or a folder holds none, PoseError when there is no pose model.
    """
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    clips = clips_in(clips)
    twice = [stem for stem, count in Counter(c.stem for c in clips).items() if count > 1]
    if twice:
        raise SettingsError(
            f"two clips are called {twice[0]!r}. Names that differ were wanted, because results "
            "are named after the clip. Measure them into different folders."
        )
    refuse_untold_turn(rules, tags)
    if tags is not None and tags.worn:
        tag_size_mm(tags)  # as with the folder: what is missing is said before hours of work
    make_out_dir(out_dir)  # before hours of work, not after
    path = ensure_model(path=model)
    rules = rules_for(rules, model)
    todo = [
        ClipJob(
            clip=clip,
            out_dir=out_dir,
            rules=rules,
            model=path,
            rotate=rotate,
            mirrored=mirrored,
            recorded_fps=recorded_fps,
            model_name="standard" if model is None else model.name,
            player=player,
            tags=tags if tags is not None and tags.worn else None,
        )
        for clip in clips
    ]
    failed: list[str] = []
    rows: dict[Path, str] = {}
    if resume:
        rows = {job.clip: row_before(job.clip.name, _result(job)) for job in todo if is_done(job)}
        todo = [job for job in todo if job.clip not in rows]
        say(f"Measured before: {len(rows)} of {counted(len(clips), 'clip')}.")
    before = len(rows)
    empty: list[str] = []
    bar: Any = tqdm(total=_frames(todo), unit="frame", file=sys.stderr, disable=None)
    with bar:
        if engine is not None:
            outcomes = _on_engine(todo, engine)
        elif jobs == 1 or len(todo) == 1:
            outcomes = _one_by_one(todo, bar.update)
        else:
            outcomes = _side_by_side(todo, jobs, bar.update)
        for job, outcome in outcomes:
            try:
                measured = _file(outcome)
            except TrainerError as error:
                failed.append(f"{type(error).__name__}: {error}")
                rows[job.clip] = row_of(job.clip.name, None)
            else:
                complete = sum(rep.complete for rep in measured.reps)
                result = _result(job)
                say(f"{job.clip.name}: {counted(complete, 'rep')} -> {result}")
                if measured.cut_short:
                    say(f"  {measured.cut_short} What is there was measured.")
                if not complete:
                    empty.append(job.clip.name)
                if job.tags is not None:
                    for words in json.loads(result.read_text("utf-8"))["tags"]["notices"]:
                        say(f"  {words}")
                rows[job.clip] = row_of(job.clip.name, measured)
    if len(rows) > 1:
        say(HEAD)
        for clip in clips:
            if clip in rows:
                say(rows[clip])
        earlier = f" Measured before: {before}." if before else ""
        say(f"Measured: {len(rows) - before - len(failed)}.{earlier} Passed over: {len(failed)}.")
    if empty:
        named = ", ".join(empty[:MOST_NAMED])
        more = f" and {len(empty) - MOST_NAMED} more" if len(empty) > MOST_NAMED else ""
        say(
            f"No whole rep was seen in {named}{more}. One {rules.handed.value}-handed player, "
            "face-on, still at setup and then to the top, was wanted. Try --handed, or film again."
        )
    return failed


def clips_in(paths: Iterable[Path]) -> list[Path]:
    """Return the clips, those of a folder in its place and by name.

    Raises SettingsError for a folder without any.
    """
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(p for p in path.iterdir() if p.suffix.lower() in CLIP_ENDINGS)
        if not inside:
            raise SettingsError(
                f"the folder {path} holds no clip. Files that end in {', '.join(CLIP_ENDINGS)} "
                "were wanted. Check the name."
            )
        found.extend(inside)
    return found


def is_done(job: ClipJob) -> bool:
    """Tell whether a clip's results are there, and its reps kept where they are to be."""
    results = [job.out_dir / f"{job.clip.stem}.{kind}" for kind in ("json", "csv")]
    if not all(path.exists() for path in results):
        return False
    try:
        values = json.loads(results[0].read_text(encoding="utf-8"))
        reps, cut_short = values["reps"], values.get("cut_short", False)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False
    if cut_short:  # it may have been copied again since
        return False
    if job.player is None or not reps:
        return True
    if not store_path().exists():
        return False
    with open_store() as store:
        return store.has_clip(job.player, clip_print(job.clip))


def _result(job: ClipJob) -> Path:
    return job.out_dir / f"{job.clip.stem}.json"


def _file(outcome: Measured | TrainerError) -> Measured:
    """Keep a clip's reps where they are to be; raise what went wrong."""
    if isinstance(outcome, TrainerError):
        raise outcome
    if outcome.session is not None:
        with open_store(create=True) as store:
            store.file_clip(outcome.session, outcome.kept)
    return outcome


def _frames(todo: list[ClipJob]) -> int | None:
    """Return the clips' frames as their containers state them; None when one does not."""
    from trainer.adapters.clips import clip_facts

    total = 0
    for job in todo:
        try:
            frames = clip_facts(job.clip).frames
        except TrainerError:
            continue
        if frames is None:
            return None
        total += frames
    return total


def _one_by_one(
    todo: list[ClipJob], progress: Callable[[int], Any]
) -> Iterable[tuple[ClipJob, Measured | TrainerError]]:
    for job in todo:
        try:
            yield job, measure_clip(job, progress)
        except TrainerError as error:
            yield job, error


def _on_engine(
    todo: list[ClipJob], address: str
) -> Iterable[tuple[ClipJob, Measured | TrainerError]]:
    from trainer.adapters.task_engine import run_on

    # Workers start in folders of their own.
    whole = [replace(job, clip=job.clip.absolute(), out_dir=job.out_dir.absolute()) for job in todo]
    asked = dict(zip(whole, todo, strict=True))
    for job, outcome in run_on(address, _measured_or_why, whole, called=lambda job: job.clip.name):
        yield asked[job], outcome


def _measured_or_why(job: ClipJob) -> Measured | TrainerError:
    try:
        return measure_clip(job)
    except TrainerError as error:
        return error


def _side_by_side(
    todo: list[ClipJob], jobs: int, progress: Callable[[int], Any]
) -> Iterable[tuple[ClipJob, Measured | TrainerError]]:
    # Spawned, not forked: the pose model's threads do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with contextlib.ExitStack() as stack:
        with _without_ctrl_c(), share_of_cores(jobs):
            manager = stack.enter_context(context.Manager())
            others = set(multiprocessing.active_children())
            pool = stack.enter_context(
                ProcessPoolExecutor(
                    max_workers=min(jobs, len(todo)), mp_context=context, initializer=_leave_ctrl_c
                )
            )
            done_frames: queue.Queue[int] = manager.Queue()
            running: dict[Future[Measured], ClipJob] = {
                pool.submit(_measure_in_process, job, done_frames): job for job in todo
            }
            workers = set(multiprocessing.active_children()) - others
        waiting = set(running)
        try:
            while waiting:
                ready, waiting = wait(waiting, timeout=0.2)
                while not done_frames.empty():
                    progress(done_frames.get())
                for future in sorted(ready, key=lambda f: todo.index(running[f])):
                    error = future.exception()
                    if error is None:
                        yield running[future], future.result()
                    elif isinstance(error, TrainerError):
                        yield running[future], error
                    elif isinstance(error, BrokenProcessPool):
                        yield (
                            running[future],
                            TrainerError(
                                f"a process ended by itself before {running[future].clip} was "
                                "measured. Room in memory was wanted. Try fewer at once (--jobs)."
                            ),
                        )
                    else:
                        raise error
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            for worker in workers:
                worker.terminate()
            raise


@contextlib.contextmanager
def share_of_cores(jobs: int) -> Iterator[None]:
    """Have processes started in the block take their share of the cores, when ``jobs`` work.

    Left to themselves the libraries of each would start as many threads as the machine has cores,
    and get into each other's way. What the user's environment says of them stays.
    """
    share = str(max(1, (os.cpu_count() or 1) // jobs))
    ours = [name for name in THREADS_FROM if name not in os.environ]
    os.environ.update(dict.fromkeys(ours, share))
    try:
        yield
    finally:
        for name in ours:
            os.environ.pop(name, None)


def _leave_ctrl_c() -> None:
    """Leave Ctrl-C to the parent, which ends its workers: they would answer with tracebacks."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextlib.contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Ignore Ctrl-C for the moment in which workers start, for them to begin life ignoring it."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _measure_in_process(job: ClipJob, done_frames: queue.Queue[int]) -> Measured:
    pending = 0

    def progress(done: int) -> None:
        nonlocal pending
        pending += done
        if pending >= 15:
            done_frames.put(pending)
            pending = 0

    measured = measure_clip(job, progress)
    done_frames.put(pending)
    return measured
