"""``trainer compare``: a session worn with tags, scored tag against camera alone, and kept."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from trainer.compare_export import WHAT_IS_IN_IT, write_export
from trainer.compare_page import Outcome, csv_of, page_of
from trainer.compare_read import Read, is_judged, pairs_of, read
from trainer.core.counted import counted
from trainer.core.own_errors import STEMS
from trainer.core.rules import OwnErrors
from trainer.core.tag_compare import BANDS, FEWEST_REPS, Pairs, decisions, factor, floor, score
from trainer.errors import CompareError
from trainer.estimator_file import shipped_print
from trainer.measure import write_texts
from trainer.player_compared import Compared

if TYPE_CHECKING:
    from trainer.keeping import Keeper

#: Comparisons kept; the oldest go first.
MOST_COMPARED: Final = 20

#: Errors so many times as large as told are no player's: chosen.
MOST_FACTOR: Final = 10.0


def run_compare(
    paths: list[Path],
    out_dir: Path,
    *,
    camera: str | None,
    export: Path | None,
    keeper: Keeper | None,
    today: datetime.date,
    say: Callable[[str], None],
) -> Outcome:
    """Compare the sessions of ``paths``, write page and CSV, and keep what it came to.

    ``camera`` is what the mirror calls the camera the clips were filmed with. ``export``: where
    to write body points and tags for others to fit on; None: nothing leaves. Raises CompareError
    for files that cannot be used, of two cameras, or with too few reps.
    """
    reads = [read(path) for path in paths]
    pairs, some, reps = pairs_of(reads)
    judged = {stem: of for stem, of in pairs.items() if is_judged(of)}
    enough = {stem: len(np.unique(of.rep)) for stem, of in pairs.items()}
    if not judged:
        most = max(enough.values())
        raise CompareError(
            f"too few reps with tags: {counted(reps, 'complete rep')}, {most} of them with enough "
            f"tags read between hip height and top. {FEWEST_REPS} or more were wanted. Make more "
            "reps with chest, lead side and belt tags (trainer live --tags --record FILE), and "
            "give every file."
        )
    camera = _camera(reads, camera)
    done = Outcome(
        camera=camera,
        reps=reps,
        some=some,
        enough=enough,
        scores={
            stem: [
                found
                for low, high in BANDS
                if (found := score(of, low, high, line=stem == "shoulder_turn")) is not None
            ]
            for stem, of in judged.items()
        },
        factors={stem: _factor(stem, of) for stem, of in judged.items()},
        decisions=list(decisions(judged["shoulder_turn"])) if "shoulder_turn" in judged else [],
        notes=[one.note for one in reads if one.note],
    )
    kept, why_not = _kept(done, judged, reads, today)
    done = replace(done, kept=kept, notes=[*done.notes, *([why_not] if why_not else [])])
    if export is not None:
        count = write_export(reads, export)  # first: it may refuse
        say(f"Written: {export} ({count} pictures' body points). {WHAT_IS_IN_IT}")
    page, table = out_dir / "compare.md", out_dir / "compare.csv"
    write_texts(out_dir, {table: csv_of(done), page: page_of(done)}, "the comparison")
    for note in done.notes:
        say(note)
    if kept is not None and keeper is not None:
        record = keeper.record
        compared = (*record.compared, kept)[-MOST_COMPARED:]
        keeper.put(replace(record, compared=compared))
        keeper.flush()
        if not keeper.trouble:
            say(f"Kept for {record.name}: the mirror tells these errors before {kept.camera}.")
    say(f"Written: {page} and {table}.")
    return done


def _factor(stem: str, pairs: Pairs) -> float:
    found = factor(pairs, line=stem == "shoulder_turn")
    # Only how far the pitch changed is compared: where the chest points may be further off.
    return max(found, 1.0) if stem == "chest_pitch" else found


def _camera(reads: list[Read], named: str | None) -> str | None:
    """Return the one camera of all files. Raises CompareError for two."""
    names = {one.camera for one in reads if one.camera is not None}
    if named is not None:
        names.add(named)
    if len(names) > 1:
        raise CompareError(
            f"the files are of {len(names)} cameras: {', '.join(sorted(names))}. One was wanted, "
            "for each has its own errors. Compare them one by one."
        )
    return next(iter(names), None)


def _kept(
    done: Outcome, judged: dict[str, Pairs], reads: list[Read], today: datetime.date
) -> tuple[Compared | None, str]:
    """Return what is kept with the player's record, or why nothing is."""
    sizes = {tuple(one.values["size_wh"]) for one in reads}
    if done.camera is None:
        return None, "Not kept: clips do not name their camera. Name it with --camera."
    if len(sizes) > 1:
        return None, "Not kept: the pictures are of several sizes. Compare one size at a time."
    if not all(one.values["pose_model_fitted"] for one in reads):
        return None, "Not kept: another pose model was used than the figures were fitted with."
    if max(done.factors.values()) > MOST_FACTOR:
        return None, (
            "Not kept: tags and camera differ so far that one of them was not on this body as "
            "taken. See that the tags sit tight, each in its place, and compare anew."
        )
    scales = [one.cm_per_px for one in reads if one.cm_per_px is not None]
    width, height = sizes.pop()
    own: dict[str, Any] = {"width_px": float(width), "height_px": float(height)}
    if scales:
        own["cm_per_px"] = float(np.median(scales))
    for stem, pairs in judged.items():
        own[f"{stem}_factor"], own[f"{stem}_floor"] = done.factors[stem], floor(pairs)
    return Compared(
        date=today,
        camera=done.camera,
        estimator=shipped_print(),
        reps=max(done.enough.values()),
        own=OwnErrors(**own),
        biases={stem: done.scores[stem][0].bias for stem in STEMS if stem in judged},
    ), ""
