"""A source like the real one but a few hundred bytes large, and a pip that is no process."""

import hashlib
import io
import zipfile
from dataclasses import replace
from pathlib import Path

from trainer.adapters.model_bundle import DETECTOR, FULL_MODEL, LANDMARKER, Network
from trainer.adapters.model_file import ensure_model


def tiny_model(name):
    """Return a tflite model with one input and no layers."""
    import flatbuffers
    from mediapipe.tasks.metadata import schema_py_generated as tflite

    tensor = tflite.TensorT()
    tensor.shape, tensor.name, tensor.buffer = [1, 4, 4, 3], name, 0
    graph = tflite.SubGraphT()
    graph.tensors, graph.inputs, graph.outputs, graph.operators = [tensor], [0], [0], []
    model = tflite.ModelT()
    model.version, model.subgraphs, model.buffers = 3, [graph], [tflite.BufferT()]
    builder = flatbuffers.Builder(256)
    builder.Finish(model.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def small_source():
    """Return (source, wheel bytes): the same thing as the real one, a few hundred bytes large."""
    wheel = io.BytesIO()
    networks = (
        Network(member="a/one.tflite", name=DETECTOR, mean=127.5, std=127.5),
        Network(member="b/two.tflite", name=LANDMARKER, mean=0.0, std=255.0),
    )
    with zipfile.ZipFile(wheel, "w", zipfile.ZIP_DEFLATED) as out:
        for network in networks:
            out.writestr(network.member, tiny_model(network.name))
    data = wheel.getvalue()
    source = replace(
        FULL_MODEL,
        requirement="wanted==1.0",
        wheel_name="wanted-1.0-py3-none-any.whl",
        wheel_sha256=hashlib.sha256(data).hexdigest(),
        wheel_bytes=len(data),
        networks=networks,
    )
    return source, data


class FakePip:
    """Stands in for the process: leaves ``data`` where the command says, or fails as told."""

    def __init__(self, data=b"", name="wanted-1.0-py3-none-any.whl", *, code=0, text=""):
        self.data, self.name, self.code, self.text = data, name, code, text
        self.commands = []

    def __call__(self, command, folder, tick):
        self.commands.append(list(command))
        wheels = Path(command[command.index("-d") + 1])
        wheels.mkdir()
        if self.code == 0:
            (wheels / self.name).write_bytes(self.data)
        tick()
        return self.code, self.text


def fetch(source, pip, folder, **more):
    return ensure_model(cache_dir=folder, source=source, runner=pip, progress=False, **more)
