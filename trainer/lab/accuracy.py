"""``python -m trainer.lab accuracy``: the readings tested on people nobody fitted on."""

from __future__ import annotations

import argparse
import datetime
import json
import multiprocessing
import platform
import sys
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import Any

from trainer.lab.exam import FIRST_SEED


def add_command(commands: Any) -> None:
    """Add ``accuracy`` to the lab's command line."""
    parser = commands.add_parser("accuracy", help="test the readings on people never met before")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="clips and results")
    parser.add_argument("--people", type=int, default=30)
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="of the first; then one each")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="people rendered at once")
    parser.add_argument("--write", type=Path, metavar="PAGE.md", help="default: in DIR")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Render what is not there yet, score everything, write the page; return the exit code."""
    if options.seed < FIRST_SEED or options.people < 2:
        print(
            f"{options.people} people from seed {options.seed} cannot be tested on. Two or more "
            f"from {FIRST_SEED} up were wanted: the estimator is fitted on lower ones. "
            "Leave --seed out.",
            file=sys.stderr,
        )
        return 2
    seeds = range(options.seed, options.seed + options.people)
    clips_dir = options.out / "clips"
    clips_dir.mkdir(parents=True, exist_ok=True)
    _make(seeds, clips_dir, options.jobs)
    return _score(seeds, clips_dir, options)


def _make(seeds: range, clips_dir: Path, jobs: int) -> None:
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    model = ensure_model()
    work = [(seed, clips_dir, model) for seed in seeds]
    # Spawned, because the pose model's threads do not survive a fork; renewed now and then,
    # because each renderer keeps some memory.
    with multiprocessing.get_context("spawn").Pool(jobs, maxtasksperchild=6) as pool:
        done = pool.imap_unordered(_one, work)
        for _ in tqdm(done, total=len(work), unit="person", file=sys.stderr):
            pass


def _one(work: tuple[int, Path, Path]) -> int:
    from trainer.lab.exam import make_person

    return make_person(*work)


def _score(seeds: range, clips_dir: Path, options: argparse.Namespace) -> int:
    from tqdm import tqdm

    from trainer.estimator_file import SHIPPED, load
    from trainer.lab import exam_figures
    from trainer.lab.exam_goals import results
    from trainer.lab.exam_page import Facts, page
    from trainer.lab.exam_read import read_clip
    from trainer.lab.exam_results import KINDS

    names = [f"{kind}-{seed}.mp4" for seed in seeds for kind in KINDS]
    done = results(
        [read_clip(clips_dir / name) for name in tqdm(names, unit="clip", file=sys.stderr)]
    )
    facts = Facts(
        command=_command(options),
        date=datetime.date.today().isoformat(),
        first_seed=options.seed,
        people=options.people,
        versions=_versions(),
        estimator=load(SHIPPED)[1],
    )
    target: Path = options.write or options.out / "accuracy.md"
    exam_figures.draw(done, target.parent / "figures")
    target.write_text(page(done, facts), encoding="utf-8", newline="\n")
    goals = [asdict(goal) | {"reached": goal.reached} for goal in done.goals]
    (options.out / "goals.json").write_text(json.dumps(goals, indent=1) + "\n", encoding="utf-8")
    for goal in done.goals:
        mark = "reached" if goal.reached else "MISSED "
        print(f"{mark} {goal.kind:9} {goal.name}: {goal.value:.2f}{goal.unit} ({goal.limit:g})")
    print(target)
    return 0


def _command(options: argparse.Namespace) -> str:
    text = f"python -m trainer.lab accuracy --out DIR --people {options.people}"
    return f"{text} --seed {options.seed} --write docs/accuracy.md"


def _versions() -> str:
    import mediapipe
    import numpy

    from trainer.adapters.model_file import ensure_model

    try:
        own = metadata.version("backswing-mirror")
    except metadata.PackageNotFoundError:
        own = "from its source"
    return (
        f"this program {own}, pose model {ensure_model().stem}, mediapipe {mediapipe.__version__}, "
        f"numpy {numpy.__version__}, Python {platform.python_version()} on {platform.system()}"
    )
