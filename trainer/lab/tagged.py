"""``python -m trainer.lab tagged``: printed tags tested on people never met before."""

from __future__ import annotations

import argparse
import datetime
import multiprocessing
import platform
import sys
from pathlib import Path
from typing import Any

from trainer.lab.exam import LOWEST_SEED
from trainer.lab.exam_tagged import FIRST_SEED, KINDS, SEED_STEP, SIZE_WH


def add_command(commands: Any) -> None:
    """Add ``tagged`` to the lab's command line."""
    parser = commands.add_parser("tagged", help="test the printed tags on people never met before")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="clips and results")
    for kind, count in zip(KINDS, (6, 4, 4), strict=True):
        parser.add_argument(f"--{kind}", type=int, default=count, metavar="N", help="people")
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="of the first; then one each")
    parser.add_argument("--large", action="store_true", help="1920x1080 in place of 1280x720")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="people rendered at once")
    parser.add_argument("--write", type=Path, metavar="PAGE.md", help="default: in DIR")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Render what is not there yet, measure everything, write the page; return the exit code."""
    counts = {kind: getattr(options, kind) for kind in KINDS}
    if options.seed < LOWEST_SEED or max(counts.values()) > SEED_STEP or sum(counts.values()) < 1:
        print(
            f"{counts} people from seed {options.seed} cannot be tested on. 1 to {SEED_STEP} of a "
            f"kind from {LOWEST_SEED} up were wanted: the estimator is fitted on lower ones. "
            "Leave --seed out.",
            file=sys.stderr,
        )
        return 2
    from tqdm import tqdm

    from trainer.adapters.model_file import ensure_model
    from trainer.lab.exam_tagged import seeds_of
    from trainer.lab.exam_tagged_page import page

    size_wh = (1920, 1080) if options.large else SIZE_WH
    clips = options.out / ("clips-large" if options.large else "clips")
    clips.mkdir(parents=True, exist_ok=True)
    model = ensure_model()
    work = [
        (seed, kind, clips, size_wh, model)
        for kind, count in counts.items()
        for seed in seeds_of(kind, options.seed, count)
    ]
    # Spawned and renewed for the reasons given in ``accuracy``.
    with multiprocessing.get_context("spawn").Pool(options.jobs, maxtasksperchild=6) as pool:
        done = list(tqdm(pool.imap(_one, work), total=len(work), unit="person", file=sys.stderr))
    target: Path = options.write or options.out / "accuracy-tags.md"
    text = page(
        [read for read, _ in done],
        [sight for _, sights in done for sight in sights],
        command=_command(options, counts),
        facts=_facts(size_wh),
    )
    target.write_text(text, encoding="utf-8")
    print(target)
    return 0


def _one(work: tuple[int, str, Path, tuple[int, int], Path]) -> Any:
    from trainer.lab.exam_tagged import make_clip
    from trainer.lab.exam_tagged_read import measured, read_clip
    from trainer.lab.exam_tagged_single import sights

    seed, kind, folder, size_wh, model = work
    video = make_clip(seed, kind, folder, size_wh)
    return read_clip(video, measured(video, model, folder / "measured")), sights(video)


def _command(options: argparse.Namespace, counts: dict[str, int]) -> str:
    words = ["python -m trainer.lab tagged --out DIR"]
    words += [f"--{kind} {count}" for kind, count in counts.items()]
    words += [f"--seed {options.seed}", *(["--large"] if options.large else [])]
    return " ".join([*words, "--write docs/accuracy-tags.md"])


def _facts(size_wh: tuple[int, int]) -> str:
    import mediapipe
    import numpy

    return (
        f"It needs the lab extra. Written {datetime.date.today().isoformat()} from pictures of "
        f"{size_wh[0]} by {size_wh[1]}; mediapipe {mediapipe.__version__}, numpy "
        f"{numpy.__version__}, Python {platform.python_version()} on {platform.system()}. Clips "
        "are kept in the folder and not rendered again; they are measured anew in every run."
    )
