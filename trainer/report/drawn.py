"""The charts of the page: what goes into each, and its words for who cannot see it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from trainer.adapters import svg_charts
from trainer.core import geometry as geo
from trainer.core.compare import Average
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed
from trainer.report.chosen import Closer, Material, SessionReps
from trainer.report.measured import (
    HEAD,
    HIPS,
    TURN,
    Asked,
    Measured,
    asked_of,
    average_of,
    place_of,
)
from trainer.report.wording import (
    average_words,
    number,
    reading,
    reps,
    session_names,
    with_unit,
)

_BONES: Final = tuple(
    (int(start), int(end))
    for start, end in (
        (L.LEFT_SHOULDER, L.RIGHT_SHOULDER), (L.LEFT_HIP, L.RIGHT_HIP),
        (L.LEFT_SHOULDER, L.LEFT_HIP), (L.RIGHT_SHOULDER, L.RIGHT_HIP),
        (L.LEFT_SHOULDER, L.LEFT_ELBOW), (L.LEFT_ELBOW, L.LEFT_WRIST),
        (L.RIGHT_SHOULDER, L.RIGHT_ELBOW), (L.RIGHT_ELBOW, L.RIGHT_WRIST),
        (L.LEFT_HIP, L.LEFT_KNEE), (L.LEFT_KNEE, L.LEFT_ANKLE),
        (L.RIGHT_HIP, L.RIGHT_KNEE), (L.RIGHT_KNEE, L.RIGHT_ANKLE),
    )
)  # fmt: skip
#: Columns of the curves, what they are called beside their axis, and what is asked of them.
_CURVES: Final = (
    ("shoulder_turn_deg", "shoulder turn, °", TURN),
    ("head_lateral_cm", "head sideways, cm", HEAD),
    ("hip_lateral_cm", "hips sideways, cm", HIPS),
)
_NOTHING: Final = Asked(low=None, high=None, target=None)
_SHARES_PCT: Final = (25, 50, 75, 100)


def rep_chart(
    measured: Measured, material: Material, counted: str, *, half: bool = False
) -> ET.Element | None:
    """Draw every whole rep of a measure; None where there is none or none was measured.

    ``counted`` says in words where the reps lay; ``half``: for half a page's width.
    """
    whole, pain = material.whole, material.pain
    found = average_of(measured, whole)
    if found is None:
        return None
    read = [measured.read(kept) for kept in whole]
    asked = [asked_of(measured, kept, pain=pain) or _NOTHING for kept in whole]
    starts = np.cumsum([len(one.whole) for one in material.sessions])[:-1]
    values = _floats([value for value, _ in read])
    chart = svg_charts.RepChart(
        unit=measured.axis,
        values=values,
        pm=_floats([se for _, se in read]),
        kinds=tuple(place_of(measured, kept, pain=pain).value for kept in whole),
        low=_floats([one.low for one in asked]),
        high=_floats([one.high for one in asked]),
        target=_floats([one.target for one in asked]),
        starts=tuple(int(start) for start in starts),
    )
    desc = (
        f"{measured.title}, rep by rep: {reps(len(whole))}. Lowest "
        f"{with_unit(float(np.nanmin(values)), measured)}, highest "
        f"{with_unit(float(np.nanmax(values)), measured)}, average "
        f"{average_words(measured, found)}. "
        f"{counted}."
    )
    if found.reading_se is not None:
        desc += " The bars are one standard error either way."
    return svg_charts.rep_chart(
        chart, name=measured.name, title=measured.title, desc=desc, half=half
    )


def curves_chart(closer: Sequence[Closer], *, pain: bool) -> ET.Element | None:
    """Draw turn and drifts of best, worst and reference rep over their backswing.

    What was asked for is drawn where it was the same for all of them; ``pain``: no turn is.
    """
    curves = [curve for one in closer if (curve := _curve(one)) is not None]
    rows = [
        _curve_row(column, words, measured, closer, pain=pain)
        for column, words, measured in _CURVES
        if any(column in curve.columns for curve in curves)
    ]
    if not rows:
        return None
    told = []
    for curve in curves:
        for row in rows:
            if row.column in curve.columns:
                told.append(f"{curve.words}, {row.words}: {_at_shares(curve, row.column)}")
    return svg_charts.curves_chart(
        curves,
        rows,
        name="curves",
        title="Turn and drifts over the backswing",
        desc=". ".join(told) + ".",
    )


def _curve_row(
    column: str, words: str, measured: Measured, closer: Sequence[Closer], *, pain: bool
) -> svg_charts.CurveRow:
    asked = _same(asked_of(measured, one.kept, pain=pain) for one in closer)
    strict = {one.kept.aim.hips_strict for one in closer}
    return svg_charts.CurveRow(
        column=column,
        words=words,
        low=asked.low,
        high=asked.high,
        target=asked.target,
        at_top=measured is TURN or (measured is HIPS and True not in strict),
    )


def _same(asked: Iterable[Asked | None]) -> Asked:
    """Return what was asked of all alike; nothing where it was not the same."""
    found = set(asked)
    return (found.pop() if len(found) == 1 else None) or _NOTHING


def body_figures(closer: Sequence[Closer], names: Sequence[str]) -> list[ET.Element]:
    """Draw best, worst and reference rep at setup and top; none of whom no points were kept."""
    made = []
    for one, words in zip(closer, names, strict=True):
        body = body_of(one, words)
        if body is None:
            continue
        line = one.kept.aim.ball_line_cm
        top = one.kept.rep.at_top
        gap = None if top is None else top.back_gap_cm
        told = "ball line " + (
            "not known" if line is None else f"{number(line, 1)} cm from the lead shoulder"
        )
        told += ", upper back at the top " + (
            "not measured" if gap is None else f"{number(gap, 1)} cm from the ball line"
        )
        made.append(
            svg_charts.body_figure(
                body,
                name=f"body-{one.name}",
                title=f"{words}, the body at setup (thin, dashed) and at the top (thick)",
                desc=f"{words}: {told}. Drawn from the body points as the camera saw them.",
            )
        )
    return made


def body_of(one: Closer, words: str) -> svg_charts.Body | None:
    """Return a rep's points and the lines beside them; None where no points were kept."""
    kept, motion = one.kept, one.motion
    setup, top = motion.setup_pose, motion.top_pose
    if setup is None and top is None:
        return None
    lead_shoulder, _ = geo.lead_trail(kept.handed, "shoulder")
    _, trail_hip = geo.lead_trail(kept.handed, "hip")
    away = geo.away_sign(kept.handed)
    line_px = back_px = trail_px = None
    if setup is not None:
        trail_px = float(setup.image_px[trail_hip, 0])
        line_cm, cm_per_px = kept.aim.ball_line_cm, kept.cm_per_px
        if line_cm is not None and cm_per_px:
            line_px = float(setup.image_px[lead_shoulder, 0]) + away * line_cm / cm_per_px
            gap_cm = None if kept.rep.at_top is None else kept.rep.at_top.back_gap_cm
            back_px = None if gap_cm is None else line_px + away * gap_cm / cm_per_px
    return svg_charts.Body(
        words=words,
        setup_px=None if setup is None else setup.image_px,
        top_px=None if top is None else top.image_px,
        bones=_BONES,
        head=(int(L.LEFT_EAR), int(L.RIGHT_EAR)),
        shoulders=(int(L.LEFT_SHOULDER), int(L.RIGHT_SHOULDER)),
        ball_line_px=line_px,
        trail_hip_px=trail_px,
        back_px=back_px,
        target_right=kept.handed is Handed.RIGHT,
    )


def trend_chart(
    measured: Measured, sessions: Sequence[SessionReps], *, pain: bool
) -> ET.Element | None:
    """Draw the average of a measure over sessions; None with fewer than two that have one.

    What was asked for is drawn where it stayed the same through a session; ``pain``: no turn is.
    """
    found = [average_of(measured, one.whole) for one in sessions]
    if sum(one is not None for one in found) < 2:
        return None
    names = session_names(sessions)
    told = ", ".join(
        f"{name} {average_words(measured, average)}"
        for name, average in zip(names, found, strict=True)
    )
    asked = [_same(asked_of(measured, kept, pain=pain) for kept in one.whole) for one in sessions]
    chart = svg_charts.TrendChart(
        unit=measured.axis,
        words=names,
        means=_floats([None if one is None else one.mean for one in found]),
        pm=_floats([mean_pm(one) for one in found]),
        low=_floats([one.low for one in asked]),
        high=_floats([one.high for one in asked]),
        target=_floats([one.target for one in asked]),
    )
    return svg_charts.trend_chart(
        chart,
        name=f"trend-{measured.name}",
        title=f"{measured.title}, session by session",
        desc=f"Averages: {told}.",
    )


def mean_pm(found: Average | None) -> float | None:
    """Return the ± of a session's average: its spread over √n and one reading's own, together.

    A reading's own standard error is not made smaller by averaging: part of it is common to all
    reps of a person before a camera.
    """
    if found is None or (found.se is None and found.reading_se is None):
        return None
    return float(np.hypot(found.se or 0.0, found.reading_se or 0.0))


def _curve(one: Closer) -> svg_charts.Curve | None:
    curves, backswing_s = one.motion.curves, one.kept.rep.backswing_s
    if curves is None or not backswing_s:
        return None
    within = (curves.t_s >= 0.0) & (curves.t_s <= backswing_s)
    if not within.any():
        return None
    # The reading next to either end too: its line leads to the edge of the chart.
    seen = np.flatnonzero(within)
    within[max(seen[0] - 1, 0) : seen[-1] + 2] = True
    return svg_charts.Curve(
        name=one.name,
        words=f"{one.name} ({backswing_s:.1f} s)",
        share_pct=100.0 * curves.t_s[within] / backswing_s,
        columns={
            name: curves.columns[name][within]
            for name, *_ in _CURVES
            if name in curves.columns and np.isfinite(curves.columns[name][within]).any()
        },
    )


def _at_shares(curve: svg_charts.Curve, column: str) -> str:
    """Return a curve in words: its readings nearest to each quarter of the backswing."""
    values = curve.columns[column]
    told = []
    for share in _SHARES_PCT:
        near = int(np.argmin(np.abs(curve.share_pct - share)))
        value = values[near]
        told.append(
            f"{number(float(value), 0) if np.isfinite(value) else 'not measured'} at {share} %"
        )
    return ", ".join(told)


def _floats(values: Sequence[float | None]) -> svg_charts.FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def rep_words(one: Closer, measured: Sequence[Measured]) -> str:
    """Return a rep's readings in words."""
    return ", ".join(f"{item.short} {reading(item, one.kept)}" for item in measured)
