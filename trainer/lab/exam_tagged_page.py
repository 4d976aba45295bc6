"""Scores the tag report's clips and writes its page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.tag_roles import BY_NUMBER
from trainer.lab import exam_tagged_words as words
from trainer.lab.exam_marks import number, of_all, share, sized, table
from trainer.lab.exam_scores import decisions, inside_share, stats
from trainer.lab.exam_tagged import KINDS
from trainer.lab.exam_tagged_read import FIELDS, Tagged
from trainer.lab.exam_tagged_single import BANDS, Sight

Floats = NDArray[np.float64]

KIND_NAMES: Final = {
    "slow": "slow",
    "full30": "full speed, 30 pictures/s",
    "full60": "full speed, 60 pictures/s",
}
#: Turns of the chest that "reached?" is asked of.
TARGETS: Final = (60.0, 70.0, 80.0, 90.0)
FAR_DEG: Final = 3.0
THORAX, SHOULDERS, HIPS, DRIFT = (FIELDS.index(name) for name in FIELDS)
Score = Callable[[list[Tagged]], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One aim: what is wanted of each kind (None: nothing), and how it is scored."""

    name: str
    unit: str
    wanted: tuple[float | None, float | None, float | None]
    score: Score
    at_least: bool = False

    def reached(self, kind: int, value: float) -> bool | None:
        """Tell whether a value is good enough; None where nothing was wanted."""
        limit = self.wanted[kind]
        if limit is None:
            return None
        if math.isnan(value):
            return False
        return value >= limit if self.at_least else value <= limit


def pooled(clips: Sequence[Tagged], column: int, *, bare: bool = False) -> Floats:
    """Return all errors of a measure, (N,)."""
    return np.concatenate(
        [(one.bare if bare else one.said)[:, column] - one.true[:, column] for one in clips]
    )


def right_share(clips: Sequence[Tagged]) -> tuple[int, int]:
    """Return (right, all) of "reached the target?" over pictures further than 3 degrees off."""
    pairs = [
        decisions(one.said[:, THORAX], one.true[:, THORAX], target, FAR_DEG)
        for one in clips
        for target in TARGETS
    ]
    return sum(right for right, _ in pairs), sum(count for _, count in pairs)


def _mae(column: int) -> Score:
    return lambda clips: stats(pooled(clips, column)).mae


def _top(name: str) -> Score:
    def score(clips: list[Tagged]) -> float:
        pairs = [getattr(one, name) for one in clips]
        return stats(np.array([said - true for true, said in pairs])).mae

    return score


def _by_tag(part: str) -> Score:
    return lambda clips: 100 * float(np.concatenate([one.by_tag[part] for one in clips]).mean())


def _right(clips: list[Tagged]) -> float:
    right, count = right_share(clips)
    return 100.0 * right / count if count else math.nan


ROWS: Final = (
    Row(name="chest turn, takeaway to top, mean error", unit="°", wanted=(2, 4, 3),
        score=_mae(THORAX)),
    Row(name="“reached?” right, over 3° away, of pictures", unit=" %", wanted=(99, 95, 97),
        score=_right, at_least=True),
    Row(name="chest extension at the top, mean error", unit="°", wanted=(2, 3, 3),
        score=_top("opened")),
    Row(name="pelvis turn, mean error", unit="°", wanted=(2, 3, None), score=_mae(HIPS)),
    Row(name="hip drift, mean error", unit=" cm", wanted=(0.4, 0.6, None), score=_mae(DRIFT)),
    Row(name="pictures from setup to top with a tag-based chest turn", unit=" %",
        wanted=(97, 80, 90), score=_by_tag("thorax"), at_least=True),
    Row(name="the same of the pelvis turn", unit=" %", wanted=(None, None, None),
        score=_by_tag("pelvis"), at_least=True),
    Row(name="chest pitch itself at the top, mean error", unit="°", wanted=(None, None, None),
        score=_top("pitch")),
    Row(name="shoulder turn, mean error", unit="°", wanted=(None, None, None),
        score=_mae(SHOULDERS)),
)  # fmt: skip


def page(clips: Sequence[Tagged], seen: Sequence[Sight], *, command: str, facts: str) -> str:
    """Return the whole page in Markdown. Raises ValueError without clips."""
    if not clips:
        raise ValueError("there are no clips to write of. At least one was wanted. Render some.")
    parts = [
        *(words.INTRO, goals_table(clips)),
        *(words.READ, beside_table(clips), _reps(clips)),
        *(words.EACH, each_table(clips)),
        *(words.CARDS, cards_table(clips)),
        *(words.SINGLE, single_table(seen)),
        words.LIMITS,
    ]
    again = f"## Do it again\n\n```\n{command}\n```\n\n{facts}\n"
    return "\n\n".join(part.strip() for part in [*parts, again]) + "\n"


def _of(clips: Sequence[Tagged], kind: str) -> list[Tagged]:
    return [one for one in clips if one.kind == kind]


def goals_table(clips: Sequence[Tagged]) -> str:
    """Return every aim with its value for each kind; bold where it was missed."""
    head = ["", *(f"{KIND_NAMES[kind]} ({len(_of(clips, kind))})" for kind in KINDS)]
    rows = []
    for row in ROWS:
        cells = []
        for place, kind in enumerate(KINDS):
            own = _of(clips, kind)
            value = row.score(own) if own else math.nan
            text, wanted = sized(value, row.unit, 2 if row.unit == " cm" else 1), row.wanted[place]
            if row.reached(place, value) is False and own:
                text = f"**{text}**"
            sign = "≥" if row.at_least else "≤"
            cells.append(text if wanted is None else f"{text} ({sign} {wanted:g})")
        rows.append([row.name, *cells])
    return table(head, rows)


def beside_table(clips: Sequence[Tagged]) -> str:
    """Return mean size, mean and 95 % point of the errors with tags and without."""
    rows = []
    names = ("chest turn", "shoulder turn", "hip turn", "hip drift")
    for column, name in enumerate(names):
        unit = " cm" if name == "hip drift" else "°"
        for bare in (False, True):
            one = stats(pooled(clips, column, bare=bare))
            if not one.count:
                continue
            errors = np.concatenate([c.said[:, column] - c.true[:, column] for c in clips])
            honest = inside_share(errors, np.concatenate([c.se[:, column] for c in clips]))
            rows.append(
                [
                    f"{name}, {'without tags' if bare else 'with tags'}",
                    sized(one.mae, unit),
                    number(one.bias, sign=True),
                    sized(one.p95, unit),
                    "–" if bare else share(honest),
                ]
            )
    return table(["", "mean error", "bias", "95 % within", "inside the stated ±"], rows)


def _reps(clips: Sequence[Tagged]) -> str:
    found = sum(one.found for one in clips)
    right, count = right_share(clips)
    lost = [one.name for one in clips if not one.found]
    missed = f" Missed: {', '.join(lost)}." if lost else ""
    return (
        f"Of {len(clips)} scored backswings {found} were found.{missed} "
        f"“Reached?” was asked of {', '.join(f'{t:g}' for t in TARGETS)}° in every picture: right "
        f"in {of_all(right, count)}."
    )


def each_table(clips: Sequence[Tagged]) -> str:
    """Return each player's mean errors: a mean over people hides whether all or few are off."""
    rows = []
    for one in clips:
        card = one.cards_off_deg.get("0", math.nan)
        true, said = one.opened
        rows.append(
            [
                one.name,
                sized(stats(pooled([one], THORAX)).mae, "°"),
                number(card, sign=True) + ("" if math.isnan(card) else "°"),
                sized(abs(said - true), "°"),
                sized(stats(pooled([one], HIPS)).mae, "°"),
                sized(stats(pooled([one], DRIFT)).mae, " cm", 2),
                *(f"{100 * one.by_tag[part].mean():.0f} %" for part in ("thorax", "pelvis")),
            ]
        )
    head = ["player", "chest turn", "chest card itself", "extension at the top", "pelvis turn",
            "hip drift", "chest by tags", "pelvis by tags"]  # fmt: skip
    return table(head, rows)


def cards_table(clips: Sequence[Tagged]) -> str:
    """Return how far the cards themselves were turned beside their part at the top."""
    rows = []
    for name in sorted({n for one in clips for n in one.cards_off_deg}, key=int):
        one = stats(np.array([c.cards_off_deg[name] for c in clips if name in c.cards_off_deg]))
        rows.append(
            [
                BY_NUMBER[int(name)].name,
                number(one.bias, sign=True) + "°",
                f"{number(one.sd)}°",
                f"{number(one.mae)}°",
            ]
        )
    return table(["card", "mean", "spread between people", "mean size"], rows)


def single_table(seen: Sequence[Sight]) -> str:
    """Return by tag and obliqueness how often it was found, and its error."""
    rows = []
    for tag in sorted({one.number for one in seen}):
        for low, high in BANDS:
            own = [s for s in seen if s.number == tag and low <= s.oblique_deg < high]
            if not own:
                continue
            turn = np.array([s.turn_off_deg for s in own])
            pitch = np.array([s.pitch_off_deg for s in own])
            rows.append(
                [
                    f"{BY_NUMBER[tag].name}, {low}–{high}°",
                    str(len(own)),
                    f"{100 * np.mean([s.found for s in own]):.0f} %",
                    f"{100 * np.isfinite(turn).mean():.0f} %",
                    sized(_median(turn), "°"),
                    sized(_median(pitch), "°"),
                ]
            )
    head = ["tag, how oblique", "pictures", "found", "one attitude alone fits", "turn", "pitch"]
    return table(head, rows)


def _median(values: Floats) -> float:
    good = np.abs(values[np.isfinite(values)])
    return float(np.median(good)) if good.size else math.nan
