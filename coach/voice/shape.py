"""Make a clip from an engine's sound: check it, resample it, trim it to its audible part, set its loudness."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import BLOCK, RATE, to_samples, to_seconds

CLIP_FORMAT = 1
"""Version of the clips' processing; raise it when a clip would change, and kept clips are rendered again."""

AUDIBLE = 10 ** (-40 / 20)
"""Share of the peak (-40 dB) at which a clip begins: its first sample that reaches it."""
LOUDNESS = 10 ** (-20 / 20)
"""RMS of every clip over its active stretches (-20 dBFS): an even loudness with room for peaks."""
CEILING = 10 ** (-1 / 20)
"""Highest true peak (-1 dBFS); a clip with a higher one is made softer as a whole."""

_ACTIVE = 10 ** (-30 / 20)
_QUIET = 10 ** (-40 / 20)
_RELEASE = 0.02
"""Seconds kept after the last audible sample; the clip fades out over them."""
_SHORTEST = 0.02
"""Shortest seconds per letter or digit at 160 words a minute; measured: 0.05."""
_LONGEST = 1.2
"""Longest seconds per letter or digit, beyond three seconds for the whole text; a lone digit takes 0.5."""


class UnusableError(Exception):
    """The engine's sound is not the requested speech; the message says why."""


def shape(sound: npt.NDArray[np.float32], rate: int, text: str, words_a_minute: int) -> Block:
    """Return the clip of `text` from `sound` (frames, or frames by channels, at `rate` a second).

    Raises UnusableError if the sound is empty, faint, clipped, or too short or long for its text.
    """
    mono = sound.mean(axis=1) if sound.ndim == 2 else sound
    _check(mono, rate)
    clip = _resampled(mono, rate, RATE)
    clip = _trimmed(clip)
    _check_length(to_seconds(len(clip)), text, words_a_minute)
    return _even(clip)


def loudness(clip: Block) -> float:
    """Return the RMS over the active 20 ms stretches, which are those within 30 dB of the loudest."""
    whole = len(clip) // BLOCK * BLOCK
    frames = clip[:whole].reshape(-1, BLOCK) if whole else clip.reshape(1, -1)
    power = np.mean(np.square(frames, dtype=np.float64), axis=1)
    return float(np.sqrt(power[power >= _ACTIVE**2 * power.max()].mean()))


def true_peak(clip: Block) -> float:
    """Return the largest absolute value, also between the samples (by four times the rate)."""
    return float(max(np.abs(clip).max(), np.abs(_resampled(clip, RATE, 4 * RATE)).max()))


def _check(sound: npt.NDArray[np.float32], rate: int) -> None:
    if rate < 8000:
        raise UnusableError(f"a rate of {rate} a second")
    if not len(sound) or not np.isfinite(sound).all():
        raise UnusableError("no sound")
    size = np.abs(sound)
    if size.max() < _QUIET:
        raise UnusableError("hardly any sound")
    # One sample at full scale is a loud peak; a run of them is a clipped one.
    full = size >= 1 - 2**-14
    if np.count_nonzero(full[:-2] & full[1:-1] & full[2:]) > 0:
        raise UnusableError("clipped sound")


def _check_length(seconds: float, text: str, words_a_minute: int) -> None:
    letters = sum(map(str.isalnum, text))
    pace = 160 / words_a_minute
    if not _SHORTEST * letters * pace <= seconds <= 3 + _LONGEST * letters * pace:
        raise UnusableError(f"{seconds:.1f} s of sound for {letters} letters")


def _resampled(sound: npt.NDArray[np.float32], rate: int, wanted: int) -> Block:
    import soxr

    return np.asarray(soxr.resample(np.ascontiguousarray(sound, np.float32), rate, wanted), np.float32)


def _trimmed(clip: Block) -> Block:
    audible = np.flatnonzero(np.abs(clip) >= AUDIBLE * np.abs(clip).max())
    release = to_samples(_RELEASE)
    kept = np.concatenate([clip, np.zeros(release, np.float32)])[audible[0] : audible[-1] + 1 + release]
    kept[-release:] *= np.linspace(1, 0, release, dtype=np.float32)
    return kept


def _even(clip: Block) -> Block:
    gain = min(LOUDNESS / loudness(clip), CEILING / true_peak(clip))
    return (clip * np.float32(gain)).astype(np.float32)
