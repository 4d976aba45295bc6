"""The mirror with the list of sessions over it: keys go to the list, and the mirror goes on."""

from fakes import (
    FakeEstimator,
    FakeScreen,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
)

from trainer.ports import KeyAction, Listed

SHOWN = Listed(title="t", head=("a",), rows=(("b",),), chosen=0, foot="f")


class ListOnly:
    """Takes what is meant for a list, and notes it."""

    def __init__(self, *mine):
        self.mine, self.took, self.listed = mine, [], SHOWN

    def take(self, action, now_s):
        if action in self.mine:
            self.took.append(action)
            return True
        return False

    def answer(self, now_s):
        return "Making the report …" if self.took else ""


def test_the_list_takes_its_keys_and_the_core_never_hears_of_them():
    frames, known = frames_and_poses(good_reps(1))
    library, screen = ListOnly(KeyAction.REPORT, KeyAction.LIST_DOWN), FakeScreen()
    screen.ask(KeyAction.REPORT, KeyAction.LIST_DOWN, KeyAction.PAIN)
    live, _, _ = mirror(
        FakeSource([*frames[:1], screen.took.wait, *frames[1:]]),
        FakeEstimator(known),
        screen=screen,
        library=library,
    )
    result = outcome(live)
    assert library.took == [KeyAction.REPORT, KeyAction.LIST_DOWN]
    assert result.rules.pain
    assert sum(rep.complete for rep in result.reps) == 1
    assert screen.views[-1].listed is SHOWN
    assert screen.views[-1].answer == "Making the report …"


def test_without_a_list_the_view_has_none_and_its_keys_do_nothing():
    frames, known = frames_and_poses(good_reps(1))
    screen = FakeScreen()
    screen.ask(KeyAction.REPORT, KeyAction.SESSIONS, KeyAction.LIST_DOWN)
    live, _, _ = mirror(FakeSource(frames), FakeEstimator(known), screen=screen)
    result = outcome(live)
    assert not result.quit_asked
    assert all(view.listed is None for view in screen.views)
