"""The accuracy report's charts: marks and hatching as well as colours, so grey is enough."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from trainer.lab.exam_results import BANDS, KINDS, TURN, Results, told_at_top
from trainer.lab.exam_scores import stats


def draw(done: Results, folder: Path) -> None:
    """Write ``accuracy-turn.svg`` and ``accuracy-bands.svg``."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "accuracy", "font.size": 11})
    folder.mkdir(parents=True, exist_ok=True)
    _turn(done, folder / "accuracy-turn.svg")
    _bands(done, folder / "accuracy-bands.svg")


def _turn(done: Results, path: Path) -> None:
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(6.4, 6.0))
    part = done.pools["decoupled"]
    axes.plot(
        part.true[::6, TURN],
        part.said[::6, TURN],
        linestyle="none",
        marker="+",
        color="#8a8a8a",
        markersize=4,
        label="decoupled, every sixth picture",
    )
    tops = [
        (one.true_top[TURN], told_at_top(one)[TURN], one.rep.at_top.shoulder_turn_se_deg)
        for one in done.reps
        if one.rep is not None and one.rep.at_top is not None
    ]
    known = np.array([[math.nan if v is None else v for v in row] for row in tops])
    if len(known):
        axes.errorbar(
            known[:, 0],
            known[:, 1],
            yerr=known[:, 2],
            linestyle="none",
            marker="o",
            color="#0b3c5d",
            capsize=2,
            label="top of a backswing, with the stated ±",
        )
    line = np.array([-20.0, 125.0])
    axes.plot(line, line, color="black", linewidth=1)
    for off in (-10, 10):
        axes.plot(line, line + off, color="black", linewidth=0.7, linestyle=":")
    axes.set(
        xlim=line,
        ylim=line,
        xlabel="true shoulder turn (degrees)",
        ylabel="said by the program (degrees)",
        title="Said against true; dotted lines are 10° off",
    )
    axes.set_aspect("equal")
    axes.legend(loc="upper left", frameon=False)
    _save(figure, path)


def _bands(done: Results, path: Path) -> None:
    import matplotlib.pyplot as plt

    figure, both = plt.subplots(1, 2, figsize=(9.6, 4.0), sharey=True)
    looks = (
        ("this program", "#0b3c5d", ""),
        ("width alone", "#b8b8b8", "//"),
        ("world points", "#ececec", ".."),
    )
    for axes, kind in zip(both, KINDS, strict=True):
        part = done.pools[kind]
        for shift, (name, colour, hatch) in enumerate(looks):
            said = (part.said[:, TURN], part.width_deg, part.straight[:, TURN])[shift]
            error = said - part.true[:, TURN]
            heights = [
                stats(error[(part.true[:, TURN] >= low) & (part.true[:, TURN] < high)]).mae
                for low, high in BANDS
            ]
            axes.bar(
                np.arange(len(BANDS)) + 0.27 * (shift - 1),
                heights,
                width=0.25,
                color=colour,
                hatch=hatch,
                edgecolor="black",
                linewidth=0.6,
                label=name,
            )
        axes.set_xticks(range(len(BANDS)), [f"{low}–{high}°" for low, high in BANDS])
        axes.set(title=kind, xlabel="true shoulder turn")
    both[0].set_ylabel("mean error (degrees)")
    both[0].legend(frameon=False, loc="upper left")
    _save(figure, path)


def _save(figure: Any, path: Path) -> None:
    import matplotlib.pyplot as plt

    figure.tight_layout()
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)
    lines = [line.rstrip() for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
