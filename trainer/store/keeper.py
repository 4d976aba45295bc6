"""Keeps the reps of one player after another while the mirror runs."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from trainer import __version__
from trainer.core.records import Frame, Rep, Step
from trainer.core.rules import Rules
from trainer.core.setup import Reference
from trainer.core.summary import RepWords
from trainer.rep_pictures import RepPictures
from trainer.store.gather import FinishedRep, Gatherer
from trainer.store.records import KeptSession, Kind, RepWord
from trainer.store.writer import RepWriter


def now() -> datetime:
    """Return the time by the machine's clock, with its offset from UTC."""
    return datetime.now().astimezone()


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """How a session's reps are made: what is the same for all of them."""

    kind: Kind
    source: str  #: the camera's or the clip's name
    model: str = "standard"  #: the pose model's file name
    model_fitted: bool = True


def new_session(
    player: str, made: Made, began: datetime, *, clip_sha256: str | None = None
) -> KeptSession:
    """Return a session of its own, by a number no other has."""
    return KeptSession(
        uid=uuid.uuid4().hex,
        player=player,
        began=began,
        kind=made.kind,
        source=made.source,
        model=made.model,
        model_fitted=made.model_fitted,
        program=__version__,
        clip_sha256=clip_sha256,
    )


class RepKeeper:
    """Follows the steps and hands each finished rep to the writer. Used from the pose thread.

    ``is_kept``, ``tell`` and ``trouble`` may be used by any thread.
    """

    def __init__(
        self,
        player: str,
        made: Made,
        writer: RepWriter | None,
        *,
        pictures: RepPictures | None = None,
        clock: Callable[[], datetime] = now,
    ) -> None:
        """Begin a session of ``player``; without a ``writer`` nothing of it is kept.

        ``pictures`` films its reps, while it is on.
        """
        self._made, self._writer, self._clock = made, writer, clock
        self._pictures = pictures
        self._gatherer = Gatherer()
        self._session = new_session(player, made, clock())

    @property
    def keeps(self) -> bool:
        """Tell whether anything is kept."""
        return self._writer is not None

    def anew(self) -> RepKeeper:
        """Return what keeps the reps of the same player in another session, begun now."""
        player, made, pictures = self._session.player, self._made, self._pictures
        return RepKeeper(player, made, self._writer, pictures=pictures, clock=self._clock)

    @property
    def trouble(self) -> str:
        """Return what could not be kept, in plain words; empty while all is well."""
        return "" if self._writer is None else self._writer.trouble

    def see(self, frame: Frame) -> None:
        """Take a picture in, for reps that are filmed; costs nothing while none are."""
        if self._pictures is not None:
            self._pictures.see(frame)

    def follow(self, step: Step, reference: Reference | None) -> None:
        """Take one step in, with the setup it was measured against."""
        self._gatherer.follow(step, reference)

    def keep(self, rep: Rep, rules: Rules, verdict: RepWords, *, cues_heard: bool) -> FinishedRep:
        """Hand on the rep that has just ended; return all that it leaves behind."""
        finished = self._gatherer.finished(
            rep,
            rules,
            verdict,
            session=self._session,
            ended=self._clock(),
            cues_heard=cues_heard,
        )
        if self._writer is not None:
            self._writer.put(finished)
        if self._pictures is not None:
            self._pictures.keep(rep, self._session.uid)
        return finished

    def tell(self, rep: Rep, what: str, said: bool | str | None) -> bool:
        """Hand on what was said of ``rep`` after it ended (``RepWord``).

        Returns False where nothing is kept.
        """
        if self._writer is None:
            return False
        self._writer.put(
            RepWord(session_uid=self._session.uid, number=rep.number, what=what, said=said)
        )
        return True

    def is_kept(self, rep: Rep) -> bool:
        """Tell whether the rep is on the disk."""
        return self._writer is not None and self._writer.is_kept(self._session.uid, rep.number)
