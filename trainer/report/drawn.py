"""The charts of the page: what goes into each, and its words for who cannot see it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

import numpy as np

from trainer.adapters import svg_charts
from trainer.core import geometry as geo
from trainer.core.compare import Average
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed
from trainer.report.chosen import Closer, Material, SessionReps
from trainer.report.measured import Asked, Measured, asked_of, average_of, place_of
from trainer.report.wording import (
    average_words,
    number,
    reading,
    reps,
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
#: Columns of the curves and what they are called beside their axis.
_CURVES: Final = (
    ("shoulder_turn_deg", "shoulder turn, °"),
    ("head_lateral_cm", "head sideways, cm"),
    ("hip_lateral_cm", "hips sideways, cm"),
)
_SHARES_PCT: Final = (25, 50, 75, 100)


def rep_chart(measured: Measured, material: Material, counted: str) -> ET.Element | None:
    """Draw every whole rep of a measure; None where there is none or none was measured.

    ``counted`` says in words where the reps lay.
    """
    whole, pain = material.whole, material.pain
    found = average_of(measured, whole)
    if found is None:
        return None
    read = [measured.read(kept) for kept in whole]
    nothing = Asked(low=None, high=None, target=None)
    asked = [asked_of(measured, kept, pain=pain) or nothing for kept in whole]
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
    return svg_charts.rep_chart(chart, name=measured.name, title=measured.title, desc=desc)


def curves_chart(closer: Sequence[Closer]) -> ET.Element | None:
    """Draw turn and drifts of best, worst and reference rep over their backswing."""
    curves = [curve for one in closer if (curve := _curve(one)) is not None]
    rows = [row for row in _CURVES if any(row[0] in curve.columns for curve in curves)]
    if not rows:
        return None
    told = []
    for curve in curves:
        for column, words in rows:
            if column in curve.columns:
                told.append(f"{curve.words}, {words}: {_at_shares(curve, column)}")
    return svg_charts.curves_chart(
        curves,
        rows,
        name="curves",
        title="Turn and drifts over the backswing",
        desc=". ".join(told) + ".",
    )


def body_figure(closer: Sequence[Closer], numbers: Sequence[str]) -> ET.Element | None:
    """Draw best, worst and reference rep at setup and top; None where no points were kept."""
    bodies = [
        body
        for one, words in zip(closer, numbers, strict=True)
        if (body := body_of(one, words)) is not None
    ]
    if not bodies:
        return None
    told = []
    for one, words in zip(closer, numbers, strict=True):
        line = one.kept.aim.ball_line_cm
        top = one.kept.rep.at_top
        gap = None if top is None else top.back_gap_cm
        told.append(
            f"{words}: ball line "
            + ("not known" if line is None else f"{number(line, 1)} cm from the lead shoulder")
            + ", upper back at the top "
            + ("not measured" if gap is None else f"{number(gap, 1)} cm from the ball line")
        )
    return svg_charts.body_figure(
        bodies,
        name="bodies",
        title="The body at setup (thin, dashed) and at the top (thick)",
        desc=". ".join(told) + ". Drawn from the body points as the camera saw them.",
    )


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


def trend_chart(measured: Measured, sessions: Sequence[SessionReps]) -> ET.Element | None:
    """Draw the average of a measure over sessions; None with fewer than two that have one."""
    found = [average_of(measured, one.whole) for one in sessions]
    if sum(one is not None for one in found) < 2:
        return None
    told = ", ".join(
        f"{one.day.isoformat()} {average_words(measured, average)}"
        for one, average in zip(sessions, found, strict=True)
    )
    chart = svg_charts.TrendChart(
        unit=measured.axis,
        words=tuple(one.day.isoformat() for one in sessions),
        means=_floats([None if one is None else one.mean for one in found]),
        pm=_floats([mean_pm(one) for one in found]),
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
            for name, _ in _CURVES
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
    return ", ".join(f"{item.title.lower()} {reading(item, one.kept)}" for item in measured)
