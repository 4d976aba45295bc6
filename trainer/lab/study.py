"""The lab's commands round the fit: render people to fit on, fit, and score on held-out people."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from pathlib import Path
from typing import Any

import numpy as np

from trainer.core import estimate as est


def add_commands(commands: Any) -> None:
    """Add ``stills`` and ``fit`` to the lab's command line."""
    stills = commands.add_parser("stills", help="render people and read them, to fit on")
    stills.add_argument("--out", type=Path, required=True, metavar="DIR")
    stills.add_argument("--people", type=int, default=100)
    stills.add_argument("--seed", type=int, default=1, help="seed of the first; then one each")
    stills.add_argument("--jobs", type=int, default=1)
    stills.set_defaults(run=run_stills)
    fit = commands.add_parser("fit", help="fit the estimator on rendered people")
    fit.add_argument("--stills", type=Path, required=True, metavar="DIR")
    fit.add_argument("--out", type=Path, metavar="FILE.npz", help="default: score only")
    fit.add_argument("--held-out", type=float, default=0.2, metavar="SHARE", help="to score on")
    fit.add_argument("--ridge", type=float, default=0.1)
    fit.add_argument("--width", type=float, default=0.5)
    fit.add_argument("--centres", type=int, default=1500)
    fit.set_defaults(run=run_fit)


def run_stills(options: argparse.Namespace) -> int:
    """Render the people that are not there yet; return the exit code."""
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
    from trainer.lab.stills import render_person

    return render_person(*work)


def run_fit(options: argparse.Namespace) -> int:
    """Fit on most people, print scores on the rest, then write a fit on all; return exit code."""
    from trainer.lab import fit

    paths = sorted(options.stills.glob("person-*.npz"))
    if len(paths) < 10:
        print(
            f"{options.stills} holds {len(paths)} people. Ten or more were wanted. "
            "Try: python -m trainer.lab stills --out DIR --people 100",
            file=sys.stderr,
        )
        return 1
    choice = fit.Choice(ridge=options.ridge, width=options.width, centres=options.centres)
    cut = round(len(paths) * (1 - options.held_out))
    train, test = fit.load(paths[:cut]), fit.load(paths[cut:])
    scores = score(fit.fit(train, choice), test)
    print(f"fitted on {cut} people, scored on {len(paths) - cut} others (single pictures)")
    _print(scores)
    if options.out is not None:
        everybody = fit.load(paths)
        fitted = fit.fit(everybody, choice, name=options.out.stem)
        notes = {
            "people": len(paths),
            "poses": len(everybody.person),
            "ridge": choice.ridge,
            "width": choice.width,
            "scores_on_held_out": scores,
        }
        fit.save(fitted, options.out, notes)
        print(f"fitted on all {len(paths)} and written to {options.out}")
    return 0


def score(fitted: est.Estimator, test: Any) -> dict[str, Any]:
    """Return the scores of a fit on people it has not seen."""
    from trainer.lab import fit

    value, se = est.predict(fitted, np.asarray(test.features))
    return fit.scores(test, value, se)


def _print(scores: dict[str, Any]) -> None:
    for kind, parts in scores.items():
        print(f"{kind}: {parts['poses']} poses")
        for name, values in parts.items():
            if name != "poses":
                print(f"  {name}: {values}")
