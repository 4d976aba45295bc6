"""The explanations of docs/accuracy.md: what no run changes."""

INTRO = """
# How true the numbers are

All evidence on this page comes from **rendered people** whose joints are known. No golfer was
filmed and no motion-capture laboratory was used. It says how the program does on pictures of that
kind, people it had never met; it cannot say how it does on you. Rendered shirts crease less than
yours and rendered light is simpler, so take the figures as the good end of what to expect.
[Test it on yourself](#test-it-on-yourself) says how to find out.

This page is written by a command; nothing on it was typed in by hand but the explanations and the
pose model's own facts.
"""

MADE_OF = """
## What the readings are made of

The pose model finds 33 body points. Read straight from them, the shoulder turn is far too small:
with the arms across the chest the pose model under-rotates the trunk, and it says it is sure.
`trainer` therefore passes the points, and the silhouette that the pose model finds beside them,
through two regressions fitted on rendered people (`trainer/core/estimate.py`), one of which also
reads what a small network makes of the picture of the trunk (`trainer/adapters/trunk_picture.py`),
and takes the mean ([why](estimator.md#the-picture-of-the-trunk)). It also says how sure each
reading is: one standard error, so that about 68 % of readings should lie within it.
What each number means is in [measures](measures.md).

Two simpler readings stand beside it in the tables. *Width* is the first thing one would try: the
arc cosine of the shoulders' width now over their width at setup. *World points* is the heading of
the shoulder line in the pose model's own three-dimensional points. *No regression* is the
equation of [measures](measures.md) on the points, as world points are for the turn. *No picture*
is the regression without the trunk's picture alone, *no outline* another on the body points only;
that is what is read where a pose model gives no silhouette.
"""

MODEL = """
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
- The instants are read from how hands leave and arrive (`trainer/core/handpath.py`), the
  top also from how the picture moves round them (`hands_rest.py`). Their numbers
  were chosen on rendered clips other than those above, so those above can judge them.
"""

YOURSELF = """
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
6. **The back.** At address, have somebody hold a club upright in front of your lead shoulder, and
   put the ball line there. Turn until the edge of your upper back, seen from the camera, stands
   5 cm from the club: the gap should say 5.
7. **The instants.** Film 60 pictures a second or more, find the picture in which the hands turn
   back, and compare its time with `top_t_s`.
"""
