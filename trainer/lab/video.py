"""Makes clean pictures look filmed and writes them as H.264. av and cv2 are imported on use."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """What the camera's sensor and lens do to a picture."""

    grain: float = 2.2  #: standard deviation of the noise, grey levels of 255
    blur_px: float = 0.7  #: softness of the lens
    vignette: float = 0.12  #: darkening in the corners, 0..1
    gain: float = 1.0  #: brightness
    crf: int = 24  #: quality asked of the encoder, lower is better
    gamma: float = 1.0  #: above 1 darkens the middle tones
    contrast: float = 1.0  #: about middle grey; above 1 is harder
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)  #: white balance: gain of red, green, blue
    motion_px: float = 0.0  #: length of the smear of a shaking camera
    motion_deg: float = 0.0  #: its direction, 0 across the picture
    #: How long the shutter is open: what moves in that time is smeared. 0 draws an instant.
    exposure_s: float = 0.0


def filmed(image: Image, film: Film, rng: np.random.Generator) -> Image:
    """Return the picture (H, W, 3) with blur, vignette and grain."""
    import cv2

    height, width = image.shape[:2]
    image = _graded(image, film)
    soft = cv2.GaussianBlur(image, (0, 0), film.blur_px) if film.blur_px > 0 else image
    across = np.linspace(-1, 1, width)[None, :] ** 2
    down = np.linspace(-1, 1, height)[:, None] ** 2
    shade = film.gain * (1 - film.vignette * (across + down) / 2)
    noise = rng.standard_normal((height, width), dtype=np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), 0.6) * (film.grain * 1.9)
    out = soft * shade[..., None].astype(np.float32) + noise[..., None]
    return np.clip(out, 0, 255).astype(np.uint8)


def _graded(image: Image, film: Film) -> Image:
    """Return the picture with white balance, tone curve and the smear of a shaking camera."""
    import cv2

    if film.gamma != 1.0 or film.contrast != 1.0 or film.tint != (1.0, 1.0, 1.0):
        level = np.linspace(0, 1, 256)[:, None] ** film.gamma
        level = (0.5 + (level - 0.5) * film.contrast) * np.array(film.tint)
        table = np.round(np.clip(level, 0, 1) * 255).astype(np.uint8)
        image = cv2.LUT(image, table[None])
    if film.motion_px > 1.0:
        size = int(np.ceil(film.motion_px)) // 2 * 2 + 1
        kernel = np.zeros((size, size), dtype=np.float32)
        way = np.array([np.cos(np.radians(film.motion_deg)), np.sin(np.radians(film.motion_deg))])
        ends = (size // 2 + np.outer([-0.5, 0.5], way) * (film.motion_px - 1)).round().astype(int)
        cv2.line(kernel, tuple(ends[0].tolist()), tuple(ends[1].tolist()), 1.0)
        image = cv2.filter2D(image, -1, kernel / kernel.sum())
    return image


def write_mp4(path: Path, images: Iterable[Image], fps: float, film: Film) -> None:
    """Write pictures (H, W, 3) uint8 RGB as an H.264 mp4, yuv420p, index first."""
    import av

    part = path.with_suffix(".part.mp4")
    with av.open(str(part), "w", options={"movflags": "+faststart"}) as container:
        stream = None
        for image in images:
            if stream is None:
                stream = container.add_stream("libx264", rate=Fraction(fps).limit_denominator(1000))
                stream.height, stream.width = image.shape[:2]
                stream.pix_fmt = "yuv420p"
                stream.options = {"crf": str(film.crf), "preset": "medium", "threads": "1"}
            for packet in stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")):
                container.mux(packet)
        if stream is not None:
            for packet in stream.encode():
                container.mux(packet)
    part.replace(path)
