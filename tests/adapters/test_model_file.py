"""The pose model is checked and cached whole or not at all; errors say what to do."""

import hashlib
import io
import os
import threading
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from small_model import FakePip, fetch, small_source

from trainer.adapters import model_bundle, model_file
from trainer.adapters.model_bundle import DETECTOR, FULL_MODEL, LANDMARKER, is_whole
from trainer.adapters.model_file import ensure_model
from trainer.errors import PoseError


@pytest.fixture
def small():
    """Return (source, wheel bytes) of a tiny model."""
    return small_source()


def test_the_first_start_fetches_and_the_second_does_not(small, tmp_path):
    source, data = small
    pip = FakePip(data)
    first = fetch(source, pip, tmp_path / "new" / "cache")
    second = fetch(source, pip, tmp_path / "new" / "cache")
    assert first == second
    assert len(pip.commands) == 1
    assert [p.name for p in first.parent.iterdir()] == [source.cache_name]


def test_the_file_is_a_stored_zip_with_both_networks_aligned(small, tmp_path):
    source, data = small
    path = fetch(source, FakePip(data), tmp_path)
    with zipfile.ZipFile(path) as bundle:
        assert bundle.testzip() is None
        assert bundle.namelist() == [DETECTOR, LANDMARKER]
        for info in bundle.infolist():
            assert info.compress_type == zipfile.ZIP_STORED
            whole = path.read_bytes()
            # APPNOTE.TXT 4.3.7: data follows 30 bytes, the name and the extra field
            name = int.from_bytes(
                whole[info.header_offset + 26 : info.header_offset + 28], "little"
            )
            more = int.from_bytes(
                whole[info.header_offset + 28 : info.header_offset + 30], "little"
            )
            assert (info.header_offset + 30 + name + more) % 64 == 0


def test_each_network_carries_its_own_normalisation(small):
    from mediapipe.tasks.metadata import metadata_schema_py_generated as meta
    from mediapipe.tasks.metadata import schema_py_generated as tflite

    source, data = small
    with zipfile.ZipFile(io.BytesIO(model_bundle.build_task(data, source))) as bundle:
        for network in source.networks:
            model = tflite.ModelT.InitFromObj(
                tflite.Model.GetRootAsModel(bundle.read(network.name), 0)
            )
            (entry,) = [m for m in model.metadata if m.name == b"TFLITE_METADATA"]
            raw = bytes(model.buffers[entry.buffer].data)
            assert meta.ModelMetadata.ModelMetadataBufferHasIdentifier(raw, 0)
            about = meta.ModelMetadataT.InitFromObj(
                meta.ModelMetadata.GetRootAsModelMetadata(raw, 0)
            )
            (unit,) = about.subgraphMetadata[0].inputTensorMetadata[0].processUnits
            assert list(unit.options.mean) == [network.mean]
            assert list(unit.options.std) == [network.std]


def test_the_same_wheel_gives_the_same_bytes(small):
    source, data = small
    assert model_bundle.build_task(data, source) == model_bundle.build_task(data, source)


@pytest.mark.parametrize("damage", ["half", "flipped", "empty", "seal"])
def test_a_damaged_cache_file_is_fetched_again(small, tmp_path, damage):
    source, data = small
    path = fetch(source, FakePip(data), tmp_path)
    good = path.read_bytes()
    flipped = bytearray(good)
    flipped[len(good) // 2] ^= 1
    bad = {"half": good[: len(good) // 2], "flipped": flipped, "empty": b"", "seal": good[:-1]}
    path.write_bytes(bad[damage])
    assert not is_whole(path)
    pip = FakePip(data)
    assert fetch(source, pip, tmp_path).read_bytes() == good
    assert len(pip.commands) == 1


def test_a_wheel_with_the_wrong_checksum_is_refused_and_not_kept(small, tmp_path):
    source, data = small
    with pytest.raises(PoseError, match="not the pinned wheel") as caught:
        fetch(source, FakePip(data + b" "), tmp_path)
    assert source.wheel_sha256 in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full, a disk always full")
def test_a_full_disk_while_the_model_is_written_is_named(small, tmp_path):
    source, data = small

    def runner(command, folder, tick):
        # the file about to be written stands on a device that takes nothing
        (folder / source.cache_name).symlink_to("/dev/full")
        return FakePip(data)(command, folder, tick)

    with pytest.raises(PoseError, match="No space left on device"):
        fetch(source, runner, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_cache_folder_that_cannot_be_made_is_named(small, tmp_path):
    source, data = small
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(PoseError, match="TRAINER_CACHE_DIR") as caught:
        fetch(source, FakePip(data), tmp_path / "file" / "cache")
    assert str(tmp_path / "file" / "cache") in str(caught.value)


@pytest.mark.skipif(os.name != "posix", reason="folders are protected differently on Windows")
def test_a_cache_folder_without_write_access_is_named(small, tmp_path):
    source, data = small
    # The superuser may write to any folder but those of the kernel's own file systems.
    folder = Path("/sys/trainer-cache") if os.geteuid() == 0 else tmp_path
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(PoseError, match="TRAINER_CACHE_DIR") as caught:
            fetch(source, FakePip(data), folder)
    finally:
        tmp_path.chmod(0o700)
    assert "a folder that can be written to was wanted" in str(caught.value)


def test_two_starts_at_once_both_end_with_a_whole_file(small, tmp_path):
    source, data = small
    both_there = threading.Barrier(2, timeout=20)
    results = []

    def start():
        def runner(command, folder, tick):
            both_there.wait()
            return FakePip(data)(command, folder, tick)

        results.append(fetch(source, runner, tmp_path))

    threads = [threading.Thread(target=start) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert len(results) == 2
    assert all(is_whole(path) for path in results)
    assert [p.name for p in tmp_path.iterdir()] == [source.cache_name]


def test_what_a_killed_start_left_is_swept_up_a_day_later(small, tmp_path):
    source, data = small
    old, new = tmp_path / "fetch-old", tmp_path / "fetch-new"
    for folder in (old, new):
        folder.mkdir()
    long_ago = time.time() - 2 * 86_400
    os.utime(old, (long_ago, long_ago))
    fetch(source, FakePip(data), tmp_path)
    assert not old.exists()
    assert new.exists()  # another start may be at work in it


def test_the_variable_names_the_cache_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("TRAINER_CACHE_DIR", str(tmp_path / "here"))
    assert model_file.cache_folder() == tmp_path / "here"
    monkeypatch.delenv("TRAINER_CACHE_DIR")
    import platformdirs

    expected = Path(platformdirs.user_cache_dir("backswing-mirror", appauthor=False))
    assert model_file.cache_folder() == expected


def test_the_pinned_wheel_serves_as_a_local_source(small, tmp_path):
    source, data = small
    wheel = tmp_path / source.wheel_name
    wheel.write_bytes(data)
    pip = FakePip(code=1)
    path = fetch(source, pip, tmp_path / "cache", path=wheel)
    assert is_whole(path)
    assert pip.commands == []
    assert wheel.read_bytes() == data


def test_another_wheel_as_a_local_source_is_refused(small, tmp_path):
    source, data = small
    wheel = tmp_path / "other-1.0.whl"
    wheel.write_bytes(data[:-1])
    with pytest.raises(PoseError, match="not the pinned wheel"):
        fetch(source, FakePip(), tmp_path / "cache", path=wheel)
    with pytest.raises(PoseError, match="there is no wheel"):
        fetch(source, FakePip(), tmp_path / "cache", path=tmp_path / "none.whl")


def test_a_task_file_of_one_s_own_is_used_where_it_lies(small, tmp_path):
    own = tmp_path / "own.task"
    with zipfile.ZipFile(own, "w") as out:
        out.writestr(DETECTOR, b"1")
        out.writestr(LANDMARKER, b"2")
    assert ensure_model(path=own) == own


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: None, "there is no model file"),
        (lambda path: path.mkdir(), "cannot be read"),
        (lambda path: path.write_text("not a zip"), "is not a zip file"),
        (lambda path: zipfile.ZipFile(path, "w").close(), f"no {DETECTOR} and no {LANDMARKER}"),
    ],
)
def test_a_file_that_is_no_model_is_refused_in_three_parts(tmp_path, make, words):
    own = tmp_path / "own.task"
    make(own)
    with pytest.raises(PoseError, match=words) as caught:
        ensure_model(path=own)
    assert "was wanted" in str(caught.value)
    assert "--model" in str(caught.value)


def test_a_compressed_model_is_refused(tmp_path):
    own = tmp_path / "own.task"
    with zipfile.ZipFile(own, "w", zipfile.ZIP_DEFLATED) as out:
        for name in (DETECTOR, LANDMARKER):
            out.writestr(name, b"0" * 1000)
    with pytest.raises(PoseError, match="is compressed"):
        ensure_model(path=own)


def test_a_wheel_without_the_networks_is_refused(small, tmp_path):
    _, data = small
    source = replace(FULL_MODEL, wheel_sha256=hashlib.sha256(data).hexdigest())
    with pytest.raises(PoseError, match="does not hold the pose networks"):
        fetch(source, FakePip(data), tmp_path)


@pytest.mark.network
def test_the_package_index_still_serves_the_pinned_wheel(tmp_path):
    """The SHA-256 is the one the index publishes for the file (pypi.org, mediapipe 0.10.21)."""
    path = ensure_model(cache_dir=tmp_path, progress=False)
    assert is_whole(path)
    with zipfile.ZipFile(path) as bundle:
        sizes = {info.filename: info.file_size for info in bundle.infolist()}
    assert sizes[DETECTOR] == pytest.approx(2_959_046, rel=0.01)
    assert sizes[LANDMARKER] == pytest.approx(6_440_512, rel=0.01)
