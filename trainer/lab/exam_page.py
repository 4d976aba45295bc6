"""The text of docs/accuracy.md. Every figure of a run comes from the results handed in."""

from __future__ import annotations

import math
import re
import textwrap
from dataclasses import dataclass
from typing import Any

from trainer.lab import exam_sections as sections
from trainer.lab import exam_tables as tables
from trainer.lab import exam_words as words
from trainer.lab.exam import BACKSWING_S, FPS, LONG_PX, LOWEST_SEED
from trainer.lab.exam_groups import SPEED_S, length_s
from trainer.lab.exam_marks import number, share
from trainer.lab.exam_results import TURN, Results, parts_of_error, told_at_top
from trainer.lab.exam_scores import inside_share


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Who was tested, with what, when and how."""

    command: str
    date: str
    first_seed: int
    people: int
    versions: str
    estimator: dict[str, Any]  #: the notes kept with the coefficients
    pictures: bool = False  #: whether the worst tops were drawn beside the charts


def page(done: Results, facts: Facts) -> str:
    """Return the whole page as Markdown."""
    parts = (
        words.INTRO,
        _short(done),
        words.MADE_OF,
        _tested(done, facts),
        sections.results(done),
        _fails(done, facts),
        words.MODEL,
        words.YOURSELF,
        _again(facts),
    )
    return filled("\n\n".join(part.strip() for part in parts)) + "\n"


def filled(text: str, width: int = 105) -> str:
    """Return Markdown with paragraphs and list items wrapped anew; tables and code as they are."""
    out = []
    for block in re.split(r"\n{2,}", text):
        if block.startswith(("#", "|", "```")):
            out.append(block)
            continue
        items = re.split(r"\n(?=- |\d+\. )", block)
        out.append("\n".join(_wrapped(item, width) for item in items))
    return "\n\n".join(out)


def _wrapped(item: str, width: int) -> str:
    marker = re.match(r"- |\d+\. ", item)
    return textwrap.fill(
        " ".join(item.split()),
        width,
        subsequent_indent=" " * len(marker[0]) if marker else "",
        break_on_hyphens=False,
        break_long_words=False,
    )


def _short(done: Results) -> str:
    reached = sum(goal.reached for goal in done.goals)
    return f"""
## Goals

“Natural” is a backswing; “decoupled” are movements in which parts of the body go their own ways.
{reached} of {len(done.goals)} goals were reached. The goals were set before the test.

{tables.goals_table(done.goals)}
"""


def _tested(done: Results, facts: Facts) -> str:
    notes = facts.estimator
    fitted = f"{notes.get('people', '?')} other rendered people ({notes.get('poses', '?')} poses"
    if "first_seed" in notes and "last_seed" in notes:
        fitted += f", seeds {notes['first_seed']} to {notes['last_seed']}"
    else:
        fitted += f", seeds below {LOWEST_SEED}"
    natural, apart = done.pools["natural"], done.pools["decoupled"]
    scenes = [one.scene for one in natural.clips]
    statures = [scene["stature_cm"] for scene in scenes]
    women = sum(scene["female"] >= 0.5 for scene in scenes)
    left = sum(scene["handed"] == "left" for scene in scenes)
    yaws = [scene["yaw_deg"] for scene in scenes]
    distances = [scene["distance_m"] for scene in scenes]
    sizes = [_picture_share(scene) for scene in scenes]
    outdoors = sum(scene.get("place") == "range" for scene in scenes)
    upright = sum(height > width for width, height in map(_size, scenes))
    lengths = [length_s(one) for one in natural.clips]
    full, normal, slow = (sum(low <= s < high for s in lengths) for low, high in SPEED_S)
    last = facts.first_seed + facts.people - 1
    return f"""
## How this was tested

- **People.** {facts.people} rendered people, seeds {facts.first_seed} to {last}:
  {_counted(women, "woman", "women")} and {_counted(facts.people - women, "man", "men")},
  {left} left-handed, {min(statures):.0f} to {max(statures):.0f} cm tall; random build, clothes,
  place ({outdoors} outdoors), light, grain and video compression. The estimator
  `{notes.get("name", "?")}` was fitted on {fitted}), and nothing in the program was chosen by
  looking at the people of this page.
- **Camera.** {LONG_PX} pixels on the longer side ({upright} upright) at {FPS:.0f} pictures a
  second, {min(distances):.1f} to {max(distances):.1f} m away, walked round the player by
  {number(min(yaws), 0)}° to {number(max(yaws), 0)}°. Standing upright the players would fill
  {share(min(sizes))} to {share(max(sizes))} of the picture's height.
- **Natural clips**, one a person: still at address, then a backswing with a shoulder turn drawn
  from 35 to 117°, hip turn, drifts, pitch and arms drawn beside it. {full} at full speed
  ({_seconds("full")}), turning at once and swinging through the ball to a finish; {normal} at the
  pace of practice ({_seconds("normal")}) and {slow} slow ({_seconds("slow")}), half of these with
  a hold of 0.2 to 0.5 s, back to the address. Compared picture by picture from the true takeaway
  to the true end of the top: {len(natural.clip)} pictures. The readings are those of
  `trainer measure`.
- **Decoupled clips**, one a person: still at address; then the arms alone, the shoulders without
  the hips, the hips without the shoulders or the tilts alone; then every degree of freedom on a
  minimum-jerk path of its own to a random pose. Compared in every picture after the address:
  {len(apart.clip)} pictures. No swing is meant there and the phases may rightly drop the setup,
  so the readings are taken by the program's own functions and smoothing against the still
  address, without the phases.
- **The truth** is the joint centres of the body model, projected on the floor for turns, and for
  the back the surface of trunk and clothes as it was drawn (`trainer/lab/truth.py`). Zero is the
  mean of the address.
- The stature is known to the program, except where the table says without.
- {_counted(len(done.no_setup), "clip", "clips")} had no setup found by
  the end of the still address{": " + ", ".join(done.no_setup) if done.no_setup else ""}.
- Tested on {facts.date}: {facts.versions}.
"""


def _seconds(speed: str) -> str:
    low, high = BACKSWING_S[speed]
    return f"{low:g} to {high:g} s"


def _size(scene: dict[str, Any]) -> tuple[int, int]:
    """Return the picture's width and height; older scenes are all 16 : 9."""
    width, height = scene.get("size_wh", (960, 540))
    return int(width), int(height)


def _picture_share(scene: dict[str, Any]) -> float:
    """Return stature over the height of what the camera sees where the player stands."""
    camera = scene["camera"]
    wide_m = 2 * camera["distance_m"] * math.tan(math.radians(camera["hfov_deg"] / 2))
    width, height = _size(scene)
    return float(scene["stature_cm"] / (100 * wide_m * height / width))


def _counted(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _fails(done: Results, facts: Facts) -> str:
    lines = [
        f"- {goal.name}, {goal.kind}: wanted "
        f"{'at least' if goal.at_least else 'at most'} {goal.limit:g}{goal.unit}, "
        f"measured {number(goal.value, 2 if goal.unit == ' cm' else 1)}{goal.unit}."
        for goal in done.goals
        if not goal.reached
    ]
    natural = done.pools["natural"]
    between, within = parts_of_error(natural, TURN)
    honest = inside_share(natural.error[:, TURN], natural.se[:, TURN])
    off = [abs(told_at_top(one)[TURN] - one.true_top[TURN]) for one in done.reps]
    known = [value for value in off if math.isfinite(value)]
    far = sum(value > 10 for value in known)
    lost = [one.clip.name for one in done.reps if one.rep is None]
    missed = f" Backswings missed: {', '.join(lost)}." if lost else ""
    swapped = [one.name for part in done.pools.values() for one in part.clips if one.from_behind]
    behind = (
        f" In {_counted(len(swapped), 'clip', 'clips')} the pose model took the front of the "
        f"player at address for the back, with left and right swapped: {', '.join(swapped)}."
        if swapped
        else ""
    )
    return f"""
## Where it fails

{"Goals missed:" if lines else "Every goal was reached in this run."}

{chr(10).join(lines)}

At the top, {far} of {len(known)} shoulder turns were more than 10° off. In natural clips the
turn's error is made of {number(between)}° between clips (one standard deviation) and
{number(within)}° within a clip. {share(honest)} of natural readings lay inside the standard error
stated with them.{missed}{behind}

The tops furthest off:

{tables.worst_reps(done)}

{_SHEET if facts.pictures else ""}

All of this is evidence from rendered pictures, and so is every figure above: it tells what kind of
thing goes wrong, not how often it will with you. Known beforehand, and not measured here: real
cloth, real light, hair and hats beyond the rendered ones, several people in the picture, the smear
of a fast club and fast hands, cameras under 2.2 m or over 4 m away, and lenses with visible
distortion.
"""


_SHEET = """
![Pictures of rendered players at the tops whose shoulder turn was read furthest from the truth,
each with the true turn and the one said](figures/accuracy-worst.png)
"""


def _again(facts: Facts) -> str:
    return f"""
## Do it again

```
{facts.command}
```

It needs the lab extra. Clips and what the pose model said of them are kept in the folder: a run
that was interrupted goes on, and a run with another estimator takes a minute or two. For other
people give another seed, from {LOWEST_SEED} up: lower ones are for fitting. After a change to how
the program drives the pose model (`trainer/adapters/pose.py`, `trainer/adapters/outline.py`,
`trainer/core/plausible.py`, `trainer/core/following.py`) remove the `.poses.npz` files, so that
the clips are read anew.
"""
