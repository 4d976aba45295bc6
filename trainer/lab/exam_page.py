"""The text of docs/accuracy.md. Every figure of a run comes from the results handed in."""

from __future__ import annotations

import math
import re
import textwrap
from dataclasses import dataclass
from typing import Any

import numpy as np

from trainer.lab import exam_tables as tables
from trainer.lab.exam import FPS, SIZE_WH
from trainer.lab.exam_results import (
    LOST_CM,
    TURN,
    Results,
    parts_of_error,
    person_correlation,
    told_at_top,
    turn_interval,
)
from trainer.lab.exam_scores import inside_share, stats
from trainer.lab.exam_tables import number, share


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Who was tested, with what, when and how."""

    command: str
    date: str
    first_seed: int
    people: int
    versions: str
    estimator: dict[str, Any]  #: the notes kept with the coefficients


def page(done: Results, facts: Facts) -> str:
    """Return the whole page as Markdown."""
    parts = (
        _INTRO,
        _short(done),
        _MADE_OF,
        _tested(done, facts),
        _results(done),
        _fails(done),
        _MODEL,
        _YOURSELF,
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


_INTRO = """
# How true the numbers are

All evidence on this page comes from **rendered people** whose joints are known. No golfer was
filmed and no motion-capture laboratory was used. It says how the program does on pictures of that
kind, people it had never met; it cannot say how it does on you. Rendered shirts crease less than
yours and rendered light is simpler, so take the figures as the good end of what to expect.
[Test it on yourself](#test-it-on-yourself) says how to find out.

This page is written by a command; nothing on it was typed in by hand but the explanations and the
pose model's own facts.
"""

_MADE_OF = """
## What the readings are made of

The pose model finds 33 body points. Read straight from them, the shoulder turn is far too small:
with the arms across the chest the pose model under-rotates the trunk, and it says it is sure.
`trainer` therefore passes the points through a regression fitted on rendered people
(`trainer/core/estimate.py`), which also says how sure each reading is: one standard error, so
that about 68 % of readings should lie within it. What each number means is in
[measures](measures.md).

Two simpler readings stand beside it in the tables. *Width* is the first thing one would try: the
arc cosine of the shoulders' width now over their width at setup. *World points* is the heading of
the shoulder line in the pose model's own three-dimensional points. *Points alone* is the equation
of [measures](measures.md) on the points, without the regression.
"""

_MODEL = """
## The pose model's own facts

Measured separately, once, on the clips of the demo and others rendered like them; not part of the
run above.

- Its tracking mode smooths over time. That makes it 10–18 ms late in a slow sway (0.66 m/s at its
  peak) and 3–5 ms late for fast hands.
- A picture of 1280 × 720 takes it 15.8 ms (95 % within 18 ms) when asked for one person, 26.6 ms
  for two and 26.5 ms for three. So one person is tracked, and a second look at everybody comes
  once a second.
- The shoulder points of somebody standing still jitter by 0.03–0.14 pixels when it is asked for
  one person, 0.5–0.6 pixels when asked for two: asked for more than one, it does not smooth.
- Its visibility of shoulders and hips was 0.997–0.999 in every picture of the demo, hidden ones
  too. It says nothing, and the program does not trust it.
- The instants are read from how hands leave and arrive (`trainer/core/handpath.py`). Its two
  powers, 3.5 and 2.25, were chosen on six rendered clips, where every takeaway came within 67 ms,
  every top within 65 ms and every end within 45 ms at 30 pictures a second. Those clips cannot
  judge them; the new ones above do.
"""

_YOURSELF = """
## Test it on yourself

No figure above replaces ten minutes of your own. Slowly, without a ball, and only as far as is
comfortable ([safety](safety.md)).

1. **A true 90°.** Lay a rod on the floor pointing straight at the camera. Stand at address, hold
   a shaft across the front of your shoulders, turn until the shaft is parallel to the rod when
   seen from above (somebody above or a second phone tells) and stay for a second: that is 90°
   from a shaft that was square at setup. Then do the same turn with the hands on a club, because
   arms across the chest are what misleads the pose model. Do it five times and compare `at_top`
   of `trainer measure`.
2. **No turn.** At address, lift the hands and the club to the side as at the top with the
   shoulders kept square to the camera. The turn should stay far from your target, and no tone
   should come.
3. **A measured sway.** Put two strips of tape 10 cm apart on the floor along the target line. At
   address, shift until the middle of your belt, then your nose, has moved from over one to over
   the other. Hip drift and head drift should say 10, plus or minus the centimetre or so of the
   tables.
4. **The ruler.** Do the third test with and without `--stature-cm`. If both say 9 or 11, your
   legs are long or short for your height: give a stature that makes them right.
5. **The camera.** Repeat the first two after moving the camera a hand's breadth to the side, and
   again in the evening's light and your winter clothes. What changes by more than the stated
   standard error is a limit of your place.
6. **The instants.** Film 60 pictures a second or more, find the picture in which the hands turn
   back, and compare its time with `top_t_s`.
"""


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
    seeds = notes.get("seeds")
    fitted = f"{notes.get('people', '?')} other rendered people ({notes.get('poses', '?')} poses"
    fitted += f", seeds {seeds}" if seeds else ", seeds below 100000"
    natural, apart = done.pools["natural"], done.pools["decoupled"]
    scenes = [one.scene for one in natural.clips]
    statures = [scene["stature_cm"] for scene in scenes]
    women = sum(scene["female"] >= 0.5 for scene in scenes)
    left = sum(scene["handed"] == "left" for scene in scenes)
    yaws = [scene["yaw_deg"] for scene in scenes]
    distances = [scene["distance_m"] for scene in scenes]
    sizes = [_picture_share(scene) for scene in scenes]
    last = facts.first_seed + facts.people - 1
    return f"""
## How this was tested

- **People.** {facts.people} rendered people, seeds {facts.first_seed} to {last}:
  {_counted(women, "woman", "women")} and {_counted(facts.people - women, "man", "men")},
  {left} left-handed, {min(statures):.0f} to {max(statures):.0f} cm tall; random build, clothes,
  room, light, grain and video compression. The estimator `{notes.get("name", "?")}` was fitted on
  {fitted}), and nothing in the program was chosen by looking at the people of this page.
- **Camera.** {SIZE_WH[0]} × {SIZE_WH[1]} at {FPS:.0f} pictures a second, {min(distances):.1f} to
  {max(distances):.1f} m away, walked round the player by {number(min(yaws), 0)}° to
  {number(max(yaws), 0)}°. Standing upright the players would fill {share(min(sizes))} to
  {share(max(sizes))} of the picture's height.
- **Natural clips**, one a person: still at address, a backswing of 0.8 to 2.0 s with a shoulder
  turn drawn from 35 to 117°, hip turn, drifts, pitch and arms drawn beside it, half of them with
  a hold of 0.3 to 0.6 s, and back to the address. Compared picture by picture from the true
  takeaway to the true end of the top: {len(natural.clip)} pictures. The readings are those of
  `trainer measure`.
- **Decoupled clips**, one a person: still at address; then the arms alone, the shoulders without
  the hips, the hips without the shoulders or the tilts alone; then every degree of freedom on a
  minimum-jerk path of its own to a random pose. Compared in every picture after the address:
  {len(apart.clip)} pictures. No swing is meant there and the phases may rightly drop the setup,
  so the readings are taken by the program's own functions and smoothing against the still
  address, without the phases.
- **The truth** is the joint centres of the body model, projected on the floor for turns
  (`trainer/lab/truth.py`). Zero is the mean of the address.
- The stature is known to the program, except where the table says without.
- {_counted(len(done.no_setup), "clip", "clips")} had no setup found by
  the end of the still address{": " + ", ".join(done.no_setup) if done.no_setup else ""}.
- Tested on {facts.date}: {facts.versions}.
"""


def _picture_share(scene: dict[str, Any]) -> float:
    """Return stature over the height of what the camera sees where the player stands."""
    camera = scene["camera"]
    wide_m = 2 * camera["distance_m"] * math.tan(math.radians(camera["hfov_deg"] / 2))
    return float(scene["stature_cm"] / (100 * wide_m * SIZE_WH[1] / SIZE_WH[0]))


def _counted(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _results(done: Results) -> str:
    natural, apart = done.pools["natural"], done.pools["decoupled"]
    low, high = turn_interval(natural)
    low_apart, high_apart = turn_interval(apart)
    arms = done.arms
    missed = sum(one.rep is None for one in done.reps)
    unread = float(np.isnan(natural.said[:, TURN]).mean())
    turn = stats(natural.error[natural.turned, TURN]).mae
    turn_apart = stats(apart.error[apart.turned, TURN]).mae
    return f"""
## Results

Errors are said less true. “Mean error” is the mean of their sizes; “95 % within” the size that 95
% stay under; “inside its ±” the share of readings off by less than their own stated standard
error, which should be about 68 %. {share(unread)} of the natural pictures had no reading.

### Every measure

{tables.measures_table(done)}

### Shoulder turn by how far it truly is

![Said against true shoulder turn: dots with error bars for tops of backswings, crosses for
decoupled movements, beside the line on which both would be equal](figures/accuracy-turn.svg)

![Mean error of the shoulder turn in four bands of true turn, for this program, for the width
alone and for the world points; natural left, decoupled right](figures/accuracy-bands.svg)

Natural: a mean error of {number(turn)}° between 15 and 117°; drawn anew over people, 95 % of such
means lie between {number(low)} and {number(high)}°. Bias of the simpler readings in brackets.

{tables.bands_table(natural)}

Decoupled: {number(turn_apart)}°, by people {number(low_apart)} to {number(high_apart)}°.

{tables.bands_table(apart)}

### At the top

What is told after the rep: the median over the top found, against the mean of the truth over the
true top.

{tables.top_table(done)}

### By place, clothes, body and speed

Shoulder turn between 15 and 117°, mean error in degrees. A difference of a degree between two
rows of so few people is chance as likely as not.

{tables.groups_table(done)}

### Was the target reached?

Pictures with a true turn of 15° or more, where the truth is further from the target than the
heading says.

{tables.decisions_table(done)}

### Parts of the body apart

{tables.apart_table(apart)}

Arms alone ({arms.clips} clips, {arms.pictures} pictures with the arms well away and a true turn
under 6°): the program reads {number(arms.said_deg)}° in the mean and
{number(arms.said_most_deg)}° at most; the width alone reads {number(arms.width_deg)}°, the world
points {number(arms.straight_deg)}°. With a target of 70° “turn reached” sounded in {arms.cues} of
the {arms.clips} clips; read from the width alone it would have in {arms.width_cues}.

### Phases

{len(done.reps)} backswings: {len(done.reps) - missed} found, {missed} missed, {done.extra} found
that were none. How far off the instants of those found are, in pictures at 30 a second (33 ms):

{tables.phases_table(done)}

A missed rep here means that no complete rep had its top within half a second of the true one; a
stop seen too early counts as one missed and one found that was none. The program takes a turn
of the
hands for a top only from 0.85 of the way up from the hips to the shoulders (`low_top_height`);
the arms are drawn down to lifts at which a top can lie lower, and such a one is missed by design.

{_hands(done)}

### Scale

{tables.scale_table(done)}

The last three columns are the mean errors of the natural drifts with that ruler.

### What the errors are made of

{tables.made_of_table(done)}

“Between clips” is the spread of the clips' mean errors: person, clothes, place and swing together.
The mean shoulder-turn errors of a person's two clips go together with a correlation of
{number(person_correlation(done), 2)}: the nearer to 1, the more of the error belongs to the person
and the place and is the same in your next rep. “Unsmoothed” is what the mean error would be without
the program's own smoothing, each picture on its own. “As if late” is read from how the error goes
with the true speed, and is rough, because other errors grow along the swing too.
"""


def _hands(done: Results) -> str:
    late = [one for one in done.reps if not abs(one.off_s) * FPS <= 1 + 1e-9]
    lost = [one for one in done.reps if one.hands_lost]
    both = sum(one.hands_lost for one in late)
    held = len(done.reps) - len(lost)
    good = held - (len(late) - both)
    return f"""
What the worst of it is made of: in {len(lost)} of {len(done.reps)} backswings the pose model put
the middle of the wrists more than {LOST_CM:.0f} cm from the true one in more than 5 % of the
pictures. Of the {len(late)} tops missed or more than one picture off, {both} are among these; in
the {held} others {good} tops came within one picture.
""".strip()


def _fails(done: Results) -> str:
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
    return f"""
## Where it fails

{"Goals missed:" if lines else "Every goal was reached in this run."}

{chr(10).join(lines)}

At the top, {far} of {len(known)} shoulder turns were more than 10° off. In natural clips the
turn's error is made of {number(between)}° between clips (one standard deviation) and
{number(within)}° within a clip. {share(honest)} of natural readings lay inside the standard error
stated with them.{missed}

The tops furthest off:

{tables.worst_reps(done)}

Known beforehand, and not measured here: real cloth, real light, hair and hats beyond the rendered
ones, several people in the picture, a full swing through the ball at full speed, cameras under
2.2 m or over 4 m away, and lenses with visible distortion.
"""


def _again(facts: Facts) -> str:
    return f"""
## Do it again

```
{facts.command}
```

It needs the lab extra. Clips and what the pose model said of them are kept in the folder: a run
that was interrupted goes on, and a run with another estimator takes seconds. For other people give
another seed, from 100000 up: lower ones are for fitting. After a change to how the program drives
the pose model (`trainer/adapters/pose.py`, `trainer/core/plausible.py`,
`trainer/core/following.py`) remove the `.poses.npz` files, so that the clips are read anew.
"""
