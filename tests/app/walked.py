"""Rendered sessions played through the app: what the pose model read of them, and their truth.

The traces hold every reading of a rendered session and nothing that was decided from them
(``python -m trainer.lab render`` and ``walked`` made them). They go the live mirror's own way: its
pose thread, engine, sounder, record and report; camera, model, loudspeaker and window stand in.
"""

import json
import lzma
import threading
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from fakes import FakeEstimator, FakeScreen, FakeSounder, FakeSource, blank, wait_for

from trainer.core.trace import TraceLine, parse_header, parse_lines
from trainer.keeping import open_keeper
from trainer.live import Stage, run_live
from trainer.ports import KeyAction
from trainer.settings import from_values

DATA = Path(__file__).resolve().parents[1] / "walks"
#: A rep that is read belongs to the true one whose top is this near.
SAME_TOP_S = 0.8
#: Pictures of nobody between two sessions come this far apart.
AWAY_STEP_S = 0.5


@dataclass(frozen=True, repr=False)
class Session:
    """One rendered session: its readings and what truly happened in it."""

    name: str
    readings: tuple  # (t_s, pose)
    truth: dict

    @property
    def reps(self):
        return self.truth["reps"]

    def spans(self, *words):
        """Return (from_s, to_s) of what else went on, by the words it begins with."""
        return [
            (span["from_s"], span["to_s"])
            for span in self.truth["others"]
            if span["what"].startswith(words)
        ]


@lru_cache(maxsize=1)
def session(name):
    """Return a rendered session from the tests' data."""
    lines = lzma.decompress((DATA / f"{name}.trace.xz").read_bytes()).decode("ascii").split("\n")
    parse_header(lines[0])
    *readings, count = parse_lines(lines[1:-1])
    assert count == len(readings)
    truth = json.loads((DATA / f"{name}.truth.json").read_text(encoding="utf-8"))
    return Session(name, tuple((line.t_s, line.pose) for line in readings), truth)


@dataclass(frozen=True, repr=False)
class Played:
    """What the app made of sessions."""

    result: object
    sounder: FakeSounder
    views: list
    said: list
    lines: tuple  # TraceLines as recorded by the app
    starts_s: tuple  # when each session began on the run's clock

    @property
    def reps(self):
        return self.result.reps

    def results(self, from_s=float("-inf"), to_s=float("inf")):
        """Return the (t_s, result) decided in that time."""
        return [(one.t_s, one.result) for one in self.lines if from_s <= one.t_s <= to_s]

    def sounds(self, from_s=float("-inf"), to_s=float("inf")):
        """Return what was played in that time, in order: the names of cues and signals."""
        played = [(cue.decided_t_s, cue.kind.value) for cue, _ in self.sounder.played]
        played += [(t_s, signal.value) for signal, t_s in self.sounder.signals]
        return [name for t_s, name in sorted(played) if from_s <= t_s <= to_s]

    def phases(self, from_s, to_s):
        return {result["phase"] for _, result in self.results(from_s, to_s)}


def play(monkeypatch, trace, *names, settings=None, player="me", asked=None, gap_s=4.0):
    """Play sessions one after another, nobody there in between, as one run of ``trainer live``.

    ``asked``: {(row of the session, its t_s): key actions}. ``trace`` is the file to record to.
    """
    screen, sounder, said = FakeScreen(), FakeSounder(), []
    script, known, starts, asked = [], {}, [], dict(asked or {})
    begin_s = 0.0

    def press(actions):
        def ask():
            taken = threading.Event()
            screen._on_view = lambda view: None if screen._actions else taken.set()
            screen.ask(*actions)
            wait_for(screen.took if KeyAction.QUIT in actions else taken)

        return ask

    for row, name in enumerate(names):
        starts.append(begin_s)
        due = sorted((at_s, keys) for (which, at_s), keys in asked.items() if which == row)
        for t_s, pose in session(name).readings:
            while due and due[0][0] <= t_s:
                script.append(press(due.pop(0)[1]))
            index = len(known)
            known[index] = pose
            script.append(blank(begin_s + t_s, index))
        assert not due, "a key after the end"
        end_s, begin_s = begin_s + t_s, begin_s + t_s + gap_s
        for away in range(1, int(gap_s / AWAY_STEP_S) if row < len(names) - 1 else 0):
            known[len(known)] = None
            script.append(blank(end_s + away * AWAY_STEP_S, len(known) - 1))
    monkeypatch.setattr(
        "trainer.live.pose_opener", lambda model, memory: lambda: FakeEstimator(known)
    )
    monkeypatch.setattr(
        "trainer.adapters.camera.open_source", lambda spec, **more: FakeSource(script)
    )
    values = {"camera": {"source": "0.mp4"}, **(settings or {})}
    given, keeper = open_keeper(player, from_values(values, "test"))
    result = run_live(
        given,
        stage=Stage(screen=screen, sounder=sounder),
        model=None,
        record=trace,
        say=said.append,
        keeper=keeper,
    )
    lines = trace.read_text(encoding="ascii").split("\n")[1:-1]
    found = tuple(line for line in parse_lines(lines) if isinstance(line, TraceLine))
    return Played(result, sounder, screen.views, said, found, tuple(starts))


def paired(reps, truth, begin_s=0.0):
    """Return [(true rep, read rep or None)], and the read reps that were none."""
    left = list(reps)
    pairs = []
    for true in truth:
        middle = begin_s + (true["top_s"] + true["top_end_s"]) / 2
        found = [
            rep
            for rep in left
            if rep.top_t_s is not None
            and abs((rep.top_t_s + rep.top_end_t_s) / 2 - middle) < SAME_TOP_S
        ]
        for rep in found[:1]:
            left.remove(rep)
        pairs.append((true, found[0] if found else None))
    return pairs, left


def clear_faults(true, *, turn_deg=85.0, band_deg=5.0, head_cm=5.0, hip_cm=4.0, by=(5.0, 1.5)):
    """Return what of a true rep is clearly out of its band: by so many degrees and centimetres."""
    head = max(abs(true["max_head_lateral_cm"]), abs(true["max_head_up_cm"]))
    over = {
        "turn": (turn_deg - band_deg - true["shoulder_turn_deg"], by[0]),
        "head": (head - head_cm, by[1]),
        "hips": (abs(true["hip_drift_cm"]) - hip_cm, by[1]),
    }
    near = [name for name, (size, clear) in over.items() if abs(size) < clear]
    assert not near, f"{near} of the true rep lie too near their limits to judge by"
    return {name for name, (size, _) in over.items() if size > 0}


def said_faults(rep):
    """Return what the verdict on a rep calls out of its band."""
    found = set()
    for line in rep.verdict.lines:
        words = line.lower()
        if "short" in words and words.startswith("turn"):
            found.add("turn")
        for part in ("head", "hips"):
            if words.startswith(part) and " cm " in words:
                found.add(part)
    return found
