"""The lab's commands round the fit: film people, fit, and score on people held out."""

from __future__ import annotations

import argparse
import importlib.util
import multiprocessing
import sys
from importlib import metadata
from pathlib import Path
from typing import Any, Final

import numpy as np

_FEWEST: Final = 10
_NO_LAB: Final = 3


def add_commands(commands: Any) -> None:
    """Add ``films``, ``sheet`` and ``fit`` to the lab's command line."""
    films = commands.add_parser("films", help="film people and read them, to fit on")
    films.add_argument("--out", type=Path, required=True, metavar="DIR")
    films.add_argument("--people", type=int, default=100)
    films.add_argument("--seed", type=int, default=20_000, help="of the first; then one each")
    films.add_argument("--jobs", type=int, default=1)
    films.set_defaults(run=run_films)
    sheet = commands.add_parser("sheet", help="draw people on one sheet, to be looked at")
    sheet.add_argument("--out", type=Path, required=True, metavar="FILE.png")
    sheet.add_argument("--people", type=int, default=12)
    sheet.add_argument("--seed", type=int, default=20_000, help="of the first; then one each")
    sheet.add_argument("--unseen-style", action="store_true", help="shaded as no fit has seen it")
    sheet.set_defaults(run=run_sheet)
    fit = commands.add_parser("fit", help="fit the estimator on filmed people")
    fit.add_argument("--films", type=Path, required=True, metavar="DIR")
    fit.add_argument("--out", type=Path, metavar="FILE.npz", help="default: score only")
    fit.add_argument("--held-out", type=float, default=0.2, metavar="SHARE", help="to score on")
    fit.add_argument("--ridge", type=float, default=0.4)
    fit.add_argument("--width", type=float, default=0.4)
    fit.add_argument("--centres", type=int, default=2500)
    fit.add_argument("--steps", type=int, default=300, help="of learning what counts")
    fit.set_defaults(run=run_fit)


def run_films(options: argparse.Namespace) -> int:
    """Film the people that are not there yet; return the exit code."""
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model

    model = ensure_model()
    seeds = range(options.seed, options.seed + options.people)
    work = [(seed, options.out, model) for seed in seeds]
    # Spawned, because the pose model's threads do not survive a fork; renewed now and then,
    # because each renderer keeps some memory.
    context = multiprocessing.get_context("spawn")
    with context.Pool(options.jobs, maxtasksperchild=20) as pool:
        done = pool.imap_unordered(_one, work)
        for _ in tqdm(done, total=len(work), unit="person", file=sys.stderr):
            pass
    return 0


def _one(work: tuple[int, Path, Path]) -> Path:
    from trainer.lab.films import film_person

    return film_person(*work)


def run_sheet(options: argparse.Namespace) -> int:
    """Draw a sheet of people; return the exit code."""
    from trainer.lab.sheet import draw_sheet

    seeds = range(options.seed, options.seed + options.people)
    print(draw_sheet(seeds, options.out, unseen_style=options.unseen_style))
    return 0


def run_fit(options: argparse.Namespace) -> int:
    """Fit on most people, print scores on the rest, then write a fit on all; return exit code."""
    from trainer.adapters.model_file import ensure_model
    from trainer.adapters.model_print import networks_print
    from trainer.estimator_file import save
    from trainer.lab import fit, table

    paths = sorted(options.films.glob("film-*.npz"))
    if len(paths) < _FEWEST:
        print(
            f"{options.films} holds {len(paths)} people. {_FEWEST} or more were wanted. "
            "Try: python -m trainer.lab films --out DIR --people 100",
            file=sys.stderr,
        )
        return 1
    if options.steps and importlib.util.find_spec("torch") is None:
        print(
            "Learning what counts needs torch, which is not installed. The lab extra was wanted. "
            "Try: pip install 'backswing-mirror[lab]', or --steps 0.",
            file=sys.stderr,
        )
        return _NO_LAB
    choice = fit.Choice(
        ridge=options.ridge, width=options.width, centres=options.centres, steps=options.steps
    )
    networks = networks_print(ensure_model())
    everybody = table.load(paths)
    people = np.unique(everybody.person)
    test = np.isin(everybody.person, people[round(len(people) * (1 - options.held_out)) :])
    part = fit.fit(everybody.where(~test), choice, name="part", pose_model=networks)
    unseen = everybody.where(test)
    scores = {
        name: fit.scores(unseen, *fit.read(part, unseen, outlines=outlines))
        for name, outlines in (("points", False), ("outline", True))
    }
    count = len(np.unique(unseen.person))
    print(f"fitted on {len(people) - count} people, scored on {count} others (single pictures)")
    for name, values in scores.items():
        print(f"with {name}:")
        _print(values)
    if options.out is not None:
        fitted = fit.fit(everybody, choice, name=options.out.stem, pose_model=networks)
        notes = {
            "people": len(people),
            "poses": len(everybody.person),
            "first_seed": int(people[0]),
            "last_seed": int(people[-1]),
            "api": f"mediapipe {mediapipe_version()} tasks",
            "ridge": choice.ridge,
            "width": choice.width,
            "steps": choice.steps,
            "scores_on_held_out": scores,
        }
        save(fitted, options.out, notes)
        print(f"fitted on all {len(people)} and written to {options.out}")
    return 0


def mediapipe_version() -> str:
    """Return the version of the package that runs the pose model."""
    return metadata.version("mediapipe")


def _print(scores: dict[str, Any]) -> None:
    for kind, parts in scores.items():
        print(f"  {kind}: {parts['poses']} poses")
        for name, values in parts.items():
            if name != "poses":
                print(f"    {name}: {values}")
