"""Which key means what; nothing drawn. A presenter's clicker sends keys too."""

from __future__ import annotations

from typing import Any

from trainer.ports import Guide, GuidePage, KeyAction

#: Keys of the page of kinds, after which it stays open: each press shows what it did.
STAYS = frozenset({KeyAction.NEXT_CUES, KeyAction.GUESS_FIRST})


def action_of(pygame: Any, event: Any, *, page: str, handed_left: bool) -> KeyAction | None:  # noqa: ANN401
    """Return what a pressed key asks for while ``page`` lies over the mirror ("": none)."""
    if event.mod & (pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META):
        return None
    letter = getattr(event, "unicode", "")  # where "+" and "?" lie differs from land to land
    if letter in _LETTERS:
        return _LETTERS[letter]
    if event.key == pygame.K_n:
        back = event.mod & pygame.KMOD_SHIFT
        return KeyAction.PREVIOUS_PLAYER if back else KeyAction.NEXT_PLAYER
    if event.key in (pygame.K_LEFT, pygame.K_RIGHT):
        # The mirror shows "away from the target" on the right for a right-hander.
        away = (event.key == pygame.K_RIGHT) != handed_left
        return KeyAction.LINE_AWAY if away else KeyAction.LINE_TOWARD
    if event.key == pygame.K_ESCAPE:
        # A clicker sends it as easily as any other; it first takes a page away.
        return None if page else KeyAction.QUIT
    if event.key == pygame.K_SPACE:
        return None if page else KeyAction.LOOK_BACK  # many press it to take a page away
    numbers = (pygame.K_1, pygame.K_2, pygame.K_3, pygame.K_4, pygame.K_5)
    if event.key in numbers:
        row = numbers.index(event.key)
        if page == "kinds":
            return _KINDS[row]
        return _GUESSES[row] if row < len(_GUESSES) else None
    return {
        pygame.K_f: KeyAction.FULL_SCREEN,
        pygame.K_r: KeyAction.NEW_SETUP,
        pygame.K_h: KeyAction.SWITCH_HANDED,
        pygame.K_m: KeyAction.MUTE,
        pygame.K_v: KeyAction.VOLUME,
        pygame.K_p: KeyAction.PAIN,
        pygame.K_t: KeyAction.THIS_ONE,
        pygame.K_o: KeyAction.OWN_TOP,
        pygame.K_x: KeyAction.COMFORT,
        pygame.K_c: KeyAction.ROD_CHECK,
        pygame.K_e: KeyAction.REPORT,
        pygame.K_i: KeyAction.FILM,
        pygame.K_l: KeyAction.SESSIONS,
        pygame.K_k: KeyAction.KINDS,
        pygame.K_s: KeyAction.NEXT_CUES,
        pygame.K_g: KeyAction.GUESS_FIRST,
        pygame.K_y: KeyAction.SILENT_CHECK,
        pygame.K_j: KeyAction.GESTURES,
        pygame.K_b: KeyAction.PAUSE,
        pygame.K_w: KeyAction.NOTE,
        pygame.K_u: KeyAction.TOPS,
        pygame.K_a: KeyAction.ADJUST,
        pygame.K_UP: KeyAction.MORE,
        pygame.K_DOWN: KeyAction.LESS,
        pygame.K_d: KeyAction.FAR,
        pygame.K_PERIOD: KeyAction.PAUSE,  # what some clickers send for a dark screen
        pygame.K_PAGEDOWN: KeyAction.NEXT_KIND,
        pygame.K_PAGEUP: KeyAction.PREVIOUS_KIND,
        pygame.K_F1: KeyAction.HELP,
        pygame.K_F2: KeyAction.PLACEMENT,
        pygame.K_F3: KeyAction.FIRST_RUN,
        pygame.K_F4: KeyAction.CAUTION,
        pygame.K_q: KeyAction.QUIT,
    }.get(event.key)


#: What the mirror still answers to while the placement page lies over it.
OVER_PLACEMENT = frozenset(
    {
        KeyAction.PAIN,
        KeyAction.SWITCH_HANDED,
        KeyAction.MUTE,
        KeyAction.VOLUME,
        KeyAction.FULL_SCREEN,
        KeyAction.HELP,
        KeyAction.PLACEMENT,
        KeyAction.FIRST_RUN,
        KeyAction.CAUTION,
        KeyAction.QUIT,
    }
)


def guide_action(pygame: Any, key: int, guide: Guide) -> KeyAction | None:  # noqa: ANN401
    """Return what a key means while a page of the first run or the placement guide is shown."""
    meant: dict[int, KeyAction] = {
        pygame.K_RETURN: KeyAction.GUIDE_ON,
        pygame.K_KP_ENTER: KeyAction.GUIDE_ON,
        pygame.K_PAGEDOWN: KeyAction.GUIDE_ON,
        pygame.K_ESCAPE: KeyAction.GUIDE_LEAVE,
    }
    if guide.page is GuidePage.PLACEMENT:  # see ``OVER_PLACEMENT`` for the rest
        return meant.get(key)
    meant |= {
        pygame.K_PAGEUP: KeyAction.GUIDE_BACK,
        pygame.K_UP: KeyAction.GUIDE_PREVIOUS,
        pygame.K_DOWN: KeyAction.GUIDE_NEXT,
        pygame.K_LEFT: KeyAction.GUIDE_PREVIOUS,
        pygame.K_RIGHT: KeyAction.GUIDE_NEXT,
    }
    if guide.entry is None:
        meant |= {
            pygame.K_SPACE: KeyAction.GUIDE_ON,
            pygame.K_BACKSPACE: KeyAction.GUIDE_BACK,
            pygame.K_f: KeyAction.FULL_SCREEN,
            pygame.K_q: KeyAction.QUIT,
        }
    return meant.get(key)


def look_action(pygame: Any, key: int, *, two: bool) -> KeyAction | None:  # noqa: ANN401
    """Return what a key means while the last rep is shown, or ``two`` tops; None: as ever."""
    if key == pygame.K_ESCAPE:
        return KeyAction.TOPS if two else KeyAction.LOOK_BACK
    return {
        pygame.K_LEFT: KeyAction.LOOK_EARLIER,
        pygame.K_RIGHT: KeyAction.LOOK_LATER,
        pygame.K_UP: KeyAction.LOOK_BEFORE,
        pygame.K_DOWN: KeyAction.LOOK_AFTER,
    }.get(key)


def letter_of(pygame: Any, event: Any) -> str:  # noqa: ANN401
    r"""Return what a pressed key adds to a line: a letter, "\b", "\n", "\x1b" or nothing."""
    ends = {
        pygame.K_BACKSPACE: "\b",
        pygame.K_RETURN: "\n",
        pygame.K_KP_ENTER: "\n",
        pygame.K_ESCAPE: "\x1b",
    }
    letter: str = ends.get(event.key) or getattr(event, "unicode", "")
    return letter if event.key in ends or letter.isprintable() else ""


_KINDS = (
    KeyAction.FREE,
    KeyAction.CHECKPOINTS,
    KeyAction.TURN_ONLY,
    KeyAction.CENTRED,
    KeyAction.LADDER,
)
_LETTERS = {
    "?": KeyAction.HELP,
    "+": KeyAction.COACH_GOOD,
    "-": KeyAction.COACH_NOT_GOOD,
}
_GUESSES = (KeyAction.GUESS_SHORT, KeyAction.GUESS_THERE, KeyAction.GUESS_PAST)
