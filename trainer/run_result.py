"""What a run of the mirror came to."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.core.records import Rep
from trainer.core.rules import Rules


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """What a run came to."""

    reps: tuple[Rep, ...]
    quit_asked: bool  #: the player closed the window or pressed quit
    frames: int  #: pictures the pose thread took
    dropped: int  #: pictures replaced by a newer one before it could
    delays_ms: tuple[float, ...]  #: picture stamp to cue decided, newest 600
    rules: Rules  #: as they stand at the end (handedness and pain may have been switched)
    first_run_asked: bool = False  #: it ended because the first run was asked for once more
