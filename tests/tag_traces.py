"""Traces of the mirror before a scripted golfer who wears tags."""

from dataclasses import replace

import numpy as np
from golfer import View, poses, with_outline
from tag_swing import Dressed, as_read, in_sight

from trainer.core.records import Handed
from trainer.core.rules import Rules
from trainer.core.tag_pose import TagsRead
from trainer.core.trace import end_line, header_line, reading_line
from trainer.engine import Engine
from trainer.settings import rules_to_values


def worn_trace(
    path,
    script,
    *,
    handed=Handed.RIGHT,
    tags=True,
    until_s=np.inf,
    rules=None,
    camera="pretend camera",
):
    """Write to ``path`` what the mirror would record; the tags come off at ``until_s``."""
    view, dressed, rng = View(handed=handed, hz=15.0), Dressed(), np.random.default_rng(8)
    rules = replace(rules or Rules(stature_cm=175.6), handed=handed)
    engine, lines = Engine(rules), [header_line(rules_to_values(rules), camera)]
    for t_s, plain in poses(script, view):
        body = script.at(t_s)
        pose = None if plain is None else with_outline(dressed.pose(body, view, t_s))
        if pose is not None and tags:
            sheets = dressed.sheets(body, view, t_s) if t_s < until_s else []
            read = tuple(as_read(sheet, rng, 0.5) for sheet in sheets if in_sight(sheet))
            pose = replace(pose, tags=TagsRead(focal_px=914.0, poses=read))
        lines.append(reading_line(t_s, *engine.feed(t_s, pose), None))
    path.write_text("\n".join([*lines, end_line(len(lines) - 1), ""]), encoding="utf-8")
    return path
