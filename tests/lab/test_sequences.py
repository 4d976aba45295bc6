import numpy as np
import pytest

from trainer.lab import truth
from trainer.lab.figure import Figure
from trainer.lab.motion import Pose, Swing
from trainer.lab.people import random_person
from trainer.lab.scenarios import SCENARIOS
from trainer.lab.sequences import checkpoints, part_way, practice_then_fast, top_dofs, walk_in


def _rng():
    return np.random.default_rng(5)


def _wrists(body, motion, solve=None):
    figure = Figure(body) if solve is None else Figure(body, solve=frozenset(solve))
    found = truth.joints(body, figure.pose(motion))
    return (found["left_wrist"] + found["right_wrist"]) / 2


@pytest.mark.parametrize("build", [checkpoints, practice_then_fast, walk_in])
def test_events_come_in_order_inside_the_clip(build):
    motion, spans = build(Swing(), _rng(), 30.0)
    (rep,) = motion.reps
    assert 0 <= rep.setup_s < rep.takeaway_s < rep.top_s <= rep.top_end_s < motion.t_s[-1]
    for span in spans:
        assert 0 <= span.from_s < span.to_s <= motion.t_s[-1]


def test_the_hands_rest_at_each_checkpoint(body):
    motion, spans = checkpoints(Swing(), _rng(), 30.0)
    hands = _wrists(body, motion)
    for span in spans:
        paused = (motion.t_s >= span.from_s) & (motion.t_s <= span.to_s)
        assert np.ptp(hands[paused], axis=0).max() < 0.015, span.what  # standing sway only
    heights = [hands[np.searchsorted(motion.t_s, s.to_s), 1] for s in spans]
    hips = body.head_of("upperleg01.L")[1]
    assert heights[0] == pytest.approx(hips, abs=0.12)
    assert heights[1] > heights[0] + 0.2


def test_a_practice_half_turn_stays_well_short_of_the_top(body):
    motion, spans = practice_then_fast(Swing(), _rng(), 30.0)
    hands = _wrists(body, motion)
    practice = next(s for s in spans if s.what == "practice half-turn")
    inside = (motion.t_s >= practice.from_s) & (motion.t_s <= practice.to_s)
    top = hands[np.searchsorted(motion.t_s, motion.reps[0].top_s), 1]
    assert hands[inside, 1].max() < top - 0.4


def test_walking_in_comes_from_the_side_and_ends_at_the_address(body):
    motion, _ = walk_in(Swing(), _rng(), 30.0)
    posed = Figure(body, solve=frozenset({"shoulders", "hips", "head"})).pose(motion)
    hips = posed.joints[:, body.bone("root")]
    assert hips[0, 0] < -1.5
    settled = np.searchsorted(motion.t_s, motion.reps[0].setup_s)
    assert abs(hips[settled, 0]) < 0.02
    speed = np.linalg.norm(np.diff(hips, axis=0), axis=-1) * 30
    assert speed.max() < 2.0  # metres a second: nobody is thrown about
    foot = posed.joints[:, body.bone("foot.L"), 1]
    assert foot.min() > 0.06


def test_part_way_runs_from_the_address_to_the_top():
    swing, address = Swing(), Pose()
    assert part_way(swing, 1.0, address) == pytest.approx(top_dofs(swing))
    start = part_way(swing, 0.0, address)
    assert all(start[name] == getattr(address, name) for name in start)


def test_the_same_seed_gives_the_same_player_and_another_seed_another():
    one, again = (random_person(np.random.default_rng(3)) for _ in range(2))
    other = random_person(np.random.default_rng(4))
    assert one == again
    assert one.shape != other.shape


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_is_the_same_again_from_its_seed(name):
    one, again = SCENARIOS[name](3, 30.0, {}), SCENARIOS[name](3, 30.0, {})
    assert all(np.array_equal(one.motion.dofs[k], again.motion.dofs[k]) for k in one.motion.dofs)
    assert one.shape == again.shape
    assert one.what


def test_parts_of_a_scenario_can_be_asked_for():
    clip = SCENARIOS["full-turn-right"](1, 30.0, {"shoulder_turn_deg": 70.0})
    assert clip.motion.dofs["shoulder_turn_deg"].max() == pytest.approx(70.0, abs=0.01)
