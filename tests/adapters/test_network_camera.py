"""Network cameras, against a real server on 127.0.0.1."""

import base64
import threading
import time
from itertools import pairwise

import numpy as np
import pytest
from mjpeg_server import BLUE, GREEN, RED, free_port, mjpeg_server, silent_port

from trainer.adapters.camera import open_source
from trainer.adapters.frame_thread import LiveSource, Patience
from trainer.adapters.network_camera import network_kind
from trainer.errors import CameraError
from trainer.ports import SourceState

WAIT_S = 15.0


def quick_source(url, **patience):
    """A source that judges sooner than the real one, so that the tests are short."""
    quick = {"stalled_s": 0.3, "first_retry_s": 0.05, "last_retry_s": 0.2} | patience
    return LiveSource(network_kind(url), patience=Patience(**quick))


def wait_for(true, what):
    end_s = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < end_s, f"waited in vain for {what}"
        time.sleep(0.01)


def frame_where(source, true):
    end_s = time.monotonic() + WAIT_S
    while time.monotonic() < end_s:
        frame = source.get(0.5)
        if frame is not None and true(frame):
            return frame
    raise AssertionError(f"no such picture; status {source.status()}")


def left_colour(frame):
    height, width, _ = frame.image_rgb.shape
    return frame.image_rgb[height // 2, width // 4].astype(int)


def is_near(colour, wanted):
    return bool(np.all(np.abs(colour - np.array(wanted)) < 12))


@pytest.fixture
def server():
    with mjpeg_server() as running:
        yield running


@pytest.fixture
def opened():
    """Open sources and close them all afterwards."""
    sources = []

    def open_it(source):
        sources.append(source)
        source.open()
        return source

    yield open_it
    for source in sources:
        source.close()


def test_pictures_arrive_upright_in_rgb_with_growing_times(server, opened):
    source = opened(open_source(server.url))
    frames = [frame for _ in range(12) if (frame := source.get(5.0)) is not None]
    assert len(frames) == 12
    first = frames[0]
    assert first.image_rgb.shape == (120, 160, 3)
    assert first.image_rgb.dtype == np.uint8
    assert first.image_rgb.flags.c_contiguous
    assert is_near(left_colour(first), RED)
    assert first.image_rgb[60, 120].max() < 12, "the right half is black: not mirrored"
    times = [frame.t_s for frame in frames]
    assert all(a < b for a, b in pairwise(times))
    assert all(a.index < b.index for a, b in pairwise(frames))
    assert 0 <= times[-1] <= source.now_s()
    status = source.status()
    assert status.state is SourceState.RUNNING
    assert status.text == ""
    assert status.size_wh == (160, 120)
    assert status.measured_fps is not None


def test_a_source_that_mirrors_its_picture_is_flipped_back(server, opened):
    source = opened(open_source(server.url, mirrored=True))
    frame = source.get(5.0)
    assert is_near(frame.image_rgb[60, 120].astype(int), RED)
    assert frame.image_rgb[60, 40].max() < 12


@pytest.mark.parametrize(
    ("rotate", "size_wh", "coloured_xy"),
    [(90, (120, 160), (60, 40)), (180, (160, 120), (120, 60)), (270, (120, 160), (60, 120))],
)
def test_a_phone_on_its_side_is_turned_clockwise(server, opened, rotate, size_wh, coloured_xy):
    # The left half is coloured; turned clockwise by 90 degrees the left becomes the top.
    frame = opened(open_source(server.url, rotate=rotate)).get(5.0)
    assert (frame.image_rgb.shape[1], frame.image_rgb.shape[0]) == size_wh
    x, y = coloured_xy
    assert is_near(frame.image_rgb[y, x].astype(int), RED)
    assert frame.image_rgb.flags.c_contiguous


@pytest.mark.parametrize("with_length", [True, False])
@pytest.mark.parametrize("line_break", [b"\r\n", b""])
@pytest.mark.parametrize("boundary", ["frame", "--frame", '"frame"'])
def test_the_ways_cameras_write_their_parts_are_all_read(
    server, opened, with_length, line_break, boundary
):
    server.with_length, server.line_break = with_length, line_break
    server.boundary_in_header = boundary
    source = opened(open_source(server.url))
    for _ in range(5):
        assert is_near(left_colour(source.get(5.0)), RED)
    assert source.status().text == ""


def test_a_stalled_camera_says_so_and_goes_on(server, opened):
    source = opened(quick_source(server.url))
    server.flowing.clear()
    wait_for(lambda: source.status().state is SourceState.STALLED, "STALLED")
    text = source.status().text
    assert "no picture" in text
    assert "127.0.0.1" in text
    while source.get(0.0) is not None:
        pass
    assert source.get(0.05) is None
    server.rgb = GREEN
    server.flowing.set()
    assert is_near(
        left_colour(frame_where(source, lambda f: is_near(left_colour(f), GREEN))), GREEN
    )
    assert source.status().state is SourceState.RUNNING


def test_a_lost_camera_says_so_and_returns(server, opened):
    source = opened(quick_source(server.url))
    before = source.get(5.0)
    server.stop()
    wait_for(lambda: source.status().state is SourceState.LOST, "LOST")
    assert "lost" in source.status().text
    assert "by itself" in source.status().text
    server.rgb = BLUE
    server.start()
    after = frame_where(source, lambda frame: is_near(left_colour(frame), BLUE))
    assert after.t_s > before.t_s
    assert after.index > before.index
    status = source.status()
    assert status.state is SourceState.RUNNING
    assert "back" in status.text


@pytest.mark.parametrize("size_wh", [(320, 240), (120, 160), (64, 48)])
def test_a_camera_that_changes_its_size_gives_whole_pictures_and_says_so(server, opened, size_wh):
    source = opened(open_source(server.url))
    assert source.get(5.0).image_rgb.shape == (120, 160, 3)
    server.size_wh = size_wh
    shape = (size_wh[1], size_wh[0], 3)
    frame = frame_where(source, lambda f: f.image_rgb.shape == shape)
    # Whole, not cropped: colour left, black right, at the new size.
    assert is_near(left_colour(frame), RED)
    assert frame.image_rgb[size_wh[1] // 2, size_wh[0] * 3 // 4].max() < 12
    status = source.status()
    assert status.size_wh == size_wh
    assert f"from 160 by 120 to {size_wh[0]} by {size_wh[1]}" in status.text


@pytest.mark.parametrize("damage", ["cut", "noise"])
@pytest.mark.parametrize("with_length", [True, False])
def test_a_damaged_picture_is_left_out_and_the_next_whole_one_is_read(
    server, opened, damage, with_length
):
    server.with_length = with_length
    source = opened(open_source(server.url))
    source.get(5.0)
    server.damage = damage
    wait_for(lambda: "damaged" in source.status().text, "the word damaged")
    while (frame := source.get(0.1)) is not None:  # nothing half grey gets through
        assert is_near(left_colour(frame), RED)
        assert is_near(frame.image_rgb[-2, 20].astype(int), RED)
    server.damage, server.rgb = None, GREEN
    frame_where(source, lambda f: is_near(left_colour(f), GREEN))
    assert source.status().state is SourceState.RUNNING


def test_a_refused_address_says_refused():
    url = f"http://127.0.0.1:{free_port()}/video"
    with pytest.raises(CameraError, match=r"refused the connection.*Try") as caught:
        open_source(url).open()
    assert url in str(caught.value)


def test_a_silent_address_is_given_up():
    with silent_port() as port:
        source = open_source(f"http://127.0.0.1:{port}/video")
        with pytest.raises(CameraError, match=r"silent.*Try"):
            source.open()
        assert source.get(0.0) is None
        source.close()


def test_an_address_that_answers_but_sends_no_picture_is_given_up(server):
    server.flowing.clear()
    with pytest.raises(CameraError, match=r"is there but sent no picture.*Try"):
        open_source(server.url).open()


def test_rtsp_refused_and_rtsp_silent_are_told_apart():
    with pytest.raises(CameraError, match="refused"):
        open_source(f"rtsp://127.0.0.1:{free_port()}/live").open()
    with (
        silent_port() as port,
        pytest.raises(CameraError, match=r"no picture stream"),
    ):
        open_source(f"rtsp://127.0.0.1:{port}/live").open()


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/page", "is a web page"),
        ("/still", "one still picture"),
        ("/file", "is a video file, not a camera"),
        ("/nothing", "answered 404"),
    ],
)
def test_an_address_that_is_no_stream_says_what_it_is(server, path, words):
    with pytest.raises(CameraError, match=rf"{words}.*Try"):
        open_source(server.url.replace("/video", path)).open()


def test_a_camera_with_a_password_is_opened_with_it_and_never_shows_it(server, opened):
    server.login = "Basic " + base64.b64encode(b"coach:sec@ret").decode()
    with pytest.raises(CameraError, match=r"name and password \(401\)"):
        open_source(server.url).open()
    source = opened(open_source(server.url.replace("http://", "http://coach:sec%40ret@")))
    assert source.get(5.0) is not None
    assert "sec" not in source.name


def test_a_camera_is_never_asked_through_a_proxy(server, opened, monkeypatch):
    monkeypatch.setenv("http_proxy", f"http://127.0.0.1:{free_port()}")
    monkeypatch.delenv("no_proxy", raising=False)
    monkeypatch.delenv("NO_PROXY", raising=False)
    assert opened(open_source(server.url)).get(5.0) is not None


@pytest.mark.parametrize("url", ["ftp://127.0.0.1/x", "htp://phone:8080/video"])
def test_an_unknown_scheme_names_the_known_ones(url):
    with pytest.raises(CameraError, match=r"http, https, rtsp.*Try"):
        open_source(url)


@pytest.mark.parametrize("url", ["http://", "http://:8080/video", "http://phone:port/video"])
def test_half_an_address_is_no_address(url):
    with pytest.raises(CameraError, match=r"not a whole address.*Try"):
        open_source(url)


def test_closing_while_the_camera_is_silent_returns_and_wakes_the_one_who_waits(server, opened):
    source = opened(open_source(server.url))
    server.flowing.clear()
    while source.get(0.1) is not None:
        pass
    got = []
    waiter = threading.Thread(target=lambda: got.append(source.get(60.0)), daemon=True)
    waiter.start()
    source.close()
    source.close()
    waiter.join(WAIT_S)
    assert got == [None]
