"""The tones that steer the practice, measured in the written samples."""

import numpy as np
import pytest
from listening import RATE_HZ, beeps, cue, pitch_hz, read_wav, spectrum

from trainer.adapters.cue_track import RecordingSounder, SoundEvent, render_track
from trainer.adapters.sound import SilentSounder
from trainer.adapters.tones import all_variants, group_of, signal_variant
from trainer.core.practice import APART_S
from trainer.core.records import CueKind, Signal
from trainer.resources import resource_dir

SOUNDS = resource_dir("sounds")
LADDER = [Signal.CHECK_1, Signal.CHECK_2, Signal.CHECK_3, Signal.CHECK_4]


def wav_of(signal):
    return read_wav(SOUNDS / f"{signal.value}.wav")


def pitches_hz(mono):
    return [pitch_hz(mono[a:b]) for a, b in beeps(mono)]


def test_the_ladder_rises_by_a_quarter_from_checkpoint_to_checkpoint():
    # Read by a Fourier transform of the samples as written. NUREG-0700 rev 2, 1.3.11-17, asks
    # for 20 % between tones that must be told apart.
    found = [hz for signal in LADDER for hz in pitches_hz(wav_of(signal))]
    assert found == pytest.approx([600, 750, 940, 1175, 1470], rel=0.005)
    ratios = np.array(found[1:]) / found[:-1]
    assert np.all(ratios >= 1.2)


def test_a_hold_that_is_lost_falls_and_a_skip_stays_level_below_the_ladder():
    left, skipped = pitches_hz(wav_of(Signal.CHECK_LEFT)), pitches_hz(wav_of(Signal.CHECK_SKIPPED))
    assert left[1] < left[0] / 1.2
    assert np.ptp(skipped) < 1.0
    assert skipped[0] < 600 / 1.1


def test_going_on_rises_where_a_pause_falls():
    paused, resumed = pitches_hz(wav_of(Signal.PAUSED)), pitches_hz(wav_of(Signal.RESUMED))
    assert paused == pytest.approx(resumed[::-1], rel=0.005)
    assert paused[0] > paused[1]


@pytest.mark.parametrize("number", range(1, 11))
def test_a_count_has_a_long_beep_for_five_and_a_short_one_for_each_more(number):
    mono = wav_of(Signal(f"count_{number}"))
    lengths_s = [(b - a) / RATE_HZ for a, b in beeps(mono)]
    longs = sum(length_s > 0.15 for length_s in lengths_s)
    assert 5 * longs + (len(lengths_s) - longs) == number
    assert lengths_s == sorted(lengths_s, reverse=True)  # the long ones first


@pytest.mark.parametrize("signal", list(Signal))
def test_every_signal_is_where_small_speakers_play_and_over_before_the_next(signal):
    mono = wav_of(signal)
    hz, size = spectrum(mono[: 2 * RATE_HZ])
    power = size**2
    # NUREG-0700 rev 2, 1.3.11-17: an octave of 200-5000 Hz.
    assert power[(hz >= 200) & (hz <= 5000)].sum() / power.sum() > 0.99
    assert all(500 <= pitch <= 2000 for pitch in pitches_hz(mono))
    assert len(mono) / RATE_HZ < APART_S
    assert np.abs(mono.astype(int)).max() / 32767 == pytest.approx(0.34, abs=0.005)


def test_no_two_signals_are_the_same_tone():
    assert len({wav_of(signal).tobytes() for signal in Signal}) == len(Signal)


def test_all_signals_share_one_channel_and_each_cue_has_its_own():
    assert {group_of(signal) for signal in Signal} == {None}
    assert len({group_of(kind) for kind in CueKind}) == len(CueKind)


def test_a_signal_comes_evenly_from_both_sides():
    samples = all_variants(SOUNDS)[signal_variant(Signal.CHECK_1)]
    assert np.array_equal(samples[:, 0], samples[:, 1])


def test_a_track_holds_the_signals_at_their_times_each_in_place_of_the_last():
    sounder = RecordingSounder(SilentSounder())
    sounder.signal(Signal.CHECK_1, 0.5)
    sounder.play(cue(CueKind.HEAD_OUT, t_s=2.0))
    sounder.signal(Signal.CHECK_2, 1.0)
    assert sounder.events[0] == SoundEvent(0.5, Signal.CHECK_1, 0.0)
    track = render_track(sounder.events, 3.0, SOUNDS)
    found = beeps(track[:, 0])
    starts_s = [first / RATE_HZ for first, _ in found]
    assert starts_s == pytest.approx([0.5, 1.0, 2.0, 2.15], abs=0.0015)
    assert [pitch_hz(track[a:b, 0]) for a, b in found] == pytest.approx(
        [600, 750, 1280, 1280], rel=0.005
    )
    cut = render_track(
        [SoundEvent(0.5, Signal.COUNT_9, 0.0), SoundEvent(0.6, Signal.PAUSED, 0.0)], 2.0, SOUNDS
    )
    alone = render_track([SoundEvent(0.6, Signal.PAUSED, 0.0)], 2.0, SOUNDS)
    np.testing.assert_array_equal(cut[round(0.6 * RATE_HZ) :], alone[round(0.6 * RATE_HZ) :])
