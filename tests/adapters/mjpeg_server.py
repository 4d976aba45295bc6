"""A real network camera for the tests: JPEG pictures over http on 127.0.0.1, with faults."""

from __future__ import annotations

import http.server
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import cv2
import numpy as np

#: RGB; kept far from each other so that JPEG and a swap of red and blue cannot be confused.
RED, GREEN, BLUE = (220, 30, 20), (20, 200, 40), (20, 30, 220)


def jpeg(size_wh: tuple[int, int], rgb: tuple[int, int, int]) -> bytes:
    """Return a JPEG: left half ``rgb``, right half black."""
    image = np.zeros((size_wh[1], size_wh[0], 3), np.uint8)
    image[:, : size_wh[0] // 2] = rgb[::-1]
    ok, data = cv2.imencode(".jpg", image)
    assert ok
    return data.tobytes()


class MjpegServer:
    """Serves ``/video``. Change the public fields while it runs to change its behaviour."""

    def __init__(self) -> None:
        self.size_wh = (160, 120)
        self.rgb = RED
        self.with_length = True
        self.line_break = b"\r\n"  #: between a picture and the next boundary
        self.boundary_in_header = "frame"
        self.login: str | None = None  #: the whole Authorization header that is wanted
        self.damage: str | None = None  #: "cut", "noise" or None
        self.parts_sent = 0
        self.flowing = threading.Event()
        self.flowing.set()
        self._port = 0
        self._server: http.server.ThreadingHTTPServer | None = None
        self._open: set[socket.socket] = set()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._port}/video"

    def start(self) -> None:
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def log_message(self, *args: object) -> None:
                pass

            def do_GET(self) -> None:
                outer._open.add(self.connection)
                with suppress(OSError):
                    outer._answer(self)

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", self._port), Handler)
        self._server.daemon_threads = True
        self._port = self._server.server_port
        threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        ).start()

    def stop(self) -> None:
        """Cut every connection off and refuse new ones; ``start`` returns on the same port."""
        if self._server is None:
            return
        self._server.shutdown()
        self._server.server_close()
        self._server = None
        for connection in list(self._open):
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._open.clear()

    def _answer(self, request: http.server.BaseHTTPRequestHandler) -> None:
        if request.path == "/page":
            return self._whole(request, "text/html", b"<html>a page</html>")
        if request.path == "/still":
            return self._whole(request, "image/jpeg", jpeg(self.size_wh, self.rgb))
        if request.path == "/file":
            return self._whole(request, "video/mp4", b"\0" * 100)
        if request.path != "/video":
            return request.send_error(404)
        if self.login is not None and request.headers.get("Authorization") != self.login:
            request.send_response(401)
            request.send_header("WWW-Authenticate", 'Basic realm="camera"')
            request.send_header("Content-Length", "0")
            return request.end_headers()
        request.send_response(200)
        kind = f"multipart/x-mixed-replace; boundary={self.boundary_in_header}"
        request.send_header("Content-Type", kind)
        request.end_headers()
        mine = self._server
        while mine is not None and mine is self._server:
            if self.flowing.wait(0.02):
                self._part(request)
                self.parts_sent += 1
                threading.Event().wait(0.02)
        return None

    def _whole(self, request: http.server.BaseHTTPRequestHandler, kind: str, body: bytes) -> None:
        request.send_response(200)
        request.send_header("Content-Type", kind)
        request.send_header("Content-Length", str(len(body)))
        request.end_headers()
        request.wfile.write(body)

    def _part(self, request: http.server.BaseHTTPRequestHandler) -> None:
        data = jpeg(self.size_wh, self.rgb)
        if self.damage == "cut":  # inside the picture itself: past start of scan, T.81 B.1
            scan = data.index(b"\xff\xda") + 14
            data = data[: (scan + len(data)) // 2]
        elif self.damage == "noise":
            data = np.random.default_rng(3).integers(0, 255, 700, dtype=np.uint8).tobytes()
        length = f"Content-Length: {len(data)}\r\n" if self.with_length else ""
        head = f"--frame\r\nContent-Type: image/jpeg\r\n{length}\r\n"
        request.wfile.write(head.encode() + data + self.line_break)


@contextmanager
def mjpeg_server() -> Iterator[MjpegServer]:
    """Give a running server and stop it afterwards."""
    server = MjpegServer()
    server.start()
    try:
        yield server
    finally:
        server.flowing.set()
        server.stop()


@contextmanager
def silent_port() -> Iterator[int]:
    """Give a port that takes connections and never says a word."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        yield listener.getsockname()[1]


def free_port() -> int:
    """Return a port at which nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]
