"""Makes the pose model's ``.task`` file out of the pinned mediapipe wheel, in memory.

The model's two networks ship inside the ``mediapipe`` 0.10.21 wheel (Apache-2.0); later wheels
hold none. One wheel is pinned for every platform, because the networks run on all of them and a
single SHA-256 can then vouch for them. The networks get the image normalisation
written into them (the old package kept it in its graph files) and are stored uncompressed, as
they are read in place.

Different flatbuffers versions lay the same model out in different bytes (24.3.25 and 25.12.19
do), so the finished file cannot be checked against a constant: the wheel is, and the finished
file carries the SHA-256 of its own bytes as its zip comment. That keeps file and checksum in
one atomic step, and a start's check is one read and one hash.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from trainer.errors import PoseError

DETECTOR: Final = "pose_detector.tflite"
LANDMARKER: Final = "pose_landmarks_detector.tflite"
_SEAL_LENGTH: Final = 64  # hex digits of a SHA-256
_ALIGNMENT: Final = 64  # the runtime copies tensors that are not aligned inside the file


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """One network inside the wheel, and how its input picture is normalised.

    The network takes ``(value - mean) / std`` with values 0..255 (the old package's
    graphs ``pose_detection_cpu`` and ``pose_landmark_by_roi_cpu`` give these ranges).
    """

    member: str  #: path inside the wheel
    name: str  #: name inside the .task file
    mean: float
    std: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelSource:
    """The pinned wheel that holds the model."""

    requirement: str
    wheel_name: str
    wheel_sha256: str
    wheel_bytes: int
    pip_platform: tuple[str, ...]
    cache_name: str
    weights_sha256: str  #: as ``model_print.networks_print`` reads it
    networks: tuple[Network, ...]


FULL_MODEL: Final = ModelSource(
    requirement="mediapipe==0.10.21",
    wheel_name="mediapipe-0.10.21-cp311-cp311-manylinux_2_28_x86_64.whl",
    wheel_sha256="05dc4a9e593655a79558d05d6227d31018c2537a4bd3362b51e230cf22aecfe3",
    wheel_bytes=35_622_638,
    pip_platform=(
        *("--platform", "manylinux_2_28_x86_64", "--python-version", "311"),
        *("--implementation", "cp", "--abi", "cp311"),
    ),
    cache_name="pose-full-0.10.21.task",
    weights_sha256="1bdb676507d5ce7460462d902fb0017eba8fb6256f5c21f2b52c79919ad5fbfa",
    networks=(
        Network(
            member="mediapipe/modules/pose_detection/pose_detection.tflite",
            name=DETECTOR,
            mean=127.5,
            std=127.5,
        ),
        Network(
            member="mediapipe/modules/pose_landmark/pose_landmark_full.tflite",
            name=LANDMARKER,
            mean=0.0,
            std=255.0,
        ),
    ),
)


def build_task(wheel: bytes, source: ModelSource = FULL_MODEL) -> bytes:
    """Return the ``.task`` file made from a wheel's bytes, sealed with its own SHA-256.

    The same wheel and the same flatbuffers version always give the same bytes.
    Raises PoseError when the networks are not in the wheel or mediapipe is too old or too new.
    """
    out = io.BytesIO()
    try:
        with (
            zipfile.ZipFile(io.BytesIO(wheel)) as old,
            zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new,
        ):
            for network in source.networks:
                model = _with_normalisation(old.read(network.member), network)
                _write_aligned(new, out, network.name, model)
            new.comment = b"0" * _SEAL_LENGTH
    except (KeyError, zipfile.BadZipFile) as error:
        raise PoseError(
            f"{source.wheel_name} does not hold the pose networks ({error}); the pinned wheel "
            "was wanted. Report this: the pinned version needs changing."
        ) from error
    body = out.getvalue()[:-_SEAL_LENGTH]
    return body + hashlib.sha256(body).hexdigest().encode()


def is_whole(path: Path) -> bool:
    """Tell whether ``path`` is a model file written by this module, to its last byte."""
    try:
        data = path.read_bytes()
    except OSError:
        return False
    if len(data) <= _SEAL_LENGTH:
        return False
    body = memoryview(data)[:-_SEAL_LENGTH]
    return hashlib.sha256(body).hexdigest().encode() == data[-_SEAL_LENGTH:]


def read_wheel(path: Path, source: ModelSource) -> bytes:
    """Return the wheel's bytes after checking its SHA-256."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise PoseError(
            f"there is no wheel {path}; the pinned {source.wheel_name} was wanted. Check the name "
            "given with --model."
        ) from None
    found = hashlib.sha256(data).hexdigest()
    if found != source.wheel_sha256:
        raise PoseError(
            f"{path.name} is not the pinned wheel, or is damaged: its SHA-256 is {found}; "
            f"{source.wheel_sha256} was wanted. Nothing was kept. Try again; if it stays so, your "
            f"package index serves another file: get {source.wheel_name} from elsewhere and "
            "give it with --model."
        )
    return data


def _with_normalisation(model: bytes, network: Network) -> bytes:
    """Return a tflite model with the normalisation of its input picture written into it."""
    try:
        import flatbuffers
        from mediapipe.tasks.metadata import metadata_schema_py_generated as meta
        from mediapipe.tasks.metadata import schema_py_generated as tflite
    except ImportError as error:
        raise PoseError(
            f"the pose model could not be prepared ({error}); mediapipe 1.2 or later in the 1 "
            "series was wanted. Install this program again so that its packages fit."
        ) from error

    options = meta.NormalizationOptionsT()
    options.mean, options.std = [network.mean], [network.std]
    unit = meta.ProcessUnitT()
    unit.optionsType, unit.options = meta.ProcessUnitOptions.NormalizationOptions, options
    colours = meta.ImagePropertiesT()
    colours.colorSpace = meta.ColorSpaceType.RGB
    content = meta.ContentT()
    content.contentPropertiesType = meta.ContentProperties.ImageProperties
    content.contentProperties = colours
    picture = meta.TensorMetadataT()
    picture.name, picture.content, picture.processUnits = "image", content, [unit]
    graph = meta.SubGraphMetadataT()
    graph.inputTensorMetadata = [picture]
    about = meta.ModelMetadataT()
    about.name, about.subgraphMetadata, about.minParserVersion = network.name, [graph], "1.0.0"

    whole = tflite.ModelT.InitFromObj(tflite.Model.GetRootAsModel(model, 0))
    buffer, entry = tflite.BufferT(), tflite.MetadataT()
    buffer.data = list(_packed(flatbuffers, about, b"M001"))
    entry.name, entry.buffer = "TFLITE_METADATA", len(whole.buffers)
    whole.buffers = [*whole.buffers, buffer]
    whole.metadata = [*(whole.metadata or []), entry]
    return _packed(flatbuffers, whole, b"TFL3", room=len(model) + 65_536)


def _packed(flatbuffers: Any, table: Any, identifier: bytes, room: int = 1024) -> bytes:  # noqa: ANN401 -- generated code has no types
    builder = flatbuffers.Builder(room)
    builder.Finish(table.Pack(builder), identifier)
    return bytes(builder.Output())


def _write_aligned(bundle: zipfile.ZipFile, out: io.BytesIO, name: str, data: bytes) -> None:
    """Add a member whose data begins at a multiple of the alignment, with a fixed date."""
    info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    info.create_system = 3  # else the bytes would tell Windows from the rest
    start = out.tell() + 30 + len(name.encode()) + 4  # local header (APPNOTE.TXT 4.3.7), extra tag
    padding = -start % _ALIGNMENT
    info.extra = b"\xff\xff" + padding.to_bytes(2, "little") + bytes(padding)
    bundle.writestr(info, data)
