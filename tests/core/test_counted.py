"""One of a thing is said as one."""

import pytest

from trainer.core.counted import counted


@pytest.mark.parametrize(("number", "said"), [(0, "0 reps"), (1, "1 rep"), (2, "2 reps")])
def test_one_rep_is_not_one_reps(number, said):
    assert counted(number, "rep") == said


def test_a_word_may_have_a_plural_of_its_own():
    assert counted(1, "clip of pictures", "clips of pictures") == "1 clip of pictures"
    assert counted(3, "clip of pictures", "clips of pictures") == "3 clips of pictures"
