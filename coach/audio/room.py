"""A room without hardware: loudspeaker, echo, noise and a patient, faster than real time and the same every run.

It stands in for the real device, so a whole session can be demonstrated, rehearsed and measured anywhere. The frame
count moves only when somebody reads.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coach.audio.patient import Moment, Patient, Words
from coach.audio.sounds import level
from coach.audio.wavs import WavWriter, read_sound
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE, to_samples

TURN = to_samples(0.2)
"""Samples of silence between two utterances of the patient; nobody says two things at once."""


@dataclass(frozen=True, slots=True)
class Acoustics:
    """How loudspeaker and room change sound. The values are plausible, not measured in a certain room."""

    echo_db: float = -16.0
    """Level of the coach's echo at the microphone relative to the played sound (white noise), dB; -inf: no echo."""
    delay: float = 0.036
    """Seconds from playing to the first echo: about 30 ms of electronics and 2 m of air."""
    decay: float = 0.25
    """Seconds in which the room's sound falls by 60 dB: a furnished living room."""
    noise_db: float = -62.0
    """Level of the room's own noise at the microphone, dBFS RMS; -inf: none."""
    patient_db: float = -26.0
    """Level of the patient's speech at the microphone, dBFS RMS where it sounds."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """One thing that the patient said, for measuring."""

    at: int
    """Sample of its beginning."""
    end: int
    """Sample after its last."""
    words: Words


class VirtualRoom:
    """A Device: each `read` plays one block and returns what the microphone heard meanwhile."""

    rate = RATE

    def __init__(
        self,
        *,
        acoustics: Acoustics | None = None,
        patient: Patient | None = None,
        speaker: Callable[[str], Block] | None = None,
        noise: Path | None = None,
        wav: Path | None = None,
        seed: int = 1,
    ) -> None:
        """Furnish the room.

        `patient` answers each `moment`, `speaker` gives the sound of their words (mono at RATE). `noise` is a sound
        file that loops at the level of `acoustics` instead of pink noise. `wav` is a file to write: the coach on the
        left, everything else in the room on the right. `seed` determines echo and noise.

        Raises DeviceError for a sound file that cannot be used.
        """
        self.acoustics = acoustics or Acoustics()
        self.patient = patient
        self.spoken: list[Spoken] = []
        self.now = 0
        self._speaker = speaker
        self._render: Callable[[int, int], Block] | None = None
        self._talk: list[tuple[int, Block]] = []
        self._talk_until = 0
        random = np.random.default_rng(seed)
        self._echo = _Echo(self.acoustics, random)
        self._noise = _loop(noise, self.acoustics.noise_db, random)
        self._wav = WavWriter(wav, channels=2) if wav else None

    def open(self, render: Callable[[int, int], Block]) -> None:
        """Begin; `render` is called from `read`, in the reader's thread."""
        self._render = render

    def read(self, timeout: float = 1.0) -> Captured | None:  # noqa: ARG002  the room never waits
        """Return the next BLOCK frames, or None once the room is closed."""
        if self._render is None:
            return None
        at = self.now
        played = np.asarray(self._render(at, BLOCK), dtype=np.float32)
        if played.shape != (BLOCK,):
            raise DeviceError(
                f"the virtual room was given {played.shape} frames to play instead of {BLOCK}; mend render."
            )
        others = self._talking(at) + self._noise[np.arange(at, at + BLOCK) % len(self._noise)]
        mic = np.clip(self._echo.step(played) + others, -1.0, 1.0).astype(np.float32)
        if self._wav:
            self._wav.write(np.stack([played, others], axis=1))
        self.now = at + BLOCK
        return Captured(at, mic, played, mic.copy())

    def close(self) -> None:
        """End; finishes the WAV file if one was asked for."""
        self._render = None
        if self._wav:
            self._wav.close()

    def moment(self, moment: Moment) -> None:
        """Give the patient a moment; their answer is heard in the room.

        Raises DeviceError for a recording that cannot be used, and any error of the speaker.
        """
        if self.patient is None:
            return
        for utterance in self.patient.moment(moment):
            self.speak(self._sound(utterance.words), utterance.at, words=utterance.words)

    def speak(self, clip: Block, at: int, *, words: Words | None = None) -> int:
        """Let the patient say `clip` from sample `at`, or after what they already say; return where it begins."""
        at = max(at, self.now, self._talk_until)
        loud = level(clip)
        gain = 10 ** (self.acoustics.patient_db / 20) / loud if loud else 0.0
        self._talk.append((at, np.asarray(clip, dtype=np.float32) * np.float32(gain)))
        self._talk_until = at + len(clip) + TURN
        self.spoken.append(Spoken(at, at + len(clip), words or Words()))
        return at

    def _sound(self, words: Words) -> Block:
        if words.clip:
            return read_sound(words.clip)
        if self._speaker is None:
            raise DeviceError(f'The patient cannot say "{words.text}" without a voice; give the room a speaker.')
        return self._speaker(words.text)

    def _talking(self, at: int) -> Block:
        heard = np.zeros(BLOCK, dtype=np.float32)
        for begin, clip in self._talk:
            first, last = max(at, begin), min(at + BLOCK, begin + len(clip))
            if first < last:
                heard[first - at : last - at] += clip[first - begin : last - begin]
        self._talk = [(begin, clip) for begin, clip in self._talk if begin + len(clip) > at + BLOCK]
        return heard


class WavDevice(VirtualRoom):
    """A Device that hears a recording and writes what the coach says: WAV files in and out."""

    def __init__(self, heard: Path, wav: Path | None = None) -> None:
        """Use `heard` unchanged as the microphone's sound, then quiet; `wav`: left coach, right microphone.

        Noise at -100 dBFS is added, too quiet to matter, because exact zeros count as a lost microphone.
        """
        quiet = Acoustics(echo_db=-np.inf, noise_db=-100.0)
        super().__init__(acoustics=quiet, wav=wav)
        clip = read_sound(heard)
        self.frames = len(clip)
        self._talk.append((0, clip))


class _Echo:
    """Loudspeaker and room: a soft clip, a mild band-pass and a decaying impulse response, block by block."""

    def __init__(self, acoustics: Acoustics, random: np.random.Generator) -> None:
        self._response = _room_response(acoustics, random)
        self._late = to_samples(acoustics.delay)
        self._size = 1 << (len(self._response) + BLOCK - 1).bit_length()
        self._spectrum = np.fft.rfft(self._response, self._size)
        self._tail = np.zeros(self._late + self._size)
        self._quiet = len(self._tail)
        """Frames of silence played so far; once they cover the tail, the echo is zero."""

    def step(self, played: Block) -> Block:
        """Return the echo heard while `played` (BLOCK frames) is played."""
        if played.any():
            self._quiet = 0
            pushed = np.tanh(0.8 * played.astype(np.float64)) / 0.8
            self._tail[self._late :] += np.fft.irfft(np.fft.rfft(pushed, self._size) * self._spectrum, self._size)
        elif self._quiet >= len(self._tail):
            return np.zeros(BLOCK, dtype=np.float32)
        self._quiet += BLOCK
        heard = self._tail[:BLOCK].astype(np.float32)
        self._tail[:-BLOCK] = self._tail[BLOCK:]
        self._tail[-BLOCK:] = 0.0
        return heard


def _room_response(acoustics: Acoustics, random: np.random.Generator) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the impulse response after the delay: direct sound, then noise that falls by 60 dB in `decay` seconds."""
    frames = max(64, to_samples(acoustics.decay * 0.75))
    time = np.arange(frames) / RATE
    response = random.standard_normal(frames) * 10 ** (-3 * time / max(acoustics.decay, 0.001))
    response *= 0.5 / np.sqrt((response**2).sum())
    response[0] += 1.0
    # A small loudspeaker: first-order high-pass at 180 Hz, low-pass at 5.5 kHz.
    high, low = np.exp(-2 * np.pi * 180 / RATE), np.exp(-2 * np.pi * 5500 / RATE)
    shaped, before, passed, kept = np.empty(frames), 0.0, 0.0, 0.0
    for index, value in enumerate(response):
        passed = high * (passed + value - before)
        before = value
        kept = low * kept + (1 - low) * passed
        shaped[index] = kept
    scaled: np.ndarray[tuple[int], np.dtype[np.float64]] = (
        shaped * 10 ** (acoustics.echo_db / 20) / np.sqrt((shaped**2).sum())
    )
    return scaled


def _loop(noise: Path | None, noise_db: float, random: np.random.Generator) -> Block:
    """Return noise for a seamless loop: a file, or 20 s of pink noise whose end meets its beginning."""
    if noise is not None:
        sound = read_sound(noise, longest=600).astype(np.float64)
    elif noise_db == -np.inf:
        return np.zeros(BLOCK, dtype=np.float32)
    else:
        frames = to_samples(20)
        spectrum = np.fft.rfft(random.standard_normal(frames))
        hertz = np.fft.rfftfreq(frames, 1 / RATE)
        sound = np.fft.irfft(spectrum / np.sqrt(np.maximum(hertz, 40.0)), frames)
    rms = float(np.sqrt((sound**2).mean()))
    if rms == 0.0:
        raise DeviceError(f"{noise} holds only silence; give another noise.")
    scaled: Block = (sound * 10 ** (noise_db / 20) / rms).astype(np.float32)
    return scaled
