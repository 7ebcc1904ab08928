"""Make coach/ears/cohort.npz: what other people's talk is like, for the forecast of false alarms.

    python tests/bench/cohort_speech.py [OUT.npz]

Forty voices of the bundled engine, at several speeds and pitches, and the four of flite (Debian package flite, free
licence, made from recordings), higher and lower, read about the house for some 50 minutes: the conversation that a
session may overhear. Kept are embeddings and levels, as small whole numbers. Nothing of a real
person is in it; the halt word stands in no sentence, words that sound like it do. The numbers differ in the last digits
between versions of the speech engine.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import soxr

from coach.audio.wavs import read_sound
from coach.ears.augment import QUIET_ROOM
from coach.ears.features import EMBEDDING_STEP, Embedder
from coach.ports import Block
from coach.tempo.units import RATE
from coach.voice.render import Renderer

HERE = Path(__file__).parent
SENTENCES = tuple(filter(None, (HERE / "cohort_sentences.txt").read_text("utf-8").splitlines()))
VOICES = tuple(
    base + variant
    for base, variant in zip(
        ("en-us", "en-gb", "en-gb-scotland", "en-gb-x-gbclan", "en-gb-x-rp", "en-029", "en-us", "en-gb") * 2,
        ("+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+m7", "+m8", "+f1", "+f4", "+f1", "+f4", "+m8", "+f4", "+f1", ""),
        strict=True,
    )
)
SETTINGS = tuple(
    (voice, *pace) for voice, pace in zip(VOICES * 3, (((150, 35), (170, 50), (190, 65)) * len(VOICES)), strict=True)
)[:40]
FLITE = tuple(
    (voice, shift) for shift in (1.0, 0.85, 1.15, 0.93, 1.25, 1.07) for voice in ("rms", "slt", "awb", "kal16")
)
"""Each voice with the factor by which it is made higher and faster."""
MINUTES = 25
"""Minutes of each of the two engines."""
STEPS_A_DEVIATION = 14
"""Steps of the whole numbers in one standard deviation of each of the 96: fine enough that scores change by less than
0.005, coarse enough that the file stays below 1.5 MB."""


def main() -> None:
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parents[1] / "coach" / "ears" / "cohort.npz"
    embedder = Embedder()
    rng = np.random.default_rng(2)
    frames: list[np.ndarray] = []
    levels: list[float] = []
    jobs: list[tuple[str, Callable[[Sequence[str]], list[Block]], int]] = []
    for voice, rate, pitch in SETTINGS:
        jobs.append((f"{voice} {rate} {pitch}", partial(_espeak, voice, rate, pitch), len(SETTINGS)))
    for voice, shift in FLITE:
        jobs.append((f"{voice} {shift}", partial(_flite, voice, shift), len(FLITE)))
    for number, (name, speak, of) in enumerate(jobs):
        texts = [SENTENCES[(11 * number + k) % len(SENTENCES)] for k in range(24)]
        pieces = []
        for clip in speak(texts):
            gap = np.zeros(int(rng.uniform(0.2, 0.5) * RATE), np.float32)
            pieces += [clip / np.abs(clip).max() * np.float32(0.5 * 10 ** rng.uniform(-0.7, 0.0)), gap]
        sound = np.concatenate(pieces)
        sound = (sound + rng.normal(0, 10 ** (QUIET_ROOM / 20), len(sound))).astype(np.float32)
        embedder.start(0)
        made = embedder.feed(sound)[: MINUTES * 60 * RATE // EMBEDDING_STEP // of]
        frames += [found.frame for found in made]
        levels += [found.level for found in made]
        print(f"{name}: {len(made) * EMBEDDING_STEP / RATE:.0f} s", flush=True)
    whole = np.array(frames)
    middle, scale = whole.mean(0), whole.std(0) / STEPS_A_DEVIATION
    numbers = np.clip(np.rint((whole - middle) / scale), -127, 127).astype(np.int8)
    np.savez_compressed(
        out,
        frames=numbers,
        middle=middle.astype(np.float32),
        scale=scale.astype(np.float32),
        levels=np.rint(levels).astype(np.int8),
    )
    print(f"{out}: {len(frames) * EMBEDDING_STEP / RATE / 60:.1f} minutes, {out.stat().st_size / 1e6:.2f} MB")


def _espeak(voice: str, rate: int, pitch: int, texts: Sequence[str]) -> list[Block]:
    clips = Renderer(voice, rate, pitch).render(texts)
    return [clips[text] for text in texts]


def _flite(voice: str, shift: float, texts: Sequence[str]) -> list[Block]:
    clips = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        for text in texts:
            subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(path)], check=True)
            clips.append(soxr.resample(read_sound(path), RATE * shift, RATE).astype(np.float32))
    return clips


if __name__ == "__main__":
    main()
