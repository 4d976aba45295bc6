"""Still pictures from files, by OpenCV."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import Upright, load_cv2
from trainer.errors import CameraError


def read_picture(path: Path, upright: Upright | None = None) -> NDArray[np.uint8]:
    """Return a picture file as (H, W, 3) uint8 RGB, turned as the file itself says.

    Raises CameraError when it cannot be read or is no picture.
    """
    cv2 = load_cv2()
    try:
        # Read here and not by OpenCV, which cannot open every name on Windows.
        data = np.frombuffer(path.read_bytes(), np.uint8)
        image = cv2.imdecode(data, cv2.IMREAD_COLOR) if data.size else None
    except (OSError, cv2.error):
        image = None
    picture = (upright or Upright()).rgb(image)
    if picture is None:
        raise CameraError(
            f"{path} could not be read as a picture. A whole PNG or JPEG file was wanted. "
            "Take it out, or save it anew."
        )
    return picture
