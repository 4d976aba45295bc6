"""Practice: verdicts by kind, what may be heard, guesses, the silent check, counting by tones."""

from dataclasses import replace
from itertools import pairwise

import pytest
from golfer import SETUP, TOP, Script, rep_script
from practising import practise

from trainer.core import practice
from trainer.core.practice_rules import CueSchedule, PracticeKind, PracticeRules, TurnOf
from trainer.core.practice_shown import shown
from trainer.core.practice_words import CUES, KINDS, check_words, schedule_words
from trainer.core.records import CueKind, Measures, Phase, Rep, Signal, Step
from trainer.core.rules import CueRules, Rules

SHORT = replace(TOP, turn_deg=60.0, hip_turn_deg=30.0)
OFF = replace(TOP, head_cm=9.0)


def top(turn_deg=90.0, **figures):
    figures = {"head_lateral_cm": 0.0, "hip_lateral_cm": 0.0} | figures
    return Measures(t_s=3.0, shoulder_turn_deg=turn_deg, **figures)


def rep(number=1, turn_deg=90.0, back_s=1.0, head_cm=0.0, hips_cm=0.0):
    return Rep(
        number=number,
        setup_t_s=1.0,
        takeaway_t_s=3.0 - back_s,
        top_t_s=3.0,
        top_end_t_s=3.2,
        complete=True,
        at_top=top(turn_deg, hip_lateral_cm=hips_cm),
        max_head_lateral_cm=head_cm,
        max_hip_lateral_cm=hips_cm,
    )


class Reps:
    """Gives reps one after another to the practice, without a body."""

    def __init__(self, rules=None, **practice_rules):
        rules = rules or Rules()
        self.rules = replace(rules, practice=PracticeRules(**practice_rules))
        self.state = practice.begun(self.rules)
        self.t_s = 0.0
        self.made = 0

    def feed(self, phase, made=None, after_s=0.5, cues=()):
        self.t_s += after_s
        self.made += made is not None
        now = Step(t_s=self.t_s, pose=None, measures=Measures(t_s=self.t_s), phase=phase,
                   rep=made, cues=cues, reps=self.made)  # fmt: skip
        self.state, step = practice.step(self.state, now, None, self.rules)
        return step

    def make(self, made):
        """Make a rep; return its verdict and the tones until the next setup."""
        for phase in (Phase.WAITING, Phase.SETUP, Phase.BACKSWING):
            self.feed(phase)
        step = self.feed(Phase.AFTER, made)
        signals = list(step.signals)
        for _ in range(6):
            signals += self.feed(Phase.WAITING).signals
        return step.rep.verdict, signals

    def shown(self, phase=Phase.WAITING):
        return shown(self.state, phase, None, None, self.rules)


# --- what is told ---


def test_by_default_everything_is_told():
    script, _ = rep_script(top=OFF)
    done = practise(script)
    assert done.told == done.cues != []
    assert done.verdicts[0].told


def test_a_rep_on_your_own_is_measured_and_judged_but_not_told():
    script, _ = rep_script(top=OFF)
    done = practise(script, cues=CueSchedule.SILENT)
    assert done.cues
    assert done.told == []
    (verdict,) = done.verdicts
    assert (verdict.told, verdict.good, verdict.cues, verdict.told_pct) == (
        False,
        False,
        "silent",
        0,
    )


def test_alternate_reps_are_told_by_turns():
    reps = Reps(cues=CueSchedule.ALTERNATE)
    assert [reps.make(rep(n))[0].told for n in range(1, 6)] == [True, False, True, False, True]


def test_with_bandwidth_the_turns_tone_is_silent_and_faults_are_told():
    # Cruz et al 2018, Motricidade 14:107: told only when the error was larger than the band.
    script, _ = rep_script(top=OFF)
    done = practise(script, cues=CueSchedule.BANDWIDTH)
    assert CueKind.TURN_REACHED in done.cues
    assert set(done.told) == {CueKind.HEAD_OUT}
    reps = Reps(cues=CueSchedule.BANDWIDTH)
    assert not reps.make(rep(1))[0].told  # good: silence
    assert reps.make(rep(2, turn_deg=50.0))[0].told


def test_no_bar_is_seen_in_a_rep_that_is_not_told_and_the_verdict_stays_hidden():
    reps = Reps(cues=CueSchedule.ALTERNATE)
    reps.make(rep(1))
    for phase in (Phase.SETUP, Phase.BACKSWING):
        reps.feed(phase)
        seen = reps.shown(phase)
        assert (seen.turn, seen.drifts) == (False, False)
    reps = Reps(cues=CueSchedule.BANDWIDTH)
    reps.feed(Phase.SETUP)
    reps.feed(Phase.BACKSWING)
    assert not reps.shown(Phase.BACKSWING).turn


def test_what_is_told_of_a_rep_is_settled_at_its_setup():
    reps = Reps(cues=CueSchedule.ALTERNATE)
    reps.make(rep(1))
    reps.feed(Phase.WAITING)
    assert reps.shown().turn  # still the first rep's
    reps.feed(Phase.SETUP)
    assert not reps.shown(Phase.SETUP).turn


# --- kinds ---


def test_every_kind_and_schedule_has_words():
    assert set(KINDS) == set(PracticeKind)
    assert set(CUES) == set(CueSchedule)


def test_stay_centred_judges_head_and_hips_alone():
    reps = Reps(kind=PracticeKind.CENTRED)
    verdict, _ = reps.make(rep(1, turn_deg=40.0))
    assert verdict.good
    assert not any("turn" in line for line in verdict.lines)
    assert reps.make(rep(2, turn_deg=90.0, head_cm=9.0))[0].good is False
    assert reps.make(rep(3, turn_deg=90.0, hips_cm=9.0))[0].good is False
    script, _ = rep_script(top=OFF)
    assert set(practise(script, kind=PracticeKind.CENTRED).told) == {CueKind.HEAD_OUT}
    assert not reps.shown().turn
    assert reps.shown().drifts


def test_turn_only_judges_the_turn_alone():
    reps = Reps(kind=PracticeKind.TURN_ONLY)
    assert reps.make(rep(1, head_cm=30.0, hips_cm=30.0))[0].good
    assert reps.make(rep(2, turn_deg=50.0))[0].good is False


def test_the_speed_ladder_climbs_from_slow_to_full_and_begins_again():
    reps = Reps(kind=PracticeKind.LADDER, ladder_reps=2)
    for speed, back_s in (("slow", 3.0), ("half", 2.0), ("full", 1.0)):
        for n in (1, 2):
            assert speed in schedule_words(reps.state, reps.rules)
            verdict, signals = reps.make(rep(n, back_s=back_s))
            assert verdict.good
        assert Signal.NEXT_KIND in signals
    assert practice.RUNGS[reps.state.rung] == "slow"


def test_a_rep_at_another_speed_than_the_rungs_is_not_good():
    reps = Reps(kind=PracticeKind.LADDER)
    verdict, _ = reps.make(rep(1, back_s=1.0))
    assert verdict.good is False
    assert verdict.lines[0] == "Too quick for slow: 1.0 s, wanted 2.4 s or more"
    reps.state = replace(reps.state, rung=2)
    assert reps.make(rep(2, back_s=3.0))[0].lines[0].startswith("Too slow for full: 3.0 s")


def test_the_ladder_has_the_same_bands_as_free_reps():
    reps = Reps(kind=PracticeKind.LADDER)
    verdict, _ = reps.make(rep(1, turn_deg=50.0, back_s=3.0))
    assert verdict.good is False
    assert verdict.lines[0].startswith("Turn about 35° short")


def test_another_kind_begins_its_own_count():
    reps = Reps()
    reps.make(rep(1))
    reps.state = practice.with_kind(reps.state, PracticeKind.LADDER)
    assert (reps.state.counted, reps.state.good) == (0, 0)
    assert reps.state.schedule.reps == 1  # the schedule goes on


# --- guess first ---


def test_the_figure_waits_for_the_guess_and_answers_it():
    reps = Reps(guess_first=True)
    reps.make(rep(1, turn_deg=70.0))
    seen = reps.shown()
    assert (seen.turn, seen.verdict) == (False, False)
    assert seen.headline == "How far was it: short, there or past?"
    reps.state, answer = practice.guessed(reps.state, "there", reps.rules)
    assert answer.startswith("You said there; the camera says short: about 70°")
    assert reps.shown().verdict
    assert reps.state.guesses == (1, 0)
    assert practice.guessed(reps.state, "short", reps.rules)[1] == ""


@pytest.mark.parametrize(("turn_deg", "was"), [(79.9, "short"), (80.1, "there"), (85.0, "there"),
                                               (89.9, "there"), (90.1, "past")])  # fmt: skip
def test_there_is_the_band_round_the_target(turn_deg, was):
    reps = Reps(guess_first=True)
    reps.make(rep(1, turn_deg=turn_deg))
    reps.state, answer = practice.guessed(reps.state, was, reps.rules)
    assert f"the camera says {was}" in answer
    assert reps.state.guesses == (1, 1)


def test_an_unanswered_guess_gives_way_to_the_figure():
    reps = Reps(guess_first=True, guess_wait_s=4.0)
    reps.make(rep(1))
    reps.feed(Phase.WAITING, after_s=4.1)
    assert reps.shown().verdict
    reps.make(rep(2))
    reps.feed(Phase.SETUP)  # the player goes on
    assert reps.shown(Phase.SETUP).verdict


def test_the_turns_tone_does_not_give_the_answer_away():
    script, _ = rep_script(top=OFF)
    done = practise(script, guess_first=True)
    assert set(done.told) == {CueKind.HEAD_OUT}
    reps = Reps(guess_first=True)
    reps.feed(Phase.SETUP)
    assert not reps.shown(Phase.BACKSWING).turn
    assert reps.shown(Phase.BACKSWING).drifts


def test_after_pain_nobody_is_asked_how_far_it_was():
    reps = Reps(Rules(pain=True), guess_first=True)
    reps.make(rep(1))
    assert reps.state.guess is None
    assert reps.shown().verdict


# --- the silent check ---


def test_a_silent_check_is_offered_to_who_practised_before_and_lapses_with_the_first_rep():
    assert Reps().shown().headline == ""
    reps = Reps(Rules(check_offered=True))
    assert "Silent check of 5 reps" in reps.shown().headline
    reps.make(rep(1))
    assert reps.shown().headline == ""


def test_five_reps_are_made_on_your_own_and_then_told_together():
    reps = Reps(Rules(check_offered=True))
    reps.state = practice.with_check(reps.state, reps.rules.practice)
    turns = (80.0, 84.0, 88.0, 50.0, 84.0)
    for n, turn_deg in enumerate(turns, 1):
        assert reps.state.check is None
        verdict, _ = reps.make(rep(n, turn_deg=turn_deg))
        assert (verdict.told, verdict.kind) == (False, "silent_check")
    result = reps.state.check
    assert (result.reps, result.good) == (5, 4)
    assert result.turn_mean_deg == pytest.approx(77.2)
    # sample standard deviation by hand: squares of 2.8, 6.8, 10.8, 27.2, 6.8 add up to 956.8
    assert result.turn_sd_deg == pytest.approx((956.8 / 4) ** 0.5)
    assert check_words(result) == "Silent check: 4 of 5 good, turn about 77°, spread ±15°"
    assert reps.make(rep(6))[0].told  # and practice goes on as it was


def test_a_silent_check_tells_the_turn_that_is_asked_for():
    reps = Reps(Rules(cues=CueRules(turn_of=TurnOf.CHEST)), check_reps=1)
    reps.state = practice.with_check(reps.state, reps.rules.practice)
    made = rep(1)
    reps.make(replace(made, at_top=replace(made.at_top, thorax_turn_deg=77.0)))
    assert reps.state.check.turn_mean_deg == 77.0


def test_a_silent_check_is_of_free_reps_whatever_was_practised():
    reps = Reps(kind=PracticeKind.CENTRED)
    reps.state = practice.with_check(reps.state, reps.rules.practice)
    assert reps.make(rep(1, turn_deg=40.0))[0].good is False


# --- tones that steer ---


def test_the_number_of_each_rep_is_sounded_after_it():
    reps = Reps()
    heard = [reps.make(rep(n))[1] for n in range(1, 13)]
    assert [signals[0].value for signals in heard] == [
        f"count_{n}" for n in (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 1, 2)
    ]
    assert Reps(count_sounds=False).make(rep(1))[1] == []


def test_a_signal_never_sounds_in_a_swing_nor_close_to_a_cue():
    script = Script()
    for _ in range(3):
        script.hold(1.5).move(OFF, 0.8).move(SETUP, 0.4)
    done = practise(script.hold(2.0))
    assert len(done.signals) == 3
    cues = [step.t_s for step in done.steps if step.told]
    for _, t_s in done.signal_times:
        assert all(abs(t_s - cue_s) >= practice.AFTER_CUE_S for cue_s in cues)
    swinging = {step.t_s for step in done.steps if step.phase in practice.SWINGING}
    assert not swinging & {t_s for _, t_s in done.signal_times}


def test_two_signals_keep_apart():
    reps = Reps(time_every_min=0.05)
    reps.state = replace(reps.state, due=(Signal.PAUSED, Signal.RESUMED))
    times = []
    for _ in range(40):
        times += [reps.t_s + 0.1] * len(reps.feed(Phase.WAITING, after_s=0.1).signals)
    assert len(times) >= 3
    assert min(b - a for a, b in pairwise(times)) >= practice.APART_S - 1e-6


def test_the_time_practised_is_sounded_and_time_away_is_not_counted():
    reps = Reps(time_every_min=1.0)
    heard = []
    for _ in range(130):
        heard += reps.feed(Phase.WAITING, after_s=0.5).signals
    assert heard == [Signal.TIME]  # 65 s
    for _ in range(200):
        heard += reps.feed(Phase.NOBODY, after_s=0.5).signals
    assert heard == [Signal.TIME]
    assert reps.state.practised_s == pytest.approx(64.5)


def test_the_line_says_what_is_practised_and_what_comes():
    assert Reps().shown().line == ""
    reps = Reps(cues=CueSchedule.ALTERNATE)
    assert reps.shown().line == "free reps  ·  cues: alternate"
    reps.make(rep(1))
    assert reps.shown().line == "free reps  ·  cues: alternate  ·  next rep on your own"
    reps = Reps(cues=CueSchedule.FADING, guess_first=True)
    assert "fading 100 %" in reps.shown().line
