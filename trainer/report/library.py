"""The list of kept sessions over the mirror: look through it, open a report, compare two."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Final

from trainer.core.compare import Average
from trainer.errors import StoreError
from trainer.ports import KeyAction, Listed
from trainer.report.chosen import SessionReps
from trainer.report.desk import ReportDesk
from trainer.report.measured import ASKED, average_of, shown
from trainer.report.wording import average_words, change_words
from trainer.store.content import Store
from trainer.store.file import open_store
from trainer.store.records import SessionLine

#: So many newest sessions are listed, of one player or of all.
MOST: Final = 200
#: How long an answer stands in the mirror's line.
ANSWER_S: Final = 8.0
KEYS: Final = (
    "up, down: choose   ·   left, right: player   ·   Enter: report   ·   "
    "Space: mark, two are compared   ·   L: close"
)
_COMPARED_KEYS: Final = "Enter: report with both   ·   Space: back to the list   ·   L: close"
_MINE: Final = frozenset(
    {
        KeyAction.REPORT,
        KeyAction.SESSIONS,
        KeyAction.LIST_UP,
        KeyAction.LIST_DOWN,
        KeyAction.LIST_PREVIOUS,
        KeyAction.LIST_NEXT,
        KeyAction.LIST_MARK,
        KeyAction.LIST_OPEN,
    }
)


class Library:
    """What of the record is shown over the mirror. Used from the main thread.

    The record is read when a key asks for it, and closed again.
    """

    def __init__(
        self,
        player: str,
        *,
        desk: ReportDesk | None = None,
        opened: Callable[[], AbstractContextManager[Store]] = open_store,
    ) -> None:
        self.player = player  #: whose report the report key makes
        self._desk = ReportDesk() if desk is None else desk
        self._opened = opened
        self._only: str | None = None
        self._lines: list[SessionLine] = []
        self._chosen = 0
        self._marked: list[SessionLine] = []
        self._compared: tuple[SessionLine, SessionLine] | None = None
        self._words = ""
        self._said: tuple[str, float] = ("", float("-inf"))
        self.listed: Listed | None = None  #: what is to be shown now; None: nothing

    def take(self, action: KeyAction, now_s: float) -> bool:
        """Do what ``action`` asks for; return False for one that is none of the list's."""
        if action not in _MINE:
            return False
        try:
            self._do(action, now_s)
        except StoreError as error:
            self._tell(str(error), now_s)
        return True

    def answer(self, now_s: float) -> str:
        """Return what to say in the mirror's line now; empty for nothing."""
        news = self._desk.news()
        if news:
            self._tell(news, now_s)
        words, said_s = self._said
        return words if now_s - said_s < ANSWER_S else ""

    def _do(self, action: KeyAction, now_s: float) -> None:
        if action is KeyAction.REPORT:
            name = f"report-{self.player}"
            self._tell(self._desk.ask(self.player, "last", name=name), now_s)
        elif action is KeyAction.SESSIONS:
            if self.listed is None:
                self._open()
            else:
                self.listed = None
        elif self.listed is None:
            return
        elif action is KeyAction.LIST_OPEN:
            self._report(now_s)
        elif action is KeyAction.LIST_MARK:
            self._mark(now_s)
        elif self._compared is None:
            self._move(action)

    def _open(self) -> None:
        self._only, self._chosen, self._marked, self._compared = None, 0, [], None
        self._words = ""
        self._read()

    def _read(self) -> None:
        with self._opened() as store:
            self._lines = store.sessions(self._only, most=MOST)
        self._show_list()

    def _move(self, action: KeyAction) -> None:
        self._words = ""
        if action in (KeyAction.LIST_PREVIOUS, KeyAction.LIST_NEXT):
            with self._opened() as store:
                names: list[str | None] = [None, *store.players()]
            at = names.index(self._only) if self._only in names else 0
            step = 1 if action is KeyAction.LIST_NEXT else -1
            self._only, self._chosen = names[(at + step) % len(names)], 0
            self._read()
            return
        step = 1 if action is KeyAction.LIST_DOWN else -1
        self._chosen = min(max(self._chosen + step, 0), max(len(self._lines) - 1, 0))
        self._show_list()

    def _mark(self, now_s: float) -> None:
        self._words = ""
        if self._compared is not None:
            self._compared, self._marked = None, []
        elif self._lines:
            line = self._lines[self._chosen]
            if any(line.session.uid == one.session.uid for one in self._marked):
                self._marked = []
            elif self._marked and self._marked[0].session.player != line.session.player:
                self._tell("Two sessions of one player can be compared", now_s)
                return
            else:
                self._marked.append(line)
        if len(self._marked) == 2:
            older, newer = sorted(self._marked, key=lambda one: one.session.began)
            self._compared = older, newer
            self._show_compared(older, newer)
        else:
            self._show_list()

    def _report(self, now_s: float) -> None:
        if self._compared is not None:
            older, newer = self._compared
        elif self._lines:
            older, newer = None, self._lines[self._chosen]
        else:
            return
        session = newer.session
        name = f"report-{session.player}-{session.began:%Y-%m-%d-%H%M%S}"
        against = None if older is None else older.session.uid
        self._tell(self._desk.ask(session.player, session.uid, name=name, against=against), now_s)

    def _tell(self, words: str, now_s: float) -> None:
        self._said, self._words = (words, now_s), words
        if self.listed is not None:
            self._show_again()

    def _show_again(self) -> None:
        if self._compared is None:
            self._show_list()
        elif self.listed is not None:
            kept = self.listed
            self.listed = Listed(
                title=kept.title,
                head=kept.head,
                rows=kept.rows,
                chosen=None,
                foot=self._words or _COMPARED_KEYS,
            )

    def _show_list(self) -> None:
        marked = {one.session.uid for one in self._marked}
        self.listed = Listed(
            title="Sessions of " + ("all players" if self._only is None else self._only),
            head=("", "when", "player", "from", "whole reps"),
            rows=tuple(
                (
                    "marked" if line.session.uid in marked else "",
                    f"{line.session.began:%Y-%m-%d %H:%M}",
                    line.session.player,
                    line.session.kind.value,
                    str(line.reps),
                )
                for line in self._lines
            ),
            chosen=self._chosen if self._lines else None,
            foot=self._words or KEYS,
        )

    def _show_compared(self, older: SessionLine, newer: SessionLine) -> None:
        with self._opened() as store:
            before, after = (
                SessionReps(session=one.session, reps=tuple(store.reps_of(one.session)))
                for one in (older, newer)
            )
        measures = shown(ASKED, [*before.reps, *after.reps])
        found: list[tuple[Average | None, Average | None]] = [
            (average_of(one, before.whole), average_of(one, after.whole)) for one in measures
        ]
        self.listed = Listed(
            title=f"{newer.session.player}: two sessions",
            head=(
                "average",
                f"{older.session.began:%Y-%m-%d %H:%M}",
                f"{newer.session.began:%Y-%m-%d %H:%M}",
                "difference",
            ),
            rows=tuple(
                (
                    one.title,
                    average_words(one, first),
                    average_words(one, second),
                    change_words(one, first, second),
                )
                for one, (first, second) in zip(measures, found, strict=True)
            ),
            chosen=None,
            foot=_COMPARED_KEYS,
        )
