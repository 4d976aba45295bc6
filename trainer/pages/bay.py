"""The coach's bay, photographed: the next player, a note, the last rep standing still, two tops."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from trainer.core import look_back
from trainer.core.bay_words import (
    LOOK_KEYS,
    NOTE_KEYS,
    TOPS_KEYS,
    note_words,
    rep_words,
    top_words,
    tops_words,
    turn_lines,
)
from trainer.core.look_back import Track
from trainer.pages.player import TOP, Posture
from trainer.pages.practice import Practice
from trainer.ports import Announced, View, Writing

PLAYER: Final = "Ann"


def next_player() -> View:
    """Return the view while the next player's name is shown."""
    lines = turn_lines("left", 80.0, 5.0, 4.0, ())
    return Practice().stand(0.3).view(announced=Announced(name="Bo", lines=lines))


def writing(top: Posture) -> View:
    """Return the view while a note is written on the last rep."""
    practice = Practice().rep(top)
    title = note_words(rep_words(PLAYER, 1))
    return practice.view(
        writing=Writing(title=title, text="hips first, then the head", foot=NOTE_KEYS)
    )


def standing_still(top: Posture) -> View:
    """Return the view of the last rep at its top."""
    practice = Practice().rep(top)
    track = _track(practice)
    title = rep_words(PLAYER, track.rep.number)
    looked = look_back.standing(track, look_back.top_row(track), title, LOOK_KEYS)
    return practice.view(looked=looked)


def two_tops(top: Posture) -> View:
    """Return the view of the last rep's top beside the reference's."""
    practice = Practice().rep(TOP)
    reference = _track(practice)
    track = _track(practice.rep(top))
    mine = look_back.top_figure(track, top_words(track.rep.number))
    its = look_back.top_figure(reference, top_words(reference.rep.number, reference=True))
    at_top, its_top = track.rep.at_top, reference.rep.at_top
    assert mine is not None
    assert its is not None
    assert at_top is not None
    assert its_top is not None
    title = tops_words(rep_words(PLAYER, track.rep.number))
    looked = look_back.side_by_side(mine, at_top, its, its_top, title=title, foot=TOPS_KEYS)
    return practice.view(looked=looked)


def across_the_room(view: View) -> View:
    """Return the same, very large."""
    return replace(view, far=True)


def _track(practice: Practice) -> Track:
    track = practice.track
    assert track is not None
    return track
