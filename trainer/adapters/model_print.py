"""Tells which pose networks a ``.task`` file holds, whatever was packed round them."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

from trainer.adapters.model_bundle import DETECTOR, FULL_MODEL, LANDMARKER, is_whole
from trainer.errors import PoseError

#: A buffer shorter than this is a shape or a name, not weights; notes on a model are short too.
_LEAST_BYTES = 4096


def networks_print(task: Path) -> str:
    """Return the SHA-256 (hex) of the weights of both networks in a ``.task`` file.

    Two files with the same weights give the same text, even if notes were added to one or it
    was packed by another program: only the large buffers of the tflite files count. A file made
    by this program from the pinned wheel is known by its seal, without reading on.
    Raises PoseError when the file holds no such networks.
    """
    if is_whole(task):
        return FULL_MODEL.weights_sha256
    try:
        import flatbuffers  # noqa: F401 -- what the generated code needs, missed by name here
        from mediapipe.tasks.metadata import schema_py_generated as tflite

        whole = hashlib.sha256()
        with zipfile.ZipFile(task) as bundle:
            for name in (DETECTOR, LANDMARKER):
                model = tflite.Model.GetRootAsModel(bundle.read(name), 0)
                for index in range(model.BuffersLength()):
                    data = model.Buffers(index).DataAsNumpy()
                    if not isinstance(data, int) and len(data) >= _LEAST_BYTES:
                        whole.update(data.tobytes())
    except (OSError, KeyError, zipfile.BadZipFile, ImportError, ValueError) as error:
        raise PoseError(
            f"the networks of {task} could not be read ({error}); a PoseLandmarker .task file was "
            "wanted. Leave --model out to use the standard model."
        ) from error
    return whole.hexdigest()
