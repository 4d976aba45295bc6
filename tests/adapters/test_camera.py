"""Webcams: a fake capture for every way a driver can fail, and this machine's own cameras."""

import subprocess
import sys
import threading
import time
from itertools import pairwise

import cv2
import numpy as np
import pytest

from trainer.adapters import camera
from trainer.adapters.camera import CameraFacts, list_cameras, open_source, webcam_kind
from trainer.adapters.frame_thread import LiveKind, LiveSource, Patience
from trainer.errors import CameraError
from trainer.ports import SourceState

WAIT_S = 15.0
QUICK = Patience(
    stalled_s=0.2,
    lost_s=0.1,
    damaged_s=0.1,
    first_retry_s=0.02,
    last_retry_s=0.05,
    join_s=0.2,
)
PICTURE = np.full((48, 64, 3), (10, 20, 30), np.uint8)


class FakeCapture:
    """A webcam whose ``grab`` does what the test says: a picture, None, an error, or hangs."""

    def __init__(self, does=lambda n: PICTURE, *, sets=True, opened=True):
        self.does, self.sets, self.opened = does, sets, opened
        self.asked = []
        self.values = {}
        self.grabs = 0
        self.released_by = []
        self.reading = False
        self.released_while_read = False
        self.image = None

    def isOpened(self):
        return self.opened

    def grab(self):
        self.reading = True
        try:
            self.grabs += 1
            time.sleep(0.002)
            self.image = self.does(self.grabs)
            return self.image is not None
        finally:
            self.reading = False

    def retrieve(self):
        if isinstance(self.image, str):
            return False, None
        return True, self.image

    def get(self, prop):
        return self.values.get(prop, 0.0)

    def set(self, prop, value):
        self.asked.append((prop, value))
        if self.sets:
            self.values[prop] = value
        return self.sets

    def release(self):
        self.released_while_read |= self.reading
        self.released_by.append(threading.current_thread().name)


def fake_source(*captures, limit_s=WAIT_S, patience=QUICK, clock=None, in_caller=False):
    """A source that opens the captures one after the other; the last one again and again."""
    left = list(captures)

    def connect():
        capture = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(capture, Exception):
            raise capture
        return capture

    kind = LiveKind(
        name="camera 5",
        connect=connect,
        remedy="Check its cable.",
        silent="camera 5 opened but sent no picture. One that does is wanted. Try another.",
        open_limit_s=limit_s,
        connect_in_caller=in_caller,
    )
    extra = {} if clock is None else {"clock": clock}
    return LiveSource(kind, patience=patience, **extra)


@pytest.fixture
def opened():
    sources = []

    def open_it(source):
        sources.append(source)
        source.open()
        return source

    yield open_it
    for source in sources:
        source.close()


def wait_for(true, what):
    end_s = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < end_s, f"waited in vain for {what}"
        time.sleep(0.005)


def test_the_newest_picture_wins_and_the_others_are_counted(opened):
    go_on = threading.Event()

    def five_then_wait(n):
        if n > 5:
            go_on.wait(WAIT_S)
        return np.full((48, 64, 3), n, np.uint8)

    source = opened(fake_source(FakeCapture(five_then_wait)))
    wait_for(lambda: source.status().dropped == 4, "four drops")
    frame = source.get(1.0)
    assert frame.index == 4
    assert frame.image_rgb[0, 0, 0] == 5
    assert source.get(0.0) is None, "a picture is handed out once"
    go_on.set()
    assert source.get(WAIT_S).index >= 5
    assert frame.image_rgb[0, 0, 0] == 5, "a picture handed out does not change any more"


def test_pictures_are_rgb_and_of_one_layout_whatever_the_driver_gives(opened):
    gray = np.full((48, 64), 7, np.uint8)
    bgra = np.full((48, 64, 4), (1, 2, 3, 255), np.uint8)
    for given, wanted in ((PICTURE, (30, 20, 10)), (gray, (7, 7, 7)), (bgra, (3, 2, 1))):
        frame = opened(fake_source(FakeCapture(lambda n, g=given: g))).get(WAIT_S)
        assert frame.image_rgb.shape == (48, 64, 3)
        assert tuple(frame.image_rgb[0, 0]) == wanted
        assert frame.image_rgb.flags.c_contiguous


@pytest.mark.parametrize("stuck", [lambda: 3.0, iter(range(100, -(10**9), -1)).__next__])
def test_times_strictly_increase_also_when_the_clock_does_not(opened, stuck):
    source = opened(fake_source(FakeCapture(), clock=stuck))
    frames = [source.get(WAIT_S) for _ in range(4)]
    times = [frame.t_s for frame in frames]
    assert all(a < b for a, b in pairwise(times))


def failing(error):
    def does(n):
        if n > 3:
            raise error
        return PICTURE

    return does


@pytest.mark.parametrize(
    "does",
    [
        lambda n: PICTURE if n <= 3 else None,
        lambda n: PICTURE if n <= 3 else "damaged",
        lambda n: PICTURE if n <= 3 else np.zeros((0, 0, 3), np.uint8),
        lambda n: PICTURE if n <= 3 else np.zeros((4, 4, 3), np.float32),
        failing(cv2.error("the driver said no")),
        failing(RuntimeError("anything")),
    ],
    ids=["no picture", "damaged", "empty", "floats", "cv2 error", "other error"],
)
def test_a_camera_that_fails_is_opened_again_and_the_session_goes_on(opened, does):
    broken, whole = FakeCapture(does), FakeCapture()
    gone = CameraError("camera 5 did not open.")
    seen = []
    source = fake_source(broken, gone, gone, whole)
    opened(source)
    times = []
    end_s = time.monotonic() + WAIT_S
    while whole.grabs < 5 and time.monotonic() < end_s:
        frame = source.get(0.005)  # never raises
        times += [frame.t_s] if frame is not None else []
        status = source.status()
        if status.state is SourceState.LOST:
            seen.append(status.text)
    assert whole.grabs >= 5
    assert "camera 5 was lost. Check its cable. Trying again by itself." in seen
    assert source.get(WAIT_S) is not None
    assert source.status().state is SourceState.RUNNING
    assert source.status().text == "camera 5 is back."
    assert all(a < b for a, b in pairwise(times))
    assert len(broken.released_by) == 1, "a lost camera is let go before it is opened again"
    assert not broken.released_while_read


def test_one_missed_picture_is_no_loss(opened):
    capture = FakeCapture(lambda n: None if n % 4 == 0 else PICTURE)
    source = opened(fake_source(capture))
    for _ in range(20):
        assert source.get(WAIT_S) is not None
        assert source.status().state is SourceState.RUNNING
    assert capture.released_by == []


def test_a_camera_that_hangs_is_stalled_and_close_still_returns(opened):
    free = threading.Event()

    def hang(n):
        if n > 2:
            free.wait(60.0)
        return PICTURE

    capture = FakeCapture(hang)
    source = opened(fake_source(capture))
    wait_for(lambda: source.status().state is SourceState.STALLED, "STALLED")
    assert "camera 5 has sent no picture for" in source.status().text
    assert source.status().measured_fps is None or source.status().measured_fps > 0
    source.close()
    assert capture.reading, "still inside the driver"
    assert capture.released_by == [], "not let go while it is read: that can crash"
    assert source.get(0.0) is None
    free.set()
    wait_for(lambda: capture.released_by, "the release")
    assert not capture.released_while_read
    assert capture.released_by == ["pictures of camera 5"]


def test_a_camera_that_opens_but_never_sends_a_picture_is_refused():
    capture = FakeCapture(lambda n: None)
    with pytest.raises(CameraError, match=r"opened but sent no picture.*Try"):
        fake_source(capture).open()
    assert len(capture.released_by) == 1
    free = threading.Event()
    with pytest.raises(CameraError, match=r"opened but sent no picture.*Try"):
        fake_source(FakeCapture(lambda n: free.wait(60.0) or PICTURE), limit_s=0.1).open()
    free.set()


def test_an_error_at_the_first_opening_is_raised_with_three_parts():
    with pytest.raises(CameraError, match="did not open"):
        fake_source(CameraError("camera 5 did not open.")).open()
    with pytest.raises(CameraError, match=r"failed while opening: no way.*wanted.*Check") as caught:
        fake_source(OSError("no way")).open()
    assert isinstance(caught.value.__cause__, OSError)


@pytest.mark.parametrize("in_caller", [True, False])
def test_where_the_camera_is_opened(opened, in_caller):
    threads = []
    capture = FakeCapture()
    source = fake_source(capture, in_caller=in_caller)
    connect = source._kind.connect

    def noted():
        threads.append(threading.current_thread())
        return connect()

    object.__setattr__(source._kind, "connect", noted)
    opened(source)
    assert (threads[0] is threading.current_thread()) is in_caller


def test_a_source_is_used_once():
    source = fake_source(FakeCapture())
    source.close()
    with pytest.raises(CameraError, match=r"opened before.*Try"):
        source.open()
    assert source.get(0.0) is None


def test_before_opening_a_source_is_starting_and_says_what_it_waits_for():
    source = fake_source(FakeCapture())
    status = source.status()
    assert status.state is SourceState.STARTING
    assert "camera 5" in status.text
    assert status.size_wh is None
    assert status.measured_fps is None
    assert source.get(0.0) is None


@pytest.fixture
def webcams(monkeypatch):
    """Webcams of our own: number -> capture; the numbers the system lists are its keys."""
    fakes = {}
    monkeypatch.setattr(camera, "_candidates", lambda: tuple(sorted(fakes)))
    monkeypatch.setattr(camera, "_is_denied", lambda index: False)

    def open_index(index, *, ask=True):
        capture = fakes.get(index)
        if capture is not None and ask:
            camera._ask_for(capture)
        return capture

    monkeypatch.setattr(camera, "_open_index", open_index)
    return fakes


@pytest.mark.parametrize(
    ("there", "words"),
    [
        ([0], r"camera 7 did not open; found camera 0\. Try --camera 0, or close"),
        ([0, 2], r"camera 7 did not open; found cameras 0 and 2\. Try --camera 0, or close"),
        ([1, 2, 4], r"camera 7 did not open; found cameras 1, 2 and 4\. Try --camera 1,"),
        ([], r"camera 7 did not open; no camera was found\..*wanted\. Try `trainer demo`"),
    ],
)
def test_a_camera_that_is_not_there_names_those_that_are(webcams, there, words):
    webcams.update({index: FakeCapture() for index in there})
    webcams.setdefault(3, FakeCapture(lambda n: None))  # opens, sends nothing: not to be named
    with pytest.raises(CameraError, match=words):
        open_source(7).open()


def test_no_spec_takes_the_first_camera_that_sends_a_picture(webcams, opened):
    webcams.update({0: FakeCapture(lambda n: None), 2: FakeCapture(), 4: FakeCapture()})
    source = opened(open_source(None))
    assert source.name == "camera 2"
    assert source.get(WAIT_S) is not None
    assert source.got == "asked for 1280 by 720 at 60 fps, got 1280 by 720 at 60 fps"


def test_no_spec_and_no_camera_offers_other_ways(webcams):
    with pytest.raises(CameraError, match=r"no camera was found.*trainer demo.*http.*clip"):
        open_source(None)


@pytest.mark.parametrize("spec", [2, "2", " 2 ", "/dev/video2"])
def test_a_number_is_a_webcam(webcams, opened, spec):
    webcams[2] = FakeCapture()
    assert opened(open_source(spec)).name == "camera 2"


@pytest.mark.parametrize("spec", [-1, "-1"])
def test_a_negative_number_is_no_webcam(spec):
    with pytest.raises(CameraError, match=r"cannot be.*from 0 up.*Try"):
        open_source(spec)


def test_the_camera_is_asked_for_compressed_pictures_first_then_size_then_rate(webcams, opened):
    webcams[0] = FakeCapture()
    opened(open_source(0))
    mjpg = cv2.VideoWriter.fourcc(*"MJPG")
    assert webcams[0].asked == [
        (cv2.CAP_PROP_FOURCC, mjpg),
        (cv2.CAP_PROP_FRAME_WIDTH, 1280),
        (cv2.CAP_PROP_FRAME_HEIGHT, 720),
        (cv2.CAP_PROP_FPS, 60),
        (cv2.CAP_PROP_BUFFERSIZE, 1),
    ]


def test_a_camera_that_cannot_do_60_fps_is_asked_for_30(webcams, opened):
    webcams[0] = FakeCapture(sets=False)
    source = opened(open_source(0))
    assert [v for p, v in webcams[0].asked if p == cv2.CAP_PROP_FPS] == [60, 30]
    assert source.got.endswith("at an unstated rate")


def test_the_list_of_cameras_has_size_and_measured_rate(webcams):
    webcams.update({0: FakeCapture(), 1: FakeCapture(lambda n: None), 3: FakeCapture()})
    found = list_cameras()
    assert [facts.index for facts in found] == [0, 3]
    assert all(facts.size_wh == (64, 48) for facts in found)
    assert all(facts.stated_fps == 60 for facts in found)
    assert all(0 < facts.measured_fps <= 500 for facts in found), "2 ms a picture at the least"
    assert webcams[1].released_by
    quick = list_cameras(measure=False)
    assert [facts.measured_fps for facts in quick] == [None, None]
    assert isinstance(quick[0], CameraFacts)


def test_a_driver_that_hangs_or_fails_is_left_out_of_the_list(webcams, monkeypatch):
    monkeypatch.setattr(camera, "PROBE_LIMIT_S", 0.1)
    free = threading.Event()
    webcams.update(
        {
            0: FakeCapture(lambda n: free.wait(60.0) or PICTURE),
            1: FakeCapture(failing(RuntimeError("driver"))),
            2: FakeCapture(),
        }
    )
    webcams[1].grabs = 3
    assert [facts.index for facts in list_cameras(measure=False)] == [2]
    free.set()


def test_a_camera_this_user_may_not_read_says_so(webcams, monkeypatch):
    webcams[0] = FakeCapture()
    monkeypatch.setattr(camera, "_is_denied", lambda index: True)
    with pytest.raises(CameraError, match=r"may not be used by this user.*wanted.*usermod"):
        open_source(0).open()
    with pytest.raises(CameraError, match="may not be used by this user"):
        open_source(None)


def test_this_machines_missing_camera_gives_one_clear_error_and_no_noise(tmp_path):
    """With the real OpenCV, in a process of its own, so that all it prints is seen."""
    (tmp_path / "junk.mp4").write_bytes(bytes(range(256)) * 40)
    script = """
import sys
from trainer.adapters.camera import open_source, list_cameras
from trainer.errors import CameraError
assert isinstance(list_cameras(measure=False), tuple)
for spec in (97, "junk.mp4", "rtsp://127.0.0.1:9/x"):
    try:
        open_source(spec).open()
    except CameraError as error:
        print("said:", error)
"""
    done = subprocess.run(
        [sys.executable, "-c", script.replace("junk.mp4", (tmp_path / "junk.mp4").as_posix())],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    said = done.stdout.splitlines()
    assert len(said) == 3
    assert said[0].startswith("said: camera 97 did not open; ")
    assert "Try" in said[0]
    assert done.stderr == ""


def test_importing_the_adapter_does_not_import_cv2():
    code = "import sys, trainer.adapters.camera; sys.exit('cv2' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], timeout=60, check=False).returncode == 0


def test_a_webcam_opened_on_macos_asks_on_the_callers_thread(monkeypatch):
    monkeypatch.setattr(sys, "platform", "darwin")
    assert webcam_kind(0).connect_in_caller
    monkeypatch.setattr(sys, "platform", "linux")
    assert not webcam_kind(0).connect_in_caller
