"""Only the legal moves ever happen, and each of them does."""

import pytest
from golfer import Body, Script, View, play, poses
from hypothesis import given, settings
from hypothesis import strategies as st
from situations import SITUATIONS, script_of

from trainer.core import phases
from trainer.core.phase_state import MOVES, PhaseState, Reading, move
from trainer.core.records import Handed, Phase
from trainer.core.rules import PhaseRules

LEGAL = {(old, new) for old, news in MOVES.items() for new in news}


def moves_of(played):
    """Return (from, to) pairs, checking that steps and changes say the same."""
    phase, pairs = Phase.NOBODY, []
    for step in played.steps:
        for change in step.changes:
            pairs.append((phase, change.phase))
            phase = change.phase
            assert change.decided_t_s == step.t_s
            assert change.t_s <= change.decided_t_s
        assert step.phase is phase
    return pairs


def test_the_moves_are_those_of_the_diagram():
    # Written out a second time on purpose: a move added or taken away is a decision.
    text = """
    nobody > waiting
    waiting > setup nobody
    setup > takeaway waiting nobody
    takeaway > backswing setup waiting nobody
    backswing > top waiting nobody
    top > after backswing nobody
    after > waiting nobody
    """
    expected = set()
    for line in text.split("\n"):
        if line.strip():
            old, news = line.split(">")
            expected |= {(Phase(old.strip()), Phase(new)) for new in news.split()}
    assert expected == LEGAL


def test_every_legal_move_is_seen_in_some_named_situation_and_no_other():
    seen = set()
    for name in SITUATIONS:
        seen.update(moves_of(play(script_of(name), View(hz=30))))
    assert seen == LEGAL


def test_an_illegal_move_is_refused():
    now = Reading(t_s=1.0, seen=True)
    for old in Phase:
        for new in set(Phase) - MOVES[old]:
            with pytest.raises(ValueError, match="no legal move"):
                move(PhaseState(phase=old), old, new, 1.0, now)


@settings(max_examples=20, deadline=None)
@given(
    mix=st.lists(
        st.tuples(st.sampled_from(sorted(SITUATIONS)), st.floats(0.0, 2.0)), min_size=1, max_size=4
    ),
    start_cm=st.sampled_from([0.0, 150.0, -150.0]),
    handed=st.sampled_from(list(Handed)),
    hz=st.sampled_from([15, 20, 30]),
    noise_px=st.sampled_from([0.0, 1.0]),
)
def test_only_legal_moves_happen_in_any_mix_of_situations(mix, start_cm, handed, hz, noise_px):
    script = Script(Body(walk_cm=start_cm))
    for name, hold_s in mix:
        SITUATIONS[name](script).hold(hold_s)
    played = play(script.hold(0.2), View(handed=handed, hz=hz, noise_px=noise_px))
    pairs = moves_of(played)
    assert set(pairs) <= LEGAL
    check_times(played)
    check_reps(played)


def check_times(played):
    """Phases begin in order of time, and a rep's ends come in order."""
    starts = [change.t_s for change in played.changes]
    assert starts == sorted(starts)
    for rep in played.reps:
        assert rep.setup_t_s <= rep.takeaway_t_s
        if rep.top_t_s is not None:
            assert rep.takeaway_t_s < rep.top_t_s
        if rep.top_end_t_s is not None:
            assert rep.top_t_s <= rep.top_end_t_s
    for cue in played.cues:
        assert cue.t_s <= cue.decided_t_s


def check_reps(played):
    """No rep without a top: what is counted has one, and each end of a top ends one rep."""
    complete = [rep for rep in played.reps if rep.complete]
    assert len(complete) == played.state.reps == played.phases.count(Phase.AFTER)
    assert all(rep.top_t_s is not None and rep.at_top is not None for rep in complete)
    assert [rep.number for rep in played.reps] == list(range(1, len(played.reps) + 1))


@settings(max_examples=10, deadline=None)
@given(
    keep=st.lists(st.booleans(), min_size=400, max_size=400),
    name=st.sampled_from(["swing", "held_top", "quick_second_rep", "half_turn", "waggle"]),
)
def test_frames_dropped_at_random_change_no_phase(keep, name):
    # Half of 60 pictures a second at random leaves 30 a second with uneven steps.
    pairs = poses(script_of(name), View(hz=60))
    kept = [pair for i, pair in enumerate(pairs) if keep[i % 400] or i % 6 == 0]
    assert play(None, pairs=kept).phases == play(None, pairs=pairs).phases


def test_an_unread_frame_is_no_evidence_for_anything():
    rules = PhaseRules()
    for phase in Phase:
        state = PhaseState(phase=phase, seen_t_s=1.0, top_t_s=0.5, takeaway_t_s=0.2)
        after, changes = phases.step(state, Reading(t_s=1.1, seen=False), rules)
        assert after.phase is phase
        assert changes == ()


def test_evidence_must_hold_without_a_break():
    rules = PhaseRules()
    state = PhaseState()
    for t_s, seen in ((0.0, True), (0.06, False), (0.12, True), (0.18, True)):
        state, changes = phases.step(state, Reading(t_s=t_s, seen=seen), rules)
        assert changes == ()
    state, (change,) = phases.step(state, Reading(t_s=0.22, seen=True), rules)
    assert (change.phase, change.t_s) == (Phase.WAITING, 0.12)
