"""What is loaded with the pose model stays, and is left out of later collections."""

import gc

import pytest

from trainer.adapters.picture_memory import PictureMemory
from trainer.estimator_file import shipped
from trainer.live import pose_opener


@pytest.fixture
def thawed():
    gc.unfreeze()
    yield
    gc.unfreeze()


def test_a_loaded_model_is_left_out_of_later_collections(monkeypatch, tmp_path, thawed):
    opened = []
    monkeypatch.setattr("trainer.adapters.model_file.ensure_model", lambda path: tmp_path)
    monkeypatch.setattr(
        "trainer.adapters.pose.MediapipePose",
        lambda path, trunk, memory: opened.append([path, trunk, memory]) or opened[-1],
    )
    memory = PictureMemory()
    open_it = pose_opener(None, memory)
    assert not opened  # not before it is asked for
    before = gc.get_freeze_count()
    estimator = open_it()
    assert estimator is opened[0]
    assert estimator[1] is shipped().network
    assert estimator[2] is memory
    assert gc.get_freeze_count() > before
    assert not any(kept is estimator for kept in gc.get_objects())  # frozen ones are not listed
