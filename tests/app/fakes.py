"""Stand-ins for camera, model, loudspeaker and window, for tests of what joins them."""

import threading
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from golfer import SETUP, TOP, Body, Script, View, poses

from trainer.app import LiveMirror
from trainer.core.records import Frame
from trainer.core.rules import Rules
from trainer.ports import SourceState, SourceStatus

#: The golfer as seen unless a test says otherwise.
FRONT = View()

#: A test that waits longer than this has hung; no test measures time by it.
GENEROUS_S = 30.0

OFF = Body(arc_deg=150.0, turn_deg=90.0, hip_turn_deg=45.0, head_cm=9.0, hips_cm=9.0)


def two_faults():
    """One rep whose turn reaches the target while head and hips go off: one cue of each kind."""
    return Script().hold(2.0).move(OFF, 1.0).hold(0.5).move(SETUP, 0.5).hold(1.5)


def good_reps(count):
    script = Script().hold(2.0)
    for _ in range(count):
        script.move(TOP, 1.0).hold(0.3).move(SETUP, 0.5).hold(2.5)
    return script


def blank(t_s, index):
    return Frame(t_s=t_s, index=index, image_rgb=np.zeros((4, 4, 3), np.uint8))


@dataclass(frozen=True)
class Word:
    """In a source's script: from here on the source says this about itself."""

    state: SourceState
    text: str = ""


class FakeSource:
    """Hands out the frames of a script, one each ``get``; between them it may change its state.

    ``script`` holds Frames, Words (state changes: ``get`` returns None once), and callables,
    which are called on the pose thread and may wait for something.
    """

    name = "pretend camera"

    def __init__(self, script, *, cannot_open=None, dropped=0):
        self._script = deque(script)
        self._cannot_open = cannot_open
        self._word = Word(SourceState.STARTING, "Waiting for the first picture.")
        self._dropped = dropped
        self._last_t_s = 0.0
        self.opened = 0
        self.closed = threading.Event()

    def open(self):
        self.opened += 1
        if self._cannot_open is not None:
            raise self._cannot_open

    def get(self, timeout_s):
        while self._script and not self.closed.is_set():
            item = self._script.popleft()
            if isinstance(item, Word):
                self._word = item
                return None
            if isinstance(item, Frame):
                if self._word.state is SourceState.STARTING:
                    self._word = Word(SourceState.RUNNING)
                self._last_t_s = item.t_s
                return item
            item()
        self._word = Word(SourceState.ENDED, self._word.text)
        return None

    def now_s(self):
        return self._last_t_s + 0.040

    def status(self):
        return SourceStatus(
            state=self._word.state,
            text=self._word.text,
            size_wh=(4, 4),
            measured_fps=30.0,
            dropped=self._dropped,
        )

    def close(self):
        self.closed.set()


class OneSlotSource(FakeSource):
    """Pictures come when the test pushes them; a picture nobody took is dropped for a newer."""

    def __init__(self):
        super().__init__([])
        self._word = Word(SourceState.RUNNING)
        self._news = threading.Condition()
        self._newest = None
        self._over = False

    def push(self, frame):
        with self._news:
            self._dropped += self._newest is not None
            self._newest = frame
            self._news.notify_all()

    def end(self):
        with self._news:
            self._over = True
            self._news.notify_all()

    def get(self, timeout_s):
        with self._news:
            self._news.wait_for(lambda: self._newest is not None or self._over, timeout_s)
            frame, self._newest = self._newest, None
            if frame is None and self._over:
                self._word = Word(SourceState.ENDED)
            if frame is not None:
                self._last_t_s = frame.t_s
            return frame


class FakeEstimator:
    """Knows the pose of every frame. ``before`` is called first and may wait or raise."""

    def __init__(self, by_index, *, before=lambda frame: None, notice=""):
        self._by_index = by_index
        self._before = before
        self._notice = notice
        self.seen = []
        self.told = []  # before each picture: which way the player swings
        self.held = []  # after each step: whether nobody else may be followed
        self.closed = threading.Event()

    def estimate(self, frame):
        self._before(frame)
        self.seen.append(frame.index)
        pose = self._by_index[frame.index]
        return None if pose is None else replace(pose, t_s=frame.t_s)

    def swings(self, handed):
        self.told.append(handed)

    def hold(self, locked):
        self.held.append(locked)

    def notice(self):
        return self._notice

    def close(self):
        self.closed.set()


class FakeSounder:
    """Keeps what it was told to play; ``heard`` is set once ``enough`` cues came."""

    name = "pretend sound"

    def __init__(self, *, audible=True, trouble="", enough=1):
        self.audible = audible
        self.trouble = trouble
        self.played = []
        self.signals = []
        self.heard = threading.Event()
        self._enough = enough

    def play(self, cue, *, pan=0.0):
        self.played.append((cue, pan))
        if len(self.played) >= self._enough:
            self.heard.set()

    def signal(self, signal, t_s):
        self.signals.append((signal, t_s))

    def close(self):
        pass

    @property
    def kinds(self):
        return [cue.kind for cue, _ in self.played]


class FakeScreen:
    """Keeps every view. ``on_view`` is called with each, on the main thread, and may wait."""

    name = "pretend window"

    def __init__(self, on_view=lambda view: None):
        self.views = []
        self._on_view = on_view
        self._actions = deque()
        self._letters = ""
        self._nap = threading.Event()
        self.took = threading.Event()  # what was asked for was taken

    def ask(self, *actions):
        self._actions.extend(actions)

    def type(self, letters):
        self._letters += letters

    def show(self, view):
        self.views.append(view)
        self._on_view(view)
        self._nap.wait(0.001)  # a window draws at most so often

    def actions(self):
        asked = []
        while self._actions:
            asked.append(self._actions.popleft())
        if asked:
            self.took.set()
        return tuple(asked)

    def typed(self):
        letters, self._letters = self._letters, ""
        return letters

    def close(self):
        pass

    @property
    def notices(self):
        return {words for view in self.views for words in view.notices}


class FakeClock:
    """A clock that moves only when told to."""

    def __init__(self):
        self.t_s = 100.0

    def __call__(self):
        return self.t_s


def frames_and_poses(script, view=FRONT):
    """Return (frames, poses by frame index) of a scripted golfer."""
    pairs = poses(script, view)
    frames = [blank(t_s, index) for index, (t_s, _) in enumerate(pairs)]
    return frames, {index: pose for index, (_, pose) in enumerate(pairs)}


def mirror(source, estimator, **given):
    """Return (mirror, sounder, screen) with a stand-in for everything not given."""
    sounder = given.pop("sounder", None) or FakeSounder()
    screen = given.pop("screen", None) or FakeScreen()
    opener = estimator if callable(estimator) else lambda: estimator
    live = LiveMirror(
        source=source,
        open_estimator=opener,
        sounder=sounder,
        screen=screen,
        rules=given.pop("rules", None) or Rules(),
        pan_of=given.pop("pan_of", lambda cue, handed: 0.0),
        # A script does not wait for the model by itself.
        wait_for_pose=given.pop("wait_for_pose", True),
        **given,
    )
    return live, sounder, screen


def outcome(live):
    """Run the mirror to its end and return its result; fail when it hangs.

    What ``run`` raises is raised here. The mirror's main thread is a thread of its own here, so
    that a mirror that never stops fails its test instead of the whole run.
    """
    box = {}

    def run():
        try:
            box["result"] = live.run()
        except BaseException as error:
            box["error"] = error

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(GENEROUS_S)
    assert not thread.is_alive(), "the mirror did not stop"
    if "error" in box:
        raise box["error"]
    return box["result"]


def wait_for(event):
    assert event.wait(GENEROUS_S), "it never happened"


def mirror_threads():
    """Return the names of the mirror's threads that still run."""
    ours = {"load", "pose", "record"}
    return [thread.name for thread in threading.enumerate() if thread.name in ours]
