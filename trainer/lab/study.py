"""The lab's commands round the fit: film people, fit, and score on people held out."""

from __future__ import annotations

import argparse
import importlib.util
import multiprocessing
import sys
from dataclasses import replace
from importlib import metadata
from pathlib import Path
from typing import Any, Final

import numpy as np

_FEWEST: Final = 10
_NO_LAB: Final = 3
_NETWORK: Final = "network.npz"  # beside the films
_LAST: Final = 1000  # the seed of the training on all, unlike that of any fold


def add_commands(commands: Any) -> None:
    """Add ``films``, ``sheet``, ``trunk`` and ``fit`` to the lab's command line."""
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
    trunk = commands.add_parser("trunk", help="train what reads the trunk's picture")
    trunk.add_argument("--films", type=Path, required=True, metavar="DIR")
    trunk.add_argument("--passes", type=float, default=8.0, help="over all pictures")
    trunk.add_argument("--folds", type=int, default=3, help="of people left out in turn")
    trunk.add_argument("--fold", type=int, metavar="N", help="only that fold, from 0; not on all")
    trunk.set_defaults(run=run_trunk)
    fit = commands.add_parser("fit", help="fit the estimator on filmed people")
    fit.add_argument("--films", type=Path, required=True, metavar="DIR")
    fit.add_argument("--out", type=Path, metavar="FILE.npz", help="default: score only")
    fit.add_argument("--held-out", type=float, default=0.2, metavar="SHARE", help="to score on")
    fit.add_argument("--ridge", type=float, default=0.4)
    fit.add_argument("--width", type=float, default=0.4)
    fit.add_argument("--centres", type=int, default=2500)
    fit.add_argument("--steps", type=int, default=300, help="of learning what counts")
    fit.add_argument(
        "--with", dest="exports", nargs="+", type=Path, default=[], metavar="EXPORT",
        help="and on what trainer compare --export wrote of people with tags",
    )  # fmt: skip
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


def run_trunk(options: argparse.Namespace) -> int:
    """Read each film by a network that has not seen it, then train one on all; return exit code.

    What was read, and the network trained on all, lie beside the films; ``fit`` reads them there.
    """
    paths = _filmed(options.films)
    if paths is None:
        return 1
    if not _torch_there("Training", ""):
        return _NO_LAB
    from trainer.estimator_file import network_arrays
    from trainer.lab import table, trunk_net

    plan = trunk_net.Plan(passes=options.passes, folds=options.folds)
    pictures = trunk_net.load(paths)
    film_of = {int(path.stem.split("-")[1]): path for path in paths}
    folds = range(plan.folds) if options.fold is None else [options.fold]
    for fold in folds:
        out, said = trunk_net.out_of_fold(pictures, plan, fold)
        error = said[:, 0] - pictures.told[out, 0]
        print(f"fold {fold}: shoulder line wrong by {np.abs(error).mean():.1f} deg in the mean")
        seeds, rows = pictures.seed[out], pictures.row[out]
        for seed in np.unique(seeds):
            mine = seeds == seed
            with np.load(film_of[int(seed)]) as film:
                whole = np.full((len(film["found"]), 3), np.nan)
            whole[rows[mine]] = said[mine]
            np.savez(table.trunk_path(film_of[int(seed)]), trunk_deg=whole)
    if options.fold is None:
        network = trunk_net.export(trunk_net.train(pictures, plan, seed=_LAST))
        np.savez(options.films / _NETWORK, **network_arrays(network))
        print(f"trained on all {len(paths)} people and written to {options.films / _NETWORK}")
    return 0


def _filmed(directory: Path) -> list[Path] | None:
    """Return people's files; None, and a word about it, for too few."""
    paths = sorted(directory.glob("film-*.npz"))
    if len(paths) >= _FEWEST:
        return paths
    print(
        f"{directory} holds {len(paths)} people. {_FEWEST} or more were wanted. "
        "Try: python -m trainer.lab films --out DIR --people 100",
        file=sys.stderr,
    )
    return None


def _torch_there(what: str, otherwise: str) -> bool:
    if importlib.util.find_spec("torch") is not None:
        return True
    print(
        f"{what} needs torch, which is not installed. The lab extra was wanted. "
        f"Try: pip install 'backswing-mirror[lab]'.{otherwise}",
        file=sys.stderr,
    )
    return False


def run_fit(options: argparse.Namespace) -> int:
    """Fit on most people, print scores on the rest, then write a fit on all; return exit code."""
    from trainer.adapters.model_file import ensure_model
    from trainer.adapters.model_print import networks_print
    from trainer.core import estimate as est
    from trainer.errors import CompareError
    from trainer.estimator_file import read_network, save
    from trainer.lab import fit, pooled, table

    paths = _filmed(options.films)
    if paths is None:
        return 1
    if options.steps and not _torch_there("Learning what counts", " Or try --steps 0."):
        return _NO_LAB
    choice = fit.Choice(
        ridge=options.ridge, width=options.width, centres=options.centres, steps=options.steps
    )
    networks = networks_print(ensure_model())
    everybody = table.load(paths)
    network_path = options.films / _NETWORK
    read = fit.known(everybody, est.WITH_TRUNK).any() and network_path.exists()
    if options.out is not None and not read:
        print(
            f"In {options.films} nobody's trunk has been read, and the file holds coefficients for "
            "that too. Readings and the network beside the films were wanted. "
            "Try first: python -m trainer.lab trunk --films DIR",
            file=sys.stderr,
        )
        return 1
    try:
        more = pooled.load(options.exports)
    except CompareError as error:
        print(error, file=sys.stderr)
        return 1
    people = np.unique(everybody.person)
    test = np.isin(everybody.person, people[round(len(people) * (1 - options.held_out)) :])
    part = fit.fit(
        pooled.joined(everybody.where(~test), more), choice, name="part", pose_model=networks
    )
    unseen = everybody.where(test)
    scores = {
        name: fit.scores(unseen, *fit.read(part, unseen, most))
        for name, most in (
            ("points", est.WITH_POINTS),
            ("outline", est.WITH_OUTLINE),
            ("trunk", est.WITH_TRUNK),
        )
    }
    count = len(np.unique(unseen.person))
    print(f"fitted on {len(people) - count} people, scored on {count} others (single pictures)")
    for name, values in scores.items():
        print(f"with {name}:")
        _print(values)
    if options.out is not None:
        # What counts, learnt on four fifths of the people, holds for all.
        whole = pooled.joined(everybody, more)
        fitted = fit.fit(whole, choice, name=options.out.stem, pose_model=networks, like=part)
        notes = {
            "with_exports": len(options.exports),
            "with_poses": 0 if more is None else len(more.person),
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
        with np.load(network_path) as arrays:
            fitted = replace(fitted, network=read_network(arrays))
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
