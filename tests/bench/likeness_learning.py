"""Make coach/ears/likeness.npz: what keeps words apart from each other through noise and other people's talk.

    pip install jax
    python tests/bench/likeness_learning.py [--out OUT.npz] [--work DIR] [--steps 9000]

The voices of cohort_speech.py say 330 words (likeness_words.txt), each at three speeds, and some sentences; kept in
DIR as spectra (three minutes of two cores). A network learns which word it was, from mixtures that are made anew for
each step: other formants, tempo, microphones, noise, talkers, gaps (half an hour). Kept is what comes before the choice
among the words. All of it is synthesised: nothing of a real person is in it. Written beside it are some of the talk and
noises, in which the person's own takes are mixed.

Printed now and then, of the voices that were not learnt from: the share of words told right among all 330, alone, in
noise and beside a talker at 10 dB.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr
from cohort_speech import FLITE, SENTENCES, SETTINGS, _espeak, _flite

from coach.ears.likeness import KERNEL, ROWS, STRIDES, as_seen
from coach.ears.remade import at_unit_power, clatter, coloured, in_room
from coach.ears.spectrum import BANDS, ROW, SILENT, Spectra, spectra
from coach.ports import Block
from coach.tempo.units import RATE, to_samples

HERE = Path(__file__).parent
WORDS = tuple((HERE / "likeness_words.txt").read_text("utf-8").split("\n")[:-1])
VOICES: tuple[Callable[[Sequence[str]], list[Block]], ...] = (
    *(partial(_espeak, *setting) for setting in SETTINGS),
    *(partial(_flite, *setting) for setting in FLITE),
)
SPEEDS = (0.78, 0.85, 0.92, 1.0, 1.08, 1.18, 1.27)
VERSIONS = 3
"""Times that each voice's word is kept: as it was said, and at other speeds and in rooms."""
TAIL = to_samples(0.2)
"""Samples kept behind a word."""
END, LONGEST = 85, 110
"""Row in which a stored word ends, and its rows altogether: behind it nothing sounds any more."""
SAID_BEFORE = (6, 25)
"""Rows before the end of what is looked at in which a word ended: 0.1 to 0.5 s."""
UNFINISHED = (12, 40)
"""Rows from there to the end of a word of which only the beginning was heard: it is none yet."""
NONE = 0.25
"""Share of examples that are no word: unfinished ones, talk alone."""
KINDS = ("alone", "noise", "talker", "both")
SHARES = (0.2, 0.33, 0.37, 0.1)
NOISE, TALKER = (0.0, 22.0), (1.0, 20.0)
"""Decibels of the word over them."""
FORMANTS, TEMPO = 0.05, 0.2
"""Spread of the factor by which bands are moved, and of the logarithm of the tempo of each seventh of a second."""
MICROPHONE = 6.0
"""Decibels, about, by which bands are louder or softer."""
GAP = 4
"""Rows and bands at most that are left out, twice each, like what another sound covers."""
LAYERS, DIM = (128, 160, 192), 192
SHARP = 14.0
"""Factor of the cosines before the words compete."""
BATCH, PACE, DECAY, KEEP = 384, 1.5e-3, 0.01, 0.7
"""Examples a step, the longest step, how much weights shrink in it, and the share of numbers that are not left out."""
TESTED = 3
"""Every eighth voice, from this one, is not learnt from."""
PLAIN_TALK, PLAIN_NOISE = 9000, 4500
"""Rows of talk and noises that are kept in the file."""

Weights = dict[str, Any]
"""By name, shape (inputs, outputs); of numpy or of jax."""
Rows = npt.NDArray[np.float32]


def trimmed(clip: Block) -> Block:
    level = np.sqrt(np.convolve(clip**2, np.ones(160) / 160, "same"))
    on = np.flatnonzero(level > 0.03 * level.max())
    return clip[on[0] : on[-1] + 1]


def voice(number: int) -> tuple[npt.NDArray[np.float16], npt.NDArray[np.float16]]:
    """Return all words of a voice, shape (WORDS * VERSIONS, LONGEST, BANDS), and its talk, shape (rows, BANDS)."""
    rng = np.random.default_rng(number)
    words = np.full((len(WORDS) * VERSIONS, LONGEST, BANDS), SILENT, np.float16)
    for word, clip in enumerate(VOICES[number](WORDS)):
        for version in range(VERSIONS):
            said = trimmed(clip)
            if version:
                said = soxr.resample(said, RATE * float(rng.choice(SPEEDS)), RATE).astype(np.float32)
            begin = (-len(said)) % ROW  # so that it ends with a row
            sound = np.concatenate([np.zeros(begin, np.float32), at_unit_power(said), np.zeros(TAIL, np.float32)])
            rows = spectra(in_room(sound, rng) if rng.random() < 0.6 else sound)[-END:]
            first = END - (len(rows) - TAIL // ROW)
            words[word * VERSIONS + version, first : first + len(rows)] = rows[: LONGEST - first]
    texts = [SENTENCES[(11 * number + k) % len(SENTENCES)] for k in range(16)]
    talk = [spectra(at_unit_power(clip)) for clip in VOICES[number](texts)]
    print(f"voice {number} of {len(VOICES)}", flush=True)
    return words, np.concatenate(talk).astype(np.float16)


def noises(number: int) -> npt.NDArray[np.float16]:
    rng = np.random.default_rng(1000 + number)
    length = to_samples(6.0)
    made = [
        clatter(rng, length) if rng.integers(3) == 0 else coloured(rng, length, float(rng.uniform(0.0, 1.9)))
        for _ in range(20)
    ]
    return np.concatenate([spectra(sound) for sound in made]).astype(np.float16)


class Mixer:
    """Makes examples of some voices."""

    def __init__(self, words: Rows, talk: Sequence[Rows], noise: Rows, voices: Sequence[int], seed: int) -> None:
        a_voice = len(WORDS) * VERSIONS
        self._words = words
        self._which = np.concatenate([np.arange(one * a_voice, (one + 1) * a_voice) for one in voices])
        self._talk = np.concatenate([talk[one] for one in voices])
        self._noise = noise
        self._rng = np.random.default_rng(seed)

    def examples(self, count: int, kind: str = "") -> tuple[Rows, npt.NDArray[np.int32]]:
        """Return what is looked at, and which word it is, from 1; 0: none. With a `kind` at 10 dB, else as it comes."""
        rng = self._rng
        which = self._which[rng.integers(len(self._which), size=count)]
        none = rng.random(count) < (0.0 if kind else NONE)
        unfinished = none & (rng.random(count) < 0.5)
        end = np.where(unfinished, -rng.integers(*UNFINISHED, size=count), rng.integers(*SAID_BEFORE, size=count))
        rows = self._word(which, end, plain=bool(kind))
        power = 10 ** ((self._formants(rows) + self._microphone(count, 0.0 if kind else MICROPHONE)) / 10)
        power[none & ~unfinished] = 0.0
        kinds = np.full(count, KINDS.index(kind)) if kind else rng.choice(len(KINDS), size=count, p=SHARES)
        for beside, among, levels in (
            (self._noise, np.isin(kinds, (1, 3)), NOISE),
            (self._talk, np.isin(kinds, (2, 3)) | (none & ~unfinished), TALKER),
        ):
            of = int(among.sum())
            if not of:
                continue
            starts = rng.integers(0, len(beside) - ROWS, size=of)
            over = np.full(of, 10.0) if kind else rng.uniform(*levels, size=of)
            heard = beside[starts[:, None] + np.arange(ROWS)].astype(np.float32) - over[:, None, None]
            power[among] += 10 ** ((heard + self._microphone(of, 0.0 if kind else MICROPHONE)) / 10)
        power += 10 ** (rng.uniform(-60.0, -30.0, size=(count, 1, 1)) / 10)
        seen = as_seen((10 * np.log10(power)).astype(np.float32))
        return (seen if kind else self._gaps(seen)), np.where(none, 0, which % (len(WORDS) * VERSIONS) // VERSIONS + 1)

    def _word(self, which: npt.NDArray[np.int64], end: npt.NDArray[np.int64], *, plain: bool) -> Rows:
        """Return ROWS rows of words that end `end` rows before the last, at a tempo that changes unless `plain`."""
        count = len(which)
        pace = np.exp(self._rng.normal(size=(count, ROWS // 7 + 1)) * (0.0 if plain else TEMPO))
        steps = np.repeat(pace, 7, axis=1)[:, :ROWS]
        before = np.cumsum(steps, axis=1) - steps[:, :1]
        at = np.clip((END + end - 1)[:, None] - before[:, ::-1], 0, LONGEST - 1.001)
        low = at.astype(np.int64)
        share = (at - low).astype(np.float32)[..., None]
        rows: Rows = self._words[which[:, None], low] * (1 - share) + self._words[which[:, None], low + 1] * share
        return rows

    def _formants(self, rows: Rows) -> Rows:
        at = np.arange(BANDS) * (1 + self._rng.normal(size=(len(rows), 1)) * FORMANTS)
        at = np.clip(at, 0, BANDS - 1.001)
        low = at.astype(np.int64)
        share = (at - low).astype(np.float32)[:, None]
        lower = np.take_along_axis(rows, np.broadcast_to(low[:, None], rows.shape), 2)
        upper = np.take_along_axis(rows, np.broadcast_to(low[:, None] + 1, rows.shape), 2)
        moved: Rows = lower * (1 - share) + upper * share
        return moved

    def _microphone(self, count: int, decibels: float) -> Rows:
        """Return a smooth curve over the bands for each of `count` examples, shape (count, 1, BANDS)."""
        waves = np.array([0.5, 1.0, 1.5, 2.0, 3.0])
        sizes = self._rng.normal(size=(count, 5, 1)) * (1.2 * decibels / (1 + waves))[:, None]
        turns = 2 * np.pi * waves[:, None] * np.arange(BANDS) / BANDS + self._rng.uniform(0, 6.3, (count, 5, 1))
        curve: Rows = np.sum(sizes * np.cos(turns), axis=1, dtype=np.float32)
        return curve[:, None]

    def _gaps(self, seen: Rows) -> Rows:
        for size, shape in ((BANDS, (1, BANDS)), (ROWS, (ROWS, 1))) * 2:
            first = self._rng.integers(0, size, size=(len(seen), 1))
            width = self._rng.integers(0, GAP + 1, size=(len(seen), 1))
            gap = (np.arange(size) >= first) & (np.arange(size) < first + width)
            seen = np.where(gap.reshape(len(seen), *shape), np.float32(-1.5), seen)
        return seen


def learn(mixer: Mixer, tested: Mixer, steps: int) -> Weights:
    """Fit the network by gradient descent (AdamW) to tell the words from each other and from what is none."""
    import jax
    import jax.numpy as jnp

    rng = np.random.default_rng(0)
    classes = len(WORDS) + 1
    weights: Weights = {}
    inner, length = BANDS, ROWS
    for number, (outer, stride) in enumerate(zip(LAYERS, STRIDES, strict=True)):
        weights[f"layer{number}"] = rng.normal(size=(inner * KERNEL, outer)) * np.sqrt(2 / (inner * KERNEL))
        weights[f"constant{number}"] = np.zeros(outer)
        inner, length = outer, (length - KERNEL) // stride + 1
    weights["last"] = rng.normal(size=(inner * length, DIM)) * np.sqrt(1 / (inner * length))
    weights["last_constant"] = np.zeros(DIM)
    weights["words"], weights["words_constant"] = rng.normal(size=(DIM, classes)) * 0.3, np.zeros(classes)
    weights = {name: one.astype(np.float32) for name, one in weights.items()}

    def logits(own: Weights, seen: Any, key: Any) -> Any:  # what jax traces
        lit = seen
        for number, stride in enumerate(STRIDES):
            count = (lit.shape[1] - KERNEL) // stride + 1
            beside = jnp.concatenate([lit[:, n : n + stride * (count - 1) + 1 : stride] for n in range(KERNEL)], 2)
            lit = jax.nn.relu(beside @ own[f"layer{number}"] + own[f"constant{number}"])
        lit = lit.reshape(lit.shape[0], -1)
        if key is not None:
            lit = lit * jax.random.bernoulli(key, KEEP, lit.shape) / KEEP
        place = lit @ own["last"] + own["last_constant"]
        place = place / jnp.sqrt(jnp.sum(place**2, -1, keepdims=True) + 1e-6)
        words = own["words"] / jnp.sqrt(jnp.sum(own["words"] ** 2, 0, keepdims=True) + 1e-6)
        return SHARP * place @ words + own["words_constant"]

    def cost(own: Weights, seen: Any, word: Any, key: Any) -> Any:
        found = logits(own, seen, key)
        return jnp.mean(jax.nn.logsumexp(found, 1) - jnp.take_along_axis(found, word[:, None], 1)[:, 0])

    def step(state: tuple[Weights, Weights, Weights], number: float, *batch: Any) -> tuple[Any, Any]:
        own, mean, square = state
        value, slope = jax.value_and_grad(cost)(own, *batch)
        pace = PACE * 0.5 * (1 + jnp.cos(jnp.pi * number / steps)) * jnp.minimum(1.0, number / 200)
        mean = {name: 0.9 * mean[name] + 0.1 * slope[name] for name in own}
        square = {name: 0.999 * square[name] + 0.001 * slope[name] ** 2 for name in own}
        move = {
            name: mean[name] / (1 - 0.9**number) / (jnp.sqrt(square[name] / (1 - 0.999**number)) + 1e-8) for name in own
        }
        own = {name: own[name] - pace * (move[name] + DECAY * own[name]) for name in own}
        return (own, mean, square), value

    step, look = jax.jit(step), jax.jit(partial(logits, key=None))
    heard = {kind: tested.examples(2000, kind) for kind in KINDS[:3]}
    nothing = {name: np.zeros_like(one) for name, one in weights.items()}
    state: Any = (weights, nothing, nothing)
    key, costs = jax.random.PRNGKey(0), []
    for number in range(1, steps + 1):
        key, own_key = jax.random.split(key)
        seen, word = mixer.examples(BATCH)
        state, value = step(state, float(number), seen, word, own_key)
        costs.append(float(value))
        if number % 500 == 0 or number == steps:
            right = {k: float(np.mean(np.argmax(look(state[0], seen), 1) == true)) for k, (seen, true) in heard.items()}
            shares = ", ".join(f"{kind} {share:.1%}" for kind, share in right.items())
            print(f"step {number} of {steps}: cost {np.mean(costs):.2f}; {shares}", flush=True)
            costs.clear()
    return {name: np.asarray(one) for name, one in state[0].items()}


def some_of(rows: Spectra, count: int) -> Spectra:
    """Return `count` rows from all over `rows`, in pieces of 3 s."""
    piece = 150
    starts = np.linspace(0, len(rows) - piece, count // piece).astype(np.int64)
    return np.concatenate([rows[start : start + piece] for start in starts])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=HERE.parents[1] / "coach" / "ears" / "likeness.npz")
    parser.add_argument("--work", type=Path, default=Path("likeness-examples"), help="folder for the spectra")
    parser.add_argument("--steps", type=int, default=9000)
    args = parser.parse_args()
    args.work.mkdir(exist_ok=True)
    kept = args.work / "spectra.npz"
    if not kept.exists():
        with ProcessPoolExecutor(2) as workers:
            said = list(workers.map(voice, range(len(VOICES))))
            noise = np.concatenate(list(workers.map(noises, range(20))))
        talk = {f"talk{number}": one for number, (_, one) in enumerate(said)}
        np.savez(kept, allow_pickle=False, words=np.concatenate([words for words, _ in said]), noise=noise, **talk)
    with np.load(kept) as data:
        words, noise = data["words"], data["noise"]
        talks = [data[f"talk{number}"] for number in range(len(VOICES))]
    learnt = [number for number in range(len(VOICES)) if number % 8 != TESTED]
    others = [number for number in range(len(VOICES)) if number % 8 == TESTED]
    weights = learn(Mixer(words, talks, noise, learnt, 0), Mixer(words, talks, noise, others, 1), args.steps)
    del weights["words"], weights["words_constant"]
    halves = {name: one.astype(np.float16) for name, one in weights.items()}
    beside = {"talk": some_of(np.concatenate(talks), PLAIN_TALK), "noise": some_of(noise, PLAIN_NOISE)}
    whole = {name: np.rint(rows).astype(np.int8) for name, rows in beside.items()}
    np.savez_compressed(args.out, allow_pickle=False, **halves, **whole)
    print(f"{args.out}: {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
