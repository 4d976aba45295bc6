"""Which pose networks a file holds is told by their weights, not by what is packed round them."""

import zipfile

import pytest

from trainer.adapters.model_bundle import DETECTOR, FULL_MODEL, LANDMARKER
from trainer.adapters.model_file import ensure_model
from trainer.adapters.model_print import networks_print
from trainer.errors import PoseError


def network(weights, notes=b"short notes"):
    """Return a tflite model without layers that holds ``weights`` and some notes as buffers."""
    import flatbuffers
    from mediapipe.tasks.metadata import schema_py_generated as tflite

    buffers = [tflite.BufferT() for _ in range(3)]
    buffers[1].data, buffers[2].data = list(weights), list(notes)
    model = tflite.ModelT()
    model.version, model.subgraphs, model.buffers = 3, [tflite.SubGraphT()], buffers
    builder = flatbuffers.Builder(256)
    builder.Finish(model.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def task(path, detector, landmarker, compression=zipfile.ZIP_STORED):
    with zipfile.ZipFile(path, "w", compression) as out:
        out.writestr(DETECTOR, detector)
        out.writestr(LANDMARKER, landmarker)
    return path


ONE, TWO = bytes(range(256)) * 40, bytes(reversed(range(256))) * 40


def test_the_same_weights_packed_otherwise_have_the_same_print(tmp_path):
    first = task(tmp_path / "a.task", network(ONE), network(TWO))
    second = task(
        tmp_path / "b.task",
        network(ONE, notes=b"other notes, and longer"),
        network(TWO),
        zipfile.ZIP_DEFLATED,
    )
    assert networks_print(first) == networks_print(second)


def test_one_changed_weight_changes_the_print(tmp_path):
    changed = bytearray(TWO)
    changed[5000] ^= 1
    first = task(tmp_path / "a.task", network(ONE), network(TWO))
    second = task(tmp_path / "b.task", network(ONE), network(bytes(changed)))
    assert networks_print(first) != networks_print(second)


def test_networks_in_the_other_order_have_another_print(tmp_path):
    first = task(tmp_path / "a.task", network(ONE), network(TWO))
    second = task(tmp_path / "b.task", network(TWO), network(ONE))
    assert networks_print(first) != networks_print(second)


@pytest.mark.parametrize("content", [b"no zip at all", b""])
def test_what_holds_no_networks_is_refused_in_words(tmp_path, content):
    path = tmp_path / "odd.task"
    path.write_bytes(content)
    with pytest.raises(PoseError, match=r"odd\.task"):
        networks_print(path)
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("readme.txt", "nothing")
    with pytest.raises(PoseError, match="was wanted"):
        networks_print(path)


@pytest.mark.real_pose
def test_the_standard_model_has_the_print_kept_with_its_wheel(tmp_path):
    made = ensure_model()
    assert networks_print(made) == FULL_MODEL.weights_sha256
    # Without its seal it is read to the end, and says the same.
    plain = tmp_path / "plain.task"
    with zipfile.ZipFile(made) as whole, zipfile.ZipFile(plain, "w") as out:
        for name in whole.namelist():
            out.writestr(name, whole.read(name))
    assert networks_print(plain) == FULL_MODEL.weights_sha256
