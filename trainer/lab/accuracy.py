"""``python -m trainer.lab accuracy``: the readings tested on people nobody fitted on."""

from __future__ import annotations

import argparse
import datetime
import json
import math
import multiprocessing
import platform
import sys
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trainer.lab.exam import FIRST_SEED, LOWEST_SEED

if TYPE_CHECKING:
    from trainer.lab.exam_results import Results
    from trainer.lab.exam_scores import Goal

#: Sets of clips a person can have: the two of everybody, the same shaded otherwise, and the rod
#: check with further swings.
PLAIN, UNSEEN, ROD = "plain", "unseen", "rod"
#: Clips in a style of no fit lie in a folder of their own, because they are named alike.
UNSEEN_DIR: Final = "clips-unseen"


def add_command(commands: Any) -> None:
    """Add ``accuracy`` to the lab's command line."""
    parser = commands.add_parser("accuracy", help="test the readings on people never met before")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="clips and results")
    parser.add_argument("--people", type=int, default=30)
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="of the first; then one each")
    parser.add_argument(
        "--unseen-people",
        type=int,
        default=0,
        metavar="N",
        help="the first N once more, shaded in a style of no fit",
    )
    parser.add_argument(
        "--rod-people",
        type=int,
        default=0,
        metavar="N",
        help="the first N also make a rod check and two further swings",
    )
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="people rendered at once")
    parser.add_argument("--write", type=Path, metavar="PAGE.md", help="default: in DIR")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Render what is not there yet, score everything, write the page; return the exit code."""
    if options.seed < LOWEST_SEED or options.people < 2:
        print(
            f"{options.people} people from seed {options.seed} cannot be tested on. Two or more "
            f"from {LOWEST_SEED} up were wanted: the estimator is fitted on lower ones. "
            "Leave --seed out.",
            file=sys.stderr,
        )
        return 2
    if max(options.unseen_people, options.rod_people) > options.people:
        print(
            f"--unseen-people {options.unseen_people} and --rod-people {options.rod_people} are "
            f"some of the {options.people} people tested. At most {options.people} were wanted. "
            "Give smaller numbers, or a larger --people.",
            file=sys.stderr,
        )
        return 2
    _make(options)
    return _score(options)


def _seeds(options: argparse.Namespace, count: int | None = None) -> range:
    return range(options.seed, options.seed + (options.people if count is None else count))


def _make(options: argparse.Namespace) -> None:
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    model, work = ensure_model(), []
    for what, count in (
        (PLAIN, options.people),
        (ROD, options.rod_people),
        (UNSEEN, options.unseen_people),
    ):
        folder = _folder(options, what)
        folder.mkdir(parents=True, exist_ok=True)
        work += [(what, seed, folder, model) for seed in _seeds(options, count)]
    # Spawned, because the pose model's threads do not survive a fork; renewed now and then,
    # because each renderer keeps some memory.
    with multiprocessing.get_context("spawn").Pool(options.jobs, maxtasksperchild=6) as pool:
        done = pool.imap_unordered(_one, work)
        for _ in tqdm(done, total=len(work), unit="person", file=sys.stderr):
            pass


def _folder(options: argparse.Namespace, what: str) -> Path:
    out: Path = options.out
    return out / (UNSEEN_DIR if what == UNSEEN else "clips")


def _one(work: tuple[str, int, Path, Path]) -> int:
    from trainer.lab import exam, exam_rod

    what, seed, folder, model = work
    if what == ROD:
        return exam_rod.make_person(seed, folder, model)
    return exam.make_person(seed, folder, model, unseen_style=what == UNSEEN)


def _score(options: argparse.Namespace) -> int:
    from trainer.estimator_file import SHIPPED, load
    from trainer.lab import exam_figures, exam_pictures
    from trainer.lab.exam_page import Facts, page

    done = _results(options)
    target: Path = options.write or options.out / "accuracy.md"
    figures = target.parent / "figures"
    exam_figures.draw(done, figures)
    clips_dir = _folder(options, PLAIN)
    facts = Facts(
        command=_command(options),
        date=datetime.date.today().isoformat(),
        first_seed=options.seed,
        people=options.people,
        versions=_versions(),
        estimator=load(SHIPPED)[1],
        pictures=exam_pictures.draw_worst(done.reps, clips_dir, figures / "accuracy-worst.png"),
    )
    target.write_text(page(done, facts), encoding="utf-8", newline="\n")
    goals = [_plain(goal) for goal in done.goals]
    (options.out / "goals.json").write_text(json.dumps(goals, indent=1) + "\n", encoding="utf-8")
    for goal in done.goals:
        mark = "reached" if goal.reached else "MISSED "
        print(f"{mark} {goal.kind:9} {goal.name}: {goal.value:.2f}{goal.unit} ({goal.limit:g})")
    print(target)
    return 0


def _plain(goal: Goal) -> dict[str, Any]:
    """Return a goal as JSON has it: a value not measured is null."""
    value = None if math.isnan(goal.value) else goal.value
    return asdict(goal) | {"value": value, "reached": goal.reached}


def _results(options: argparse.Namespace) -> Results:
    from tqdm import tqdm

    from trainer.lab.exam_goals import pools_of, results
    from trainer.lab.exam_read import Readings, read_clip
    from trainer.lab.exam_results import KINDS, Unseen
    from trainer.lab.exam_rod_scores import checked_people

    def read(folder: Path, seeds: range) -> list[Readings]:
        names = [f"{kind}-{seed}.mp4" for seed in seeds for kind in KINDS]
        return [read_clip(folder / name) for name in tqdm(names, unit="clip", file=sys.stderr)]

    clips = read(_folder(options, PLAIN), _seeds(options))
    done = results(clips)
    some = _seeds(options, options.unseen_people)
    if some:
        usual = [one for one in clips if one.scene["seed"] in some]
        done.unseen = Unseen(
            people=len(some),
            usual=pools_of(usual),
            unseen=pools_of(read(_folder(options, UNSEEN), some)),
        )
    if options.rod_people:
        rod_seeds = _seeds(options, options.rod_people)
        done.rod = checked_people(rod_seeds, _folder(options, PLAIN), clips)
    return done


def _command(options: argparse.Namespace) -> str:
    words = [f"python -m trainer.lab accuracy --out DIR --people {options.people}"]
    words.append(f"--seed {options.seed}")
    if options.unseen_people:
        words.append(f"--unseen-people {options.unseen_people}")
    if options.rod_people:
        words.append(f"--rod-people {options.rod_people}")
    return " ".join([*words, "--write docs/accuracy.md"])


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
