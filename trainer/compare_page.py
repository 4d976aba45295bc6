"""What a comparison came to, as a page in Markdown and as a CSV (RFC 4180)."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any, Final

from trainer.core.counted import counted
from trainer.core.own_errors import STEMS
from trainer.core.tag_compare import FAR_DEG, FEWEST_REPS, PRIOR_REPS, Decision, Score
from trainer.player_compared import NAMES, Compared

COLUMNS: Final = (
    *("what", "measure", "unit", "from_deg", "below_deg", "target_deg", "reps", "poses"),
    *("bias", "bias_se", "spread", "mean_error", "told_se", "tag_se", "inside_share"),
    *("right_share", "factor"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """All that is told of a comparison."""

    camera: str | None
    reps: int  #: complete ones in all files
    some: dict[str, int]  #: by stem: how many have any tag reading of it
    enough: dict[str, int]  #: by stem: how many have enough of it
    scores: dict[str, list[Score]]  #: by stem, of those judged: all turns first, then the bands
    factors: dict[str, float]  #: by stem, of those judged
    decisions: list[Decision]
    notes: list[str]
    kept: Compared | None = None  #: None: not kept, and the notes say why


def csv_of(done: Outcome) -> str:
    """Return the CSV: a header, a row a measure and band, then a row a target.

    Lines end with CR LF; what does not apply is an empty cell.
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=COLUMNS, lineterminator="\r\n", restval="")
    writer.writeheader()
    for stem, scores in done.scores.items():
        for number, one in enumerate(scores):
            row: dict[str, Any] = {
                "what": "error",
                "measure": stem,
                "unit": STEMS[stem],
                "from_deg": f"{one.low_deg:g}",
                "below_deg": f"{one.high_deg:g}",
                "reps": one.reps,
                "poses": one.poses,
                "inside_share": f"{one.inside:.4f}",
            }
            for name in ("bias", "bias_se", "spread", "mean_error", "told_se", "tag_se"):
                row[name] = f"{getattr(one, name):.3f}"
            if number == 0:
                row["factor"] = f"{done.factors[stem]:.4f}"
            writer.writerow(row)
    for decision in done.decisions:
        writer.writerow(
            {
                "what": "decision",
                "measure": "shoulder_turn",
                "unit": "deg",
                "target_deg": f"{decision.target_deg:g}",
                "reps": decision.reps,
                "poses": decision.poses,
                "right_share": f"{decision.right:.4f}",
            }
        )
    return text.getvalue()


def page_of(done: Outcome) -> str:
    """Return the page."""
    lines = ["# Tags against camera", ""]
    camera = "a camera not named" if done.camera is None else plain(done.camera)
    lines += [f"{done.reps} complete reps before {camera}. Error: camera alone less tags.", ""]
    lines += [*(f"- {plain(note)}" for note in done.notes), ""] if done.notes else []
    lines += ["## In all", ""]
    lines += _table(
        ["measure", "reps", "pictures", "bias", "spread", "mean error", "told ±", "inside it",
         "tags' own ±", "your ± is times"],
        [
            [
                NAMES[stem],
                str(scores[0].reps),
                str(scores[0].poses),
                f"{_size(scores[0].bias, stem, sign=True)} ±{scores[0].bias_se:.1f}",
                _size(scores[0].spread, stem),
                _size(scores[0].mean_error, stem),
                _size(scores[0].told_se, stem),
                f"{scores[0].inside:.0%}",
                _size(scores[0].tag_se, stem),
                f"{done.factors[stem]:.2f}",
            ]
            for stem, scores in done.scores.items()
        ],
    )  # fmt: skip
    missing = [_not_judged(done, stem) for stem in STEMS if stem not in done.scores]
    lines += ["", *missing] if missing else []
    lines += ["", "## By turn", ""]
    lines += _table(
        ["measure", "shoulder turn", "reps", "pictures", "bias", "spread", "inside its ±"],
        [
            [
                NAMES[stem],
                f"{one.low_deg:g}–{one.high_deg:g}°",
                str(one.reps),
                str(one.poses),
                f"{_size(one.bias, stem, sign=True)} ±{one.bias_se:.1f}",
                _size(one.spread, stem),
                f"{one.inside:.0%}",
            ]
            for stem, scores in done.scores.items()
            for one in scores[1:]
        ],
    )
    if done.decisions:
        lines += ["", "## Reached?", ""]
        lines += [
            f"Decided as the tags do, of pictures more than {FAR_DEG:g}° from the target:",
            "",
        ]
        lines += _table(
            ["target", "reps", "pictures", "right"],
            [
                [f"{one.target_deg:g}°", str(one.reps), str(one.poses), f"{one.right:.1%}"]
                for one in done.decisions
            ],
        )
    lines += ["", "## What is made of it", "", *_meaning(done)]
    return "\n".join(lines) + "\n"


def plain(words: str) -> str:
    """Return ``words`` on one line, with nothing that Markdown or HTML would take for its own."""
    one_line = " ".join(words.split())
    return "".join(f"\\{c}" if c in "\\`*_{}[]<>#|!&~" else c for c in one_line)


def _meaning(done: Outcome) -> list[str]:
    kept = "" if done.kept is not None else " It was not kept: see above."
    return [
        "- The ± told of people in general is multiplied by the last column of the first table, "
        "and never told smaller than the tags' own ±." + kept,
        f"- A rep counts as one observation. People in general count as {PRIOR_REPS:g} reps, so a "
        "few reps change little.",
        "- A bias is shown and stays in the ±; no figure has it taken off.",
        "- The tags tell the rib cage. The shoulder line turns about 1.11 times as far, people "
        "differ, and that is in the tags' own ± and in the bias's.",
        "- Of the chest's pitch only the change since setup can be compared, so its ± is never "
        "made smaller.",
        "- Cloth that slides under a tag is in no figure here.",
    ]


def _not_judged(done: Outcome, stem: str) -> str:
    some, enough = done.some[stem], done.enough[stem]
    return (
        f"- {NAMES[stem]}: not judged. {counted(enough, 'rep')} with enough of its tags "
        f"({some} with any); {FEWEST_REPS} or more are wanted."
    )


def _size(value: float, stem: str, *, sign: bool = False) -> str:
    unit = "°" if STEMS[stem] == "deg" else " cm"
    return (f"{value:+.1f}" if sign else f"{value:.1f}") + unit


def _table(head: list[str], rows: list[list[str]]) -> list[str]:
    return [
        "| " + " | ".join(head) + " |",
        "|" + "---|" * len(head),
        *("| " + " | ".join(row) + " |" for row in rows),
    ]
