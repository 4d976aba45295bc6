"""Many clips at once, each in a process of its own, with one progress bar."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import queue
import signal
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

from trainer.core.rules import Rules
from trainer.errors import SettingsError, TrainerError
from trainer.measure import ClipJob, make_out_dir, measure_clip
from trainer.model_match import rules_for
from trainer.settings import TagSettings, refuse_untold_turn
from trainer.tag_setup import tag_size_mm


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
    tags: TagSettings | None = None,
) -> list[str]:
    """Measure ``clips`` into ``out_dir``, ``jobs`` at a time; return a message a failed clip.

    One clip that fails does not stop the others. Raises SettingsError when two clips would
    write the same files, PoseError when there is no pose model.
    """
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    clips = list(clips)
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
            tags=tags if tags is not None and tags.worn else None,
        )
        for clip in clips
    ]
    failed: list[str] = []
    bar: Any = tqdm(total=_frames(todo), unit="frame", file=sys.stderr, disable=None)
    with bar:
        run = _one_by_one if jobs == 1 or len(todo) == 1 else _side_by_side
        for job, outcome in run(todo, jobs, bar.update):
            if isinstance(outcome, TrainerError):
                failed.append(f"{type(outcome).__name__}: {outcome}")
            else:
                result = out_dir / f"{job.clip.stem}.json"
                say(f"{job.clip.name}: {outcome} reps -> {result}")
                if job.tags is not None:
                    for words in json.loads(result.read_text("utf-8"))["tags"]["notices"]:
                        say(f"  {words}")
    return failed


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
    todo: list[ClipJob], jobs: int, progress: Callable[[int], Any]
) -> Iterable[tuple[ClipJob, int | TrainerError]]:
    for job in todo:
        try:
            yield job, _complete(measure_clip(job, progress))
        except TrainerError as error:
            yield job, error


def _side_by_side(
    todo: list[ClipJob], jobs: int, progress: Callable[[int], Any]
) -> Iterable[tuple[ClipJob, int | TrainerError]]:
    # Spawned, not forked: the pose model's threads do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with contextlib.ExitStack() as stack:
        with _without_ctrl_c():
            manager = stack.enter_context(context.Manager())
            others = set(multiprocessing.active_children())
            pool = stack.enter_context(
                ProcessPoolExecutor(
                    max_workers=min(jobs, len(todo)), mp_context=context, initializer=_leave_ctrl_c
                )
            )
            done_frames: queue.Queue[int] = manager.Queue()
            running: dict[Future[int], ClipJob] = {
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


def _measure_in_process(job: ClipJob, done_frames: queue.Queue[int]) -> int:
    pending = 0

    def progress(done: int) -> None:
        nonlocal pending
        pending += done
        if pending >= 15:
            done_frames.put(pending)
            pending = 0

    reps = measure_clip(job, progress)
    done_frames.put(pending)
    return _complete(reps)


def _complete(reps: list[Any]) -> int:
    return sum(rep.complete for rep in reps)
