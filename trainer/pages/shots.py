"""Every page of the window, by name. A new page is one line in ``SHOTS`` and what makes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from trainer.core.practice_rules import CueSchedule, PracticeRules
from trainer.core.records import Handed, Source
from trainer.core.rod_check import RodReading, RodStage, RodState
from trainer.core.rules import Rules
from trainer.pages.first import FIRST
from trainer.pages.player import ADDRESS, TOP, Posture
from trainer.pages.practice import Practice
from trainer.ports import KeyAction, Listed, Look, View
from trainer.report.library import KEYS
from trainer.roster import announced

SHORT: Final = replace(TOP, arc_deg=95.0, turn_deg=55.0, head_cm=11.0, hips_cm=9.0)
NARROW: Final = replace(ADDRESS, stance_m=0.10, tilt_cm=-4.0)
HIP_HIGH: Final = Posture(arc_deg=52.0, turn_deg=30.0, hip_turn_deg=12.0)
LEFT: Final = Rules(handed=Handed.LEFT, stature_cm=175.0)
LIST: Final = Listed(
    title="Sessions of all players",
    head=("", "when", "player", "from", "whole reps"),
    rows=(
        ("", "2026-05-31 18:05", "Ann", "live", "24"),
        ("marked", "2026-05-29 17:40", "Ann", "live", "18"),
        ("", "2026-05-28 19:12", "Bo", "live", "31"),
        ("", "2026-05-24 18:22", "Ann", "clip", "6"),
        ("", "2026-05-20 17:58", "Bo", "live", "12"),
    ),
    chosen=2,
    foot=KEYS,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photograph: what the window is given, and which page of text lies over it."""

    make: Callable[[], View]
    page: str = ""
    focus: int | None = None  #: row of a page of choices that the keyboard is on
    stale: bool = False  #: no new pictures come


def _waiting() -> View:
    return Practice().stand(0.3).view()


def _backswing(rules: Rules | None = None) -> View:
    return Practice(rules).stand().go(TOP, 1.0, until=0.62).view()


def _at_top(rules: Rules | None = None) -> View:
    return Practice(rules).stand().go(TOP, 1.0).stand(0.1, TOP).view()


def _after(top: Posture, rules: Rules | None = None) -> View:
    return Practice(rules).rep(TOP).rep(top).view()


def _checkpoints() -> View:
    practice = Practice().press(KeyAction.CHECKPOINTS).stand(3.0)
    return practice.go(HIP_HIGH, 1.5).stand(1.0, HIP_HIGH).view(answer="")


def _guess() -> View:
    return Practice().press(KeyAction.GUESS_FIRST).rep(TOP).stand(0.5).view(answer="")


def _centred() -> View:
    practice = Practice().press(KeyAction.CENTRED).stand()
    return practice.go(TOP, 1.0, until=0.7).view(answer="")


def _on_your_own() -> View:
    rules = Rules(stature_cm=175.0, practice=PracticeRules(cues=CueSchedule.SILENT))
    return Practice(rules).stand().go(TOP, 1.0, until=0.7).view()


def _setup_check() -> View:
    return Practice().stand(2.0, NARROW).view()


def _rod(stage: RodStage, reading: RodReading | None = None) -> View:
    state = RodState(stage=stage, reading=reading)
    folded = replace(ADDRESS, folded=True, turn_deg=0.0 if stage is RodStage.START else 70.0)
    return Practice().stand(1.0, folded).view(rod=state, club=False, ball_line=None)


def _paused() -> View:
    up = replace(ADDRESS, hand_up=True)
    return Practice().press(KeyAction.PAUSE).stand(0.3, up).view(answer="", club=False)


def _lost() -> View:
    words = "camera 0 was lost. Check its cable. Trying again by itself."
    return Practice().stand(1.0).view(notices=(words,))


def _pain() -> View:
    return Practice().press(KeyAction.PAIN).stand().go(TOP, 1.0, until=0.5).view(answer="")


def _tags() -> View:
    view = _at_top()
    assert view.step is not None
    read = replace(
        view.step.measures,
        shoulder_turn_deg=86.0,
        shoulder_turn_se_deg=4.0,
        thorax_turn_deg=79.0,
        thorax_turn_se_deg=1.2,
        chest_extension_deg=27.6,
        chest_extension_se_deg=1.4,
        sources={
            "shoulder_turn_deg": Source.TAG_AND_POSE,
            "thorax_turn_deg": Source.TAG,
            "chest_extension_deg": Source.TAG,
        },
    )
    return replace(view, step=replace(view.step, measures=read))


def _large(view: View) -> View:
    return replace(view, look=Look(large_text=True))


def _next_player() -> View:
    rules = replace(LEFT, comfort_deg=80.0, ball_line_cm=3.0)
    return replace(_waiting(), announced=announced("Bo", rules))


def _note() -> View:
    practice = Practice().rep(TOP).stand(0.5)
    return practice.coach(KeyAction.NOTE, typed="head out, hips still at the top")


def _still() -> View:
    back = (KeyAction.LOOK_EARLIER,) * 12
    return Practice().rep(SHORT).coach(KeyAction.COACH_NOT_GOOD, KeyAction.LOOK_BACK, *back)


def _tops() -> View:
    practice = Practice().rep(TOP).press(KeyAction.THIS_ONE)
    return practice.rep(SHORT).coach(KeyAction.TOPS)


def _far(view: View) -> View:
    return replace(view, far=True)


SHOTS: Final = {
    "waiting": Shot(make=_waiting),
    "setup-check": Shot(make=_setup_check),
    "ball-line": Shot(make=lambda: Practice().stand().view()),
    "backswing": Shot(make=_backswing),
    "top": Shot(make=_at_top),
    "result-good": Shot(make=lambda: _after(TOP)),
    "result-off": Shot(make=lambda: _after(SHORT)),
    "kinds": Shot(make=_waiting, page="kinds", focus=3),
    "checkpoints": Shot(make=_checkpoints),
    "guess-first": Shot(make=_guess),
    "stay-centred": Shot(make=_centred),
    "on-your-own": Shot(make=_on_your_own),
    "rod-check": Shot(make=lambda: _rod(RodStage.TURN)),
    "rod-reading": Shot(
        make=lambda: _rod(RodStage.DONE, RodReading(read_deg=86.0, se_deg=4.0)),
    ),
    "tags": Shot(make=_tags),
    "sessions": Shot(make=lambda: replace(_waiting(), listed=LIST)),
    "filming": Shot(make=lambda: replace(_backswing(), filming=True)),
    "paused": Shot(make=_paused),
    "camera-lost": Shot(make=_lost, stale=True),
    "opening": Shot(make=lambda: replace(_waiting(), image_rgb=None, step=None)),
    "caution": Shot(make=_waiting, page="caution"),
    "pain": Shot(make=_pain, page="pain"),
    "after-pain": Shot(make=_pain),
    "keys": Shot(make=_waiting, page="help"),
    "signs": Shot(make=_waiting, page="signs"),
    "left-handed-backswing": Shot(make=lambda: _backswing(LEFT)),
    "left-handed-result": Shot(make=lambda: _after(SHORT, LEFT)),
    "large-text-backswing": Shot(make=lambda: _large(_backswing())),
    "large-text-result": Shot(make=lambda: _large(_after(SHORT))),
    "next-player": Shot(make=_next_player),
    "note": Shot(make=_note),
    "rep-standing-still": Shot(make=_still),
    "two-tops": Shot(make=_tops),
    "across-the-room-backswing": Shot(make=lambda: _far(_backswing())),
    "across-the-room-result": Shot(make=lambda: _far(_after(SHORT))),
    "across-the-room-after-pain": Shot(make=lambda: _far(_pain())),
    **{name: Shot(make=make) for name, make in FIRST.items()},
    "tones-only": Shot(make=lambda: replace(_after(SHORT), look=Look(figures=False))),
}
