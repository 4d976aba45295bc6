"""Imports point one way: core <- ports <- adapters <- app <- cli."""

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "trainer"
CORE_MAY = {"numpy", *sys.stdlib_module_names}
LAYERS = ("core", "ports", "adapters", "app", "cli")
PURE_BASE = {"errors"}  # what every layer may use


def modules(folder=PACKAGE):
    return sorted(folder.rglob("*.py"))


def imports_of(text, name):
    """Return the full dotted names a module's text imports, relative ones made absolute."""
    package = name.split(".")[:-1]
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                start = package[: len(package) - (node.level - 1)]
                base = ".".join([*start, base]) if base else ".".join(start)
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def dotted(path):
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)


def layer_of(name):
    """Return the layer of ``trainer....``: 0 core, 1 ports, 2 adapters, 3 app, 4 cli.

    Other files at the top of the package join the adapters together and count as app; those that
    import nothing of ours may be used by every layer but the core (``is_free``). None: errors.
    """
    parts = name.split(".")
    if len(parts) < 2 or parts[1] in PURE_BASE:
        return None
    first = parts[1]
    if first in ("cli", "__main__"):
        return LAYERS.index("cli")
    if first in LAYERS:
        return LAYERS.index(first)
    return LAYERS.index("app")


def is_free(name):
    """Tell whether a top-level module imports nothing of ours but what is as free itself."""
    path = PACKAGE / f"{name.split('.')[1]}.py"
    if not path.exists():
        return False
    ours = {n for n in imports_of(path.read_text(), dotted(path)) if n.startswith("trainer.")}
    return all(n.split(".")[1] in PURE_BASE for n in ours)


def breaches(name, imported):
    """Return what ``name`` imports though it lies in a layer above its own."""
    own = layer_of(name)
    if own is None:
        own = 0
    out = set()
    for other in imported:
        if not other.startswith("trainer."):
            continue
        layer = layer_of(other)
        is_above = layer is not None and layer > own
        if is_above and not (own > 0 and layer == LAYERS.index("app") and is_free(other)):
            out.add(other)
    return out


def core_breaches(imported):
    """Return what the core may not import: all but numpy, the standard library and itself."""
    return {
        name
        for name in imported
        if name.split(".")[0] not in CORE_MAY
        and not name.startswith("trainer.core.")
        and name != "trainer.core"
    }


def test_the_core_imports_numpy_and_the_standard_library_only():
    paths = modules(PACKAGE / "core")
    assert len(paths) > 10
    for path in paths:
        assert core_breaches(imports_of(path.read_text(), dotted(path))) == set(), path


def test_imports_point_one_way():
    for path in modules():
        if "lab" in path.parts:
            continue
        name = dotted(path)
        assert breaches(name, imports_of(path.read_text(), name)) == set(), path


def test_the_lab_is_imported_by_nobody_but_itself():
    for path in modules():
        if "lab" in path.relative_to(PACKAGE).parts or path.name in ("cli.py", "__main__.py"):
            continue
        ours = imports_of(path.read_text(), dotted(path))
        assert not {n for n in ours if n.startswith("trainer.lab")}, path


@pytest.mark.parametrize("package", ["cv2", "mediapipe", "pygame", "simpleaudio"])
def test_each_outside_package_is_imported_below_adapters_only(package):
    for path in modules():
        parts = path.relative_to(PACKAGE).parts
        # The bench measures us against the bare loop, so it must run that loop itself.
        if parts[0] in ("adapters", "lab") or parts[0].startswith("bench"):
            continue
        names = imports_of(path.read_text(), dotted(path))
        assert not {n for n in names if n.split(".")[0] == package}, path


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("trainer.core.new", "import scipy"),
        ("trainer.core.new", "def f():\n    from cv2 import imread"),
        ("trainer.core.new", "import trainer.ports"),
        ("trainer.core.new", "from ..adapters import camera"),
    ],
)
def test_the_check_of_the_core_sees_a_forbidden_import(name, text):
    assert core_breaches(imports_of(text, name))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("trainer.core.new", "from trainer import ports"),
        ("trainer.ports", "from trainer.adapters.camera import Camera"),
        ("trainer.adapters.new", "import trainer.app"),
        ("trainer.adapters.new", "from ..cli import main"),
        ("trainer.app", "from trainer.cli import main"),
    ],
)
def test_the_check_of_directions_sees_an_upward_import(name, text):
    assert breaches(name, imports_of(text, name))


def test_the_check_lets_downward_imports_pass():
    text = "from trainer.core.records import Pose\nfrom trainer import ports, errors\nimport numpy"
    assert breaches("trainer.adapters.new", imports_of(text, "trainer.adapters.new")) == set()
    assert core_breaches({"numpy.typing", "math", "trainer.core.rules.Rules"}) == set()
