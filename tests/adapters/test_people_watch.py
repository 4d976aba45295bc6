"""The look at everybody runs beside the tracker and hands its troubles on."""

import threading
import weakref

import numpy as np
import pytest

from trainer.adapters.people_watch import PeopleWatch

PEOPLE = [np.zeros((33, 2))]


def taken(watch, limit_s=10.0):
    """Return what the watch found, waiting for it."""
    pause = threading.Event()
    for _ in range(int(limit_s / 0.01)):
        found = watch.take()
        if found is not None:
            return found
        pause.wait(0.01)
    raise AssertionError("the watch found nothing in time")


@pytest.mark.parametrize("synchronous", [True, False])
def test_a_look_is_handed_over_once_with_its_picture_s_time(synchronous):
    watch = PeopleWatch(lambda picture: PEOPLE if picture == "a" else [], synchronous=synchronous)
    assert watch.offer("a", 1.5)
    assert taken(watch) == (1.5, PEOPLE)
    assert watch.take() is None
    assert watch.close()


def test_a_second_picture_is_turned_down_while_a_look_is_under_way():
    go = threading.Event()

    def look(picture):
        go.wait(10)
        return PEOPLE

    watch = PeopleWatch(look, synchronous=False)
    assert watch.offer("a", 1.0)
    assert not watch.offer("b", 2.0)
    go.set()
    assert taken(watch)[0] == 1.0
    assert watch.offer("c", 3.0)
    assert taken(watch)[0] == 3.0
    watch.close()


def test_a_synchronous_look_is_there_at_once():
    watch = PeopleWatch(lambda picture: PEOPLE, synchronous=True)
    watch.offer("a", 1.0)
    assert watch.take() == (1.0, PEOPLE)


def test_a_failing_look_fails_the_caller_and_the_next_look_goes_on():
    failures = [RuntimeError("broken")]

    def look(picture):
        if failures:
            raise failures.pop()
        return PEOPLE

    watch = PeopleWatch(look, synchronous=False)
    watch.offer("a", 1.0)
    with pytest.raises(RuntimeError, match="broken"):
        taken(watch)
    assert watch.offer("b", 2.0)
    assert taken(watch) == (2.0, PEOPLE)
    watch.close()


def test_close_may_be_called_twice_and_no_picture_is_taken_after():
    watch = PeopleWatch(lambda picture: PEOPLE, synchronous=False)
    assert watch.close()
    assert watch.close()
    assert not watch.offer("a", 1.0)


def test_a_picture_is_let_go_once_it_has_been_looked_at():
    class Picture:
        pass

    watch = PeopleWatch(lambda picture: PEOPLE, synchronous=False)
    picture = Picture()
    gone = threading.Event()
    weakref.finalize(picture, gone.set)
    watch.offer(picture, 1.0)
    taken(watch)
    del picture
    assert gone.wait(10)
    watch.close()
