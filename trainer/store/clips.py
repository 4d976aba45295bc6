"""Reps of clips that were measured, filed under a player."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from trainer.core.records import Rep, Step
from trainer.core.rules import Rules
from trainer.core.setup import Reference
from trainer.core.summary import words_for
from trainer.errors import CameraError
from trainer.store.gather import Gatherer
from trainer.store.keeper import Made, new_session
from trainer.store.records import KeptRep, KeptSession, Kind, Motion


@dataclass(slots=True, kw_only=True)
class ClipReps:
    """Gathers the reps of one clip while it is measured."""

    session: KeptSession
    found: list[tuple[KeptRep, Motion]] = field(default_factory=list)
    _gatherer: Gatherer = field(default_factory=Gatherer)

    def follow(self, step: Step, reference: Reference | None) -> None:
        """Take one step in, with the setup it was measured against."""
        self._gatherer.follow(step, reference)

    def add(self, rep: Rep, rules: Rules) -> None:
        """Take the rep in that has just ended."""
        end_s = rep.top_end_t_s or rep.top_t_s or rep.takeaway_t_s
        finished = self._gatherer.finished(
            rep,
            rules,
            words_for(rep, rules),
            session=self.session,
            ended=self.session.began + timedelta(seconds=end_s),
        )
        self.found.append(finished.worked_out())


def clip_session(clip: Path, player: str, *, model: str, model_fitted: bool) -> KeptSession:
    """Return the session of a clip; it began when its file was last written.

    Raises CameraError when the file cannot be read.
    """
    try:
        written = datetime.fromtimestamp(clip.stat().st_mtime).astimezone()
    except OSError as error:
        raise _unread(clip, error) from None
    made = Made(kind=Kind.CLIP, source=clip.name, model=model, model_fitted=model_fitted)
    return new_session(player, made, written, clip_sha256=clip_print(clip))


def clip_print(clip: Path) -> str:
    """Return the SHA-256 of a clip's bytes: the same clip under any name, in any folder.

    Raises CameraError when the file cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with clip.open("rb") as file:
            while part := file.read(1 << 20):
                digest.update(part)
    except OSError as error:
        raise _unread(clip, error) from None
    return digest.hexdigest()


def _unread(clip: Path, error: OSError) -> CameraError:
    return CameraError(
        f"{clip} could not be read ({error.strerror or error}). A video file was wanted. "
        "Check its name and permissions."
    )
