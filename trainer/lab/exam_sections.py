"""The results part of docs/accuracy.md. Every figure comes from the results handed in."""

from __future__ import annotations

import math

import numpy as np

from trainer.lab import exam_rod_tables as rod_tables
from trainer.lab import exam_tables as tables
from trainer.lab import exam_tone_tables as tone_tables
from trainer.lab.exam import FPS
from trainer.lab.exam_marks import number, share, sized
from trainer.lab.exam_results import (
    LOST_CM,
    TURN,
    Results,
    Unseen,
    person_correlation,
    turn_interval,
)
from trainer.lab.exam_rod_scores import RodResults
from trainer.lab.exam_scores import stats


def results(done: Results) -> str:
    """Return everything between how it was tested and where it fails."""
    parts = [_readings(done), _groups(done), _decisions(done), _phases(done), _rest(done)]
    if done.rod is not None:
        parts.append(_rod(done.rod))
    if done.unseen is not None:
        parts.append(_style(done.unseen))
    return "\n\n".join(part.strip() for part in parts)


def _readings(done: Results) -> str:
    natural, apart = done.pools["natural"], done.pools["decoupled"]
    low, high = turn_interval(natural)
    low_apart, high_apart = turn_interval(apart)
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

The gap from the back to the ball line needs the silhouette, so without an outline there is none.

### Shoulder turn by how far it truly is

![Said against true shoulder turn: dots with error bars for tops of backswings, crosses for
decoupled movements, beside the line on which both would be equal](figures/accuracy-turn.svg)

![Mean error of the shoulder turn in four bands of true turn, for this program, for the width
alone and for the world points; natural left, decoupled right](figures/accuracy-bands.svg)

Natural: a mean error of {number(turn)}° between 15 and 117°; drawn anew over people, 95 % of such
means lie between {number(low)} and {number(high)}°. Bias of the other readings in brackets.

{tables.bands_table(natural)}

Decoupled: {number(turn_apart)}°, by people {number(low_apart)} to {number(high_apart)}°.

{tables.bands_table(apart)}

### At the top

What is told after the rep: the median over the top found, against the mean of the truth over the
true top.

{tables.top_table(done)}
"""


def _groups(done: Results) -> str:
    return f"""
### By place, clothes, body and speed

Shoulder turn between 15 and 117°, mean error in degrees. A difference of a degree between two
rows of so few people is chance as likely as not. The last three columns are of natural clips.

{tables.groups_table(done)}
"""


def _decisions(done: Results) -> str:
    arms = done.still["arms alone"]
    return f"""
### Was the target reached?

As the readings have it: pictures with a true turn of 15° or more, where the truth is further from
the target than the heading says.

{tables.decisions_table(done)}

### The tone

As it would have been heard: the program's own cue logic on the readings of each natural clip, at
targets of 70, 80 and 90° together, for each of the settings' words for how sure it must be.
“Right” is a tone that was due, or silence where none was; “false” sounded though the truth never
came to the target, “missed” stayed silent though it did.

{tone_tables.tones_table(done, "natural")}

The same in decoupled clips, where no swing is meant: as if one were under way from the end of the
still address on.

{tone_tables.tones_table(done, "decoupled")}

How long after the truth reached the target the tone was decided; minus is too early. The camera's
own delay and the sound's come on top ([performance](performance.md)).

{tone_tables.late_table(done)}

### Parts of the body apart

{tables.apart_table(done.pools["decoupled"])}

While the shoulders keep still: what is said in the later half of the movement, with a true turn
under 6°, and in how many clips “turn reached” would sound if a swing were under way all the time.

{tone_tables.still_table(done)}

With the arms alone away the program reads {number(arms.said_deg)}° in the mean, the width alone
{number(arms.width_deg)}°.
"""


def _phases(done: Results) -> str:
    missed = sum(one.rep is None for one in done.reps)
    return f"""
### Phases

{len(done.reps)} backswings: {len(done.reps) - missed} found, {missed} missed, {done.extra} found
that were none. How far off the instants of those found are, in pictures at 30 a second (33 ms):

{tables.phases_table(done)}

A missed rep here means that no complete rep had its top within half a second of the true one; a
stop seen too early counts as one missed and one found that was none. Hands lower than 0.85 of the
way up from the hips to the shoulders (`low_top_height`) make a top only if they come down much
faster than they went.

{_hands(done)}
"""


def _rest(done: Results) -> str:
    return f"""
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

### Use of time

The shoulder turn, read from each picture on its own and then filtered in several ways, all of which
look backwards only. “Bias at its most” is taken where the truth is within 2° of the clip's largest
turn; “change a picture” is how much the error moves from one picture to the next. The Kalman
filter follows turn and rate and takes each reading's own ± for noise that is new in every picture;
most of it is not, so the filter is run with a tenth of it too (`trainer/lab/exam_time.py`).

{tone_tables.filters_table(done)}
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


def _rod(rod: RodResults) -> str:
    tie = (
        "Too few ended for a correlation"
        if math.isnan(rod.goes_with)
        else f"A person's error in the check and their mean error at the tops of their swings go "
        f"together with a correlation of {number(rod.goes_with, 2)}"
    )
    return f"""
### Rod check and repeats

{rod.people} of the people also folded their arms over a shaft, turned to a true 90° and held it;
then there were further swings of the same kind by the same person before the same camera. The
program's rod check came to an end in {rod.ended} of {rod.people} and read the 90° with a bias of
{number(rod.read_bias_deg, sign=True)}° and a spread (SD) of {number(rod.read_sd_deg)}°. {tie}.
(How still and how low the folded hands may be was set on the rod clips of seeds 310000 to 310005,
so whether a check comes to an end is no test there; what it reads is.)
The mean error at the top of {rod.tops} swings, when a share of the check's error is taken off:

{rod_tables.shares_table(rod)}

Repeats: the errors of one person's swings have a spread (SD) of {sized(rod.within_sd_deg, "°")}
round that person's own mean; the persons' means one of {sized(rod.between_sd_deg, "°")} round
theirs. The difference between two swings of one person, which is what a reference rep rests on, is
{sized(rod.change_mae_deg, "°")} off in the mean.
"""


def _style(both: Unseen) -> str:
    return f"""
### Pictures of another kind

The first {both.people} of the people once more, with the same bodies, clothes, cameras and
movements, but shaded in a style that no picture of the fit had. The nearer the two halves are, the
less the fit leans on how its own pictures look; a real camera's pictures are more different still.

{rod_tables.style_table(both)}
"""
