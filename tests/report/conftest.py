import pytest

from trainer.store.file import open_store


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "reps.sqlite", create=True) as opened:
        yield opened
