"""What the mirror tells of itself while it runs, the most pressing first."""

from __future__ import annotations

from collections.abc import Iterable

from trainer.model_match import OTHER_MODEL
from trainer.shared import Shared
from trainer.words import LOADING_MODEL, NO_SOUND, SOUND_OFF


def notices(
    shared: Shared,
    *,
    camera: str,
    loading: bool,
    audible: bool,
    muted: bool,
    troubles: Iterable[str],
) -> tuple[str, ...]:
    """Return the status lines; ``camera`` is what the source says, ``troubles`` what is not kept.

    ``loading``: the pose model has not come yet.
    """
    found = [camera, LOADING_MODEL if loading else "", shared.who, *shared.about_tags]
    if shared.step is not None:
        found.extend(shared.step.notices)
    found.append(shared.closed)
    if shared.rules.se_factor > 1.0:
        found.append(OTHER_MODEL)
    if not audible:
        found.append(NO_SOUND)
    elif muted:
        found.append(SOUND_OFF)
    found.extend(troubles)
    return tuple(words for words in found if words)
