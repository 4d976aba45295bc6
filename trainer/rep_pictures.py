"""Films reps when the player asks for it: the last seconds of pictures, and a clip of each rep.

The pose thread only hands pictures on. One thread makes them small and keeps the last seconds in
memory, another puts a rep's clip on the disk. Neither is ever waited for: what they cannot take in
time is left out, and said. There is no sound in it, for none is ever listened to.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from trainer.core.records import Frame, Rep
from trainer.errors import TrainerError
from trainer.store.pictures import clip_name, pictures_dir, sha256_of
from trainer.store.records import KeptPictures
from trainer.store.writer import RepWriter
from trainer.words import FILMING_ENDED, FILMING_NOW, NO_PICTURES

#: From so long before the takeaway to so long after the top, and no longer together than this.
BEFORE_S: Final = 1.0
AFTER_S: Final = 1.5
MOST_S: Final = 6.0
#: Of a quicker camera some pictures are left out.
MOST_HZ: Final = 30
_FEWEST_HZ: Final = 5
#: Held in memory: a whole clip, and what comes in while its end is waited for.
_HELD_S: Final = MOST_S + 1.0
_HELD_BYTES: Final = 24 << 20
#: Pictures at full size that may wait to be made small (2.8 MB each at 1280 by 720).
_WAITING: Final = 6
#: Clips that may wait to be written, besides the one that is.
_CLIPS_WAITING: Final = 2
#: Between two pictures of a clip the writing thread rests, so that the pose has the machine.
_REST_S: Final = 0.004
#: No pictures come any more: the clip ends with those there are.
_PATIENCE_S: Final = 3.0
#: So great a share of a clip's pictures left out is said.
_HOLES: Final = 0.2
_CLOSE_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class _Small:
    t_s: float
    size_wh: tuple[int, int]
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A rep whose pictures are wanted, from when to when on the source's clock."""

    session_uid: str
    number: int
    from_s: float
    to_s: float
    top_s: float


class RepPictures:
    """Films while ``on``. ``see`` and ``keep`` are called from the pose thread, the rest from main.

    Nothing it does raises or waits, but ``close``. ``trouble`` says in plain words what was left
    out. Where recording was never switched on, no thread is begun.
    """

    # NB: ``on`` is rebound by the main thread alone, ``_trouble`` by the threads of this object,
    # each time as a whole; ``_missed_s`` is added to by the pose thread and counted by another.

    def __init__(self, writer: RepWriter, *, on: bool = False, budget_mb: float = 2000.0) -> None:
        """Put clips beside the record that ``writer`` writes, ``budget_mb`` of them at most.

        ``on``: film from the start, every player; else each is asked anew by the key.
        """
        self.on = False
        self._always = on
        self.folder: Path = pictures_dir(writer.path)
        self._writer, self._most_bytes = writer, round(budget_mb * 1e6)
        self._trouble = ""
        self._queue: queue.SimpleQueue[Frame | _Wanted | _Stop] = queue.SimpleQueue()
        self._clips: queue.Queue[tuple[_Wanted, list[_Small]] | None] = queue.Queue(_CLIPS_WAITING)
        self._threads: list[threading.Thread] = []
        self._closing = threading.Event()
        self._due_s = float("-inf")
        self._missed_s: deque[float] = deque(maxlen=400)
        self._ring: deque[_Small] = deque()
        self._ring_bytes = 0
        self._wanted: list[_Wanted] = []
        if on:
            self.switch()

    @property
    def trouble(self) -> str:
        """Return what was left out, in plain words; empty while all is well."""
        return self._trouble

    def switch(self) -> str:
        """Begin to film, or end; return words for the player."""
        if self.on:
            self.on = False
            self._queue.put(_Stop(over=False))
            return FILMING_ENDED
        if not self._threads:
            self._threads = [
                threading.Thread(target=job, name=name, daemon=True)
                for name, job in (("small pictures", self._gather), ("clips", self._write))
            ]
            for thread in self._threads:
                thread.start()
        self.on = True
        return FILMING_NOW

    def next_player(self) -> None:
        """End what the key began: who has not been asked is not filmed."""
        if self.on and not self._always:
            self.switch()

    def see(self, frame: Frame) -> None:
        """Take one picture in."""
        step_s = 1.0 / MOST_HZ
        if not self.on or frame.t_s < self._due_s - step_s / 4:  # a camera's steps are uneven
            return
        self._due_s = max(self._due_s, frame.t_s - step_s) + step_s
        if self._queue.qsize() >= _WAITING:
            self._missed_s.append(frame.t_s)
        else:
            self._queue.put(frame)

    def keep(self, rep: Rep, session_uid: str) -> None:
        """Keep the pictures round ``rep``, which has just ended, if it is whole."""
        if not self.on or not rep.complete or rep.top_t_s is None or rep.top_end_t_s is None:
            return
        to_s = rep.top_end_t_s + AFTER_S
        self._queue.put(
            _Wanted(
                session_uid,
                rep.number,
                max(rep.takeaway_t_s - BEFORE_S, to_s - MOST_S),
                to_s,
                (rep.top_t_s + rep.top_end_t_s) / 2,
            )
        )

    def close(self) -> None:
        """Write what is left; wait at most some seconds. Safe to call twice."""
        self.on = False
        self._closing.set()
        if any(thread.is_alive() for thread in self._threads):
            self._queue.put(_Stop(over=True))
            for thread in self._threads:
                thread.join(timeout=_CLOSE_S)
            if any(thread.is_alive() for thread in self._threads):
                self._trouble = "The disk is too slow: not every clip was written."

    def _gather(self) -> None:
        """Make pictures small and hold the last seconds; the first thread."""
        over = False
        while not over:
            try:
                item = self._queue.get(timeout=_PATIENCE_S if self._wanted else None)
            except queue.Empty:
                self._cut(float("inf"))
                continue
            try:
                if isinstance(item, Frame):
                    self._hold(item)
                    self._cut(item.t_s)
                elif isinstance(item, _Wanted):
                    self._wanted.append(item)
                    self._cut(self._ring[-1].t_s if self._ring else float("-inf"))
                else:
                    over = item.over
                    self._cut(float("inf"))
                    self._ring.clear()
                    self._ring_bytes = 0
            except Exception as error:
                # A fault of ours costs pictures, not the player the practice.
                self._trouble = f"Pictures were left out: {type(error).__name__}: {error}"
        self._clips.put(None)

    def _hold(self, frame: Frame) -> None:
        from trainer.adapters.rep_clip import small_jpeg

        jpeg, size_wh = small_jpeg(frame.image_rgb)
        self._ring.append(_Small(frame.t_s, size_wh, jpeg))
        self._ring_bytes += len(jpeg)
        while self._ring_bytes > _HELD_BYTES or frame.t_s - self._ring[0].t_s > _HELD_S:
            self._ring_bytes -= len(self._ring.popleft().jpeg)

    def _cut(self, now_s: float) -> None:
        """Hand on the clips whose end has come."""
        for wanted in [one for one in self._wanted if one.to_s <= now_s]:
            self._wanted.remove(wanted)
            part = [one for one in self._ring if wanted.from_s <= one.t_s <= wanted.to_s]
            # A camera that changed its picture's size: what came last is nearest to the top.
            part = [one for one in part if one.size_wh == part[-1].size_wh]
            missed = sum(wanted.from_s <= t_s <= wanted.to_s for t_s in list(self._missed_s))
            if len(part) < 2:
                self._trouble = f"Rep {wanted.number} was not filmed: no pictures of it were held."
                continue
            if missed > _HOLES * (missed + len(part)):
                self._trouble = (
                    f"The machine is too slow to film: {missed} of {missed + len(part)} pictures "
                    f"of rep {wanted.number} are left out."
                )
            try:
                # At the end each clip is waited for; before, none is.
                self._clips.put((wanted, part), block=self._closing.is_set(), timeout=_CLOSE_S)
            except queue.Full:
                self._trouble = f"The disk is too slow: rep {wanted.number} was not filmed."

    def _write(self) -> None:
        """Put clips on the disk; the second thread."""
        while True:
            item = self._clips.get()
            if item is None:
                return
            try:
                self._writer.put_pictures(self._clip(*item), self._most_bytes)
            except TrainerError as error:
                self._trouble = f"Rep {item[0].number} was not filmed: {error}"
            except Exception as error:
                self._trouble = (
                    f"Rep {item[0].number} was not filmed: {type(error).__name__}: {error}"
                )

    def _clip(self, wanted: _Wanted, part: list[_Small]) -> KeptPictures:
        from trainer.adapters.rep_clip import write_clip

        target = self.folder / clip_name(wanted.session_uid, wanted.number)
        first_s, length_s = part[0].t_s, part[-1].t_s - part[0].t_s
        rate_hz = min(max(round((len(part) - 1) / length_s), _FEWEST_HZ), MOST_HZ)
        # A clip takes an eighth of its JPEG pictures, with a grainy camera up to half.
        likely = sum(len(one.jpeg) for one in part) // 2
        frames = write_clip(target, self._even(part, rate_hz), part[0].size_wh, rate_hz, likely)
        return KeptPictures(
            session_uid=wanted.session_uid,
            number=wanted.number,
            bytes=target.stat().st_size,
            sha256=sha256_of(target),
            width_px=part[0].size_wh[0],
            height_px=part[0].size_wh[1],
            rate_hz=rate_hz,
            frames=frames,
            top_frame=min(max(round((wanted.top_s - first_s) * rate_hz), 0), frames - 1),
        )

    def _even(self, part: list[_Small], rate_hz: int) -> Iterator[bytes]:
        """Yield the pictures at even steps, so that the clip plays as fast as it was.

        Each is the nearest in time; where some were left out one stands a little longer.
        """
        at, slots = 0, round((part[-1].t_s - part[0].t_s) * rate_hz) + 1
        for slot in range(slots):
            t_s = part[0].t_s + slot / rate_hz
            while at + 1 < len(part) and abs(part[at + 1].t_s - t_s) <= abs(part[at].t_s - t_s):
                at += 1
            self._closing.wait(_REST_S)
            yield part[at].jpeg


def switch_filming(pictures: RepPictures | None) -> str:
    """Begin to film, or end, where reps are kept; return words for the player."""
    return NO_PICTURES if pictures is None else pictures.switch()


@dataclass(frozen=True, slots=True)
class _Stop:
    """Filming ends; with ``over`` for good."""

    over: bool
