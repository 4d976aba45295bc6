"""The explanations of docs/accuracy-tags.md: what no run changes."""

from typing import Final

INTRO: Final = """
# How true the printed tags are

All evidence here comes from **rendered people** who wear [printed tags](how-to/tags.md): chest,
lead side, belt, and the belt on the lead side, 12 cm each. Nobody was filmed. The people are
drawn as those of [the accuracy report](accuracy.md) are, and the program has met none of them.
This page is written by a command; only its explanations were typed in.

The clips went through `trainer measure --tags`, told the player's side and stature, the tags'
true size, the camera's angle of view and, to a whole degree, how far it looks down. Before the one
that counts each player made one slow backswing, as the instructions ask. In brackets stands what
was aimed at; bold is missed.
"""

READ: Final = """
## With tags and without

All kinds together, pictures from takeaway to top. "Without tags" is what the body points alone
say of the same pictures; the chest's own turn is theirs only with tags.
"""

EACH: Final = """
## Player by player

Mean errors from takeaway to top; how much further than the ribs the chest card itself had turned at
the top; and the share of pictures that rest on a tag.
"""

CARDS: Final = """
## What the cards themselves do

A card rides on cloth and skin. So far it had turned more than its part (less: minus) from setup
to the top: no reader of tags, however good, can be nearer than that on one card.

Rendered cards ride on the bone and take along 0.3 of what the skin does beside it, and the cloth
slips by up to a few millimetres and degrees. The share is chosen, not measured on anybody. The
skin of the body model, left alone, would lag 9° behind the upper ribs at the breastbone and lead
the pelvis by 12° at the buckle in a full turn, because it is blended over long stretches of the
spine; a breastbone and a tight belt do not.
"""

SINGLE: Final = """
## Each tag on its own

Pictures in which nothing hides the tag, by how obliquely it is seen: how often it was found; how
often its corners alone tell which of the two attitudes of a square it has (the program also asks
the picture before and the other tags); and the median size of its error then.
"""

LIMITS: Final = """
## What this does not show

- Real cloth. Rendered shirts do not crease under a card, and cards are stiff and held at four
  corners.
- Shadows of the arms on the cards, rain, low sun in the lens, a camera that hunts for focus.
- Distance 2.2 to 4 m, the player filling 0.58 or more of the height of the picture, the camera
  within 10° of square. A badly known lens: see [print and wear tags](how-to/tags.md#how-exact).
- People who wear the cards elsewhere. Side cards sit here well to the front of the shirt's seam,
  looking about 50° aside: straight on the side, they come into view only when the lead arm has
  long covered the chest's.
- A set that nobody looked at: one fault was mended with the help of this one. Of a player of it
  (slow-770001) the side's card was read as its mirror image, and two hints that rested on that
  outweighed the corners. Before it was mended the chest's turn was off by 2.6, 1.2 and 4.8°, the
  pelvis by 2.9° in slow reps. Eleven players of an earlier set (750000 on), read before and after,
  are read alike: 2.6° slow, 3.0° and 1.6° at full speed.
"""
