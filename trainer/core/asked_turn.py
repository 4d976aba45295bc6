"""Which turn the target is about: the shoulder line's, or with printed tags the rib cage's."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from trainer.core.practice_rules import TurnOf
from trainer.core.records import Measures
from trainer.core.rules import CueRules

#: The shoulder line turns so many times as far as the rib cage, because the lead shoulder slides
#: forward on it. On 634 rendered people's backswings 1.106; one person's differed from the rest by
#: 0.04 (standard deviation at the top). Real shoulders surely differ more, so more is told: at a
#: rib cage turned by 82 degrees the line is 9 more, give or take 4.5.
LINE_PER_CHEST: Final = 1.11
LINE_PER_CHEST_SE: Final = 0.055


def asked(now: Measures, rules: CueRules) -> Measures:
    """Return ``now`` with the turn that is asked for in the place of the shoulder turn."""
    if rules.turn_of is not TurnOf.CHEST:
        return now
    return replace(
        now,
        shoulder_turn_deg=now.thorax_turn_deg,
        shoulder_turn_se_deg=now.thorax_turn_se_deg,
    )
