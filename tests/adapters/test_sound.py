"""The sounders: what real device drivers were given, and what happens when a device dies.

pygame and simpleaudio each keep one driver for a whole process, so every test that hears a
real driver runs its script in a process of its own.
"""

import os
from pathlib import Path

import numpy as np
import pytest
from listening import PROMISED, ROOT, SOUNDS, assert_sounds_like, beeps, run, samples_of, size_at

from trainer.adapters import sound
from trainer.adapters.sound import (
    PygameSounder,
    SilentSounder,
    mixed,
    open_sounder,
)
from trainer.adapters.tones import load_tones, stereo
from trainer.core.records import CueKind
from trainer.errors import SoundError


@pytest.mark.sound_device
def test_pygame_gives_the_device_the_tones_one_after_another(tmp_path):
    raw = tmp_path / "heard.raw"
    printed = run(
        """
sounder = open_sounder("auto", SOUNDS)
print(sounder.name, sounder.audible, repr(sounder.trouble))
time.sleep(0.1)
for kind, pan, strength in ((TURN, 0.0, 1.0), (HEAD, -1.0, 1.0), (HIPS, 1.0, 0.0)):
    sounder.play(cue(kind, strength), pan=pan)
    time.sleep(0.8)
sounder.close(); sounder.close()
sounder.play(cue(HEAD))
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(raw),
    )
    assert printed == ["pygame True ''"]
    heard = samples_of(raw)
    loud = beeps(heard.max(axis=1))
    assert len(loud) == 7
    cuts = [(loud[1][1] + loud[2][0]) // 2, (loud[3][1] + loud[4][0]) // 2]
    turn, head, hips = np.split(heard, cuts)
    assert_sounds_like(turn, CueKind.TURN_REACHED, 0.0)
    assert_sounds_like(head, CueKind.HEAD_OUT, -1.0)  # left: 12 dB louder in the left channel
    assert_sounds_like(hips, CueKind.HIPS_OUT, 1.0, level_db=-6.0)


@pytest.mark.sound_device
def test_pygame_mixes_a_head_and_a_hips_cue_and_clips_nothing(tmp_path):
    raw = tmp_path / "heard.raw"
    run(
        """
sounder = PygameSounder(SOUNDS)
time.sleep(0.1)
for kind in CueKind:
    sounder.play(cue(kind), pan=1.0)
time.sleep(0.8)
sounder.close()
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(raw),
    )
    right = samples_of(raw)[:, 1]
    first = beeps(right)[0][0]
    start = right[first : first + 3528]  # 80 ms, in which all three have their first beep
    for kind in CueKind:
        hz = PROMISED[kind][0][1]
        alone = stereo(load_tones(SOUNDS)[kind], 1.0, 0.0)[:3528, 1]
        assert size_at(start, hz) == pytest.approx(size_at(alone, hz), rel=0.1)
    peak = np.abs(right.astype(int)).max()
    assert 15_000 < peak < 32_767  # louder than any one of them (10 800), yet not held at the top


@pytest.mark.sound_device
def test_a_tone_started_again_takes_its_own_place_and_no_other(tmp_path):
    raw = tmp_path / "heard.raw"
    run(
        """
sounder = PygameSounder(SOUNDS)
time.sleep(0.1)
sounder.play(cue(HEAD)); sounder.play(cue(HIPS)); sounder.play(cue(HEAD)); sounder.play(cue(HEAD))
time.sleep(0.8)
sounder.close()
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(raw),
    )
    heard = samples_of(raw)
    tones = load_tones(SOUNDS)
    both = mixed([stereo(tones[k], 0.0, 0.0) for k in (CueKind.HEAD_OUT, CueKind.HIPS_OUT)])
    assert np.abs(heard.astype(int)).max() <= np.abs(both.astype(int)).max() * 1.3


@pytest.mark.sound_device
def test_a_mixer_closed_by_another_part_makes_the_sounder_silent_not_the_program_crash(tmp_path):
    printed = run(
        """
import pygame
sounder = PygameSounder(SOUNDS)
sounder.play(cue(HEAD))
pygame.quit()
sounder.play(cue(HEAD))
print(sounder.audible, sounder.trouble)
sounder.play(cue(HEAD)); sounder.close()
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(tmp_path / "heard.raw"),
    )
    assert printed[0].startswith("False no sound: pygame's mixer was closed by another part")


#: A named pipe stands for the device: a reader that goes away is a device pulled out, a reader
#: that stops reading is a device that hangs.
PIPE = """
os.mkfifo(os.environ["SDL_DISKAUDIOFILE"])
reading, gone = threading.Event(), threading.Event()
reading.set()
def device():
    with open(os.environ["SDL_DISKAUDIOFILE"], "rb", buffering=0) as pipe:
        while not gone.is_set():
            reading.wait()
            pipe.read(4096)
threading.Thread(target=device, daemon=True).start()
"""


@pytest.mark.sound_device
@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_device_that_is_pulled_out_makes_the_sounder_silent(tmp_path):
    printed = run(
        PIPE
        + """
import pygame
sounder = PygameSounder(SOUNDS)
pygame.display.init(); pygame.display.set_mode((60, 60))
def window():
    pygame.event.get(exclude=pygame.AUDIODEVICEREMOVED)
window(); sounder.play(cue(HEAD)); print(sounder.audible, repr(sounder.trouble))
gone.set()
until_s = time.monotonic() + 20
while sounder.audible and time.monotonic() < until_s:
    window(); sounder.play(cue(HEAD)); time.sleep(0.05)
print(sounder.audible, sounder.trouble)
sounder.close()
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(tmp_path / "pipe"),
        SDL_VIDEODRIVER="dummy",
    )
    assert printed[0] == "True ''"
    assert printed[1].startswith("False no sound: the sound device was taken away.")


@pytest.mark.sound_device
@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_device_that_hangs_makes_the_sounder_silent(tmp_path):
    printed = run(
        PIPE
        + """
now_s = [0.0]
sounder = PygameSounder(SOUNDS, clock=lambda: now_s[0])
reading.clear()
time.sleep(1.5)  # the pipe fills up: 64 kB are 0.37 s
sounder.play(cue(HEAD)); print(sounder.audible)
now_s[0] = 5.0
sounder.play(cue(HEAD)); print(sounder.audible, sounder.trouble)
reading.set()
""",
        SDL_AUDIODRIVER="disk",
        SDL_DISKAUDIOFILE=str(tmp_path / "pipe"),
    )
    assert printed[0] == "True"
    assert printed[1].startswith("False no sound: the sound device has stopped taking sound.")


def test_two_buffers_are_the_delay_told():
    sounder = PygameSounder(SOUNDS, buffer_samples=512)
    sounder.close()
    assert sounder.latency_s == pytest.approx(0.0232, abs=0.0001)  # 2 x 512 / 44100


def test_a_driver_that_sends_sound_nowhere_is_not_called_audible():
    printed = run(
        "s = open_sounder('auto', SOUNDS); print(s.name, s.audible, s.trouble)",
        SDL_AUDIODRIVER="dummy",
    )
    assert printed[0].startswith("pygame False no sound: SDL_AUDIODRIVER=dummy")


def test_no_device_gives_a_silent_sounder_that_says_why():
    printed = run(
        "s = open_sounder('pygame', SOUNDS); s.play(cue(HEAD)); s.close()\n"
        "print(s.name, s.audible, s.trouble)",
        SDL_AUDIODRIVER="nonesuch",
    )
    assert printed[0].startswith("no sound False pygame could not open a sound device")
    assert "--sound off" in printed[0]


def test_sound_that_was_switched_off_is_no_trouble():
    sounder = open_sounder("off", Path("nowhere"))
    assert isinstance(sounder, SilentSounder)
    assert (sounder.name, sounder.audible, sounder.trouble) == ("no sound", False, "")
    assert sounder.latency_s is None


def test_a_broken_tone_or_an_unknown_choice_is_an_error(tmp_path):
    with pytest.raises(SoundError, match="cannot be read"):
        open_sounder("auto", tmp_path)
    with pytest.raises(SoundError, match="auto, pygame, simpleaudio or off"):
        open_sounder("loud", SOUNDS)


def test_auto_never_tries_simpleaudio(monkeypatch):
    def never(*_):
        pytest.fail("simpleaudio was tried")

    monkeypatch.setattr(sound, "probe_simpleaudio", never)
    open_sounder("auto", SOUNDS).close()


def test_the_example_in_the_guide_to_the_tones_runs(tmp_path):
    guide = (ROOT / "docs" / "how-to" / "change-the-tones.md").read_text(encoding="utf-8")
    example = guide.split("```python\n")[1].split("```")[0]
    raw = tmp_path / "heard.raw"
    printed = run(example, SDL_AUDIODRIVER="disk", SDL_DISKAUDIOFILE=str(raw))
    assert printed == ["pygame "]
    heard = samples_of(raw)
    _, (_, end), (start, _), _ = beeps(heard.max(axis=1))
    left, right = np.split(heard, [(end + start) // 2])
    assert_sounds_like(left, CueKind.HEAD_OUT, -1.0)
    assert_sounds_like(right, CueKind.HEAD_OUT, 1.0)


def test_the_sound_outputs_are_named_where_the_system_tells():
    # SDL's disk driver is no device with a name of its own; asking must work and never raise.
    script = """
from trainer.adapters.sound import open_sounder, sound_devices
from trainer.resources import resource_dir
sounder = open_sounder("auto", resource_dir("sounds"))
print(type(sound_devices()).__name__, all(isinstance(n, str) for n in sound_devices()))
sounder.close()
"""
    assert "tuple True" in run(script, SDL_AUDIODRIVER="dummy")
