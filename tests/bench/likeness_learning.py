"""Make coach/ears/likeness.npz: what keeps words apart from each other through noise and other people's talk.

    python tests/bench/likeness_learning.py [--out OUT.npz] [--work DIR]

Of 330 words (likeness_words.txt) each voice of cohort_speech.py says a hundred: each alone, in made-up noise and beside
a talker, at many speeds. That gives 19,200 short sounds, kept in DIR as embeddings (half an hour of two cores). A
network of two layers learns which word it was; kept is what comes before the choice among the words: words which it
never heard come out apart there as well (DEVELOPERS.md). All of it is synthesised: nothing of a real person is in it.

Printed after each round, of the voices that were not learnt from: the share of embeddings behind a word that were told
right among all the words, alone, in noise and beside a talker.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
from cohort_speech import FLITE, SENTENCES, SETTINGS, _espeak, _flite

from coach.ears.cohort import cohort
from coach.ears.features import STEP, Embedder, Frames
from coach.ears.learnt import BEFORE_END, EARLIEST, LATEST
from coach.ears.likeness import SIZE, SPAN, looked_at
from coach.ears.remade import AFTER, BEFORE, QUIET_ROOM, _clatter, _coloured, _faster, _in_room, _talk, loudness
from coach.ports import Block
from coach.tempo.units import to_samples

HERE = Path(__file__).parent
WORDS = tuple((HERE / "likeness_words.txt").read_text("utf-8").split("\n")[:-1])
VOICES: tuple[Callable[[Sequence[str]], list[Block]], ...] = (
    *(partial(_espeak, *setting) for setting in SETTINGS),
    *(partial(_flite, *setting) for setting in FLITE),
)
WORDS_A_VOICE = 100
KINDS = ("alone", "noise", "talker")
SPEEDS = (0.85, 0.92, 1.0, 1.0, 1.08, 1.18)
PARTS = 2
"""Processes that make the examples, each of every second voice."""
NOISE, TALKER = (3.0, 20.0), (4.0, 18.0)
"""Decibels of the word over them."""
HIDDEN, WIDTH = 768, 192
KEEP = 0.4
"""Share of the numbers looked at that are not left out, by chance, while learning."""
SHARP = 14.0
"""Factor of the cosines before the words compete."""
BATCH, ROUNDS, RATE, DECAY = 512, 10, 1e-3, 0.01
TESTED = 3
"""Every eighth voice, from this one, is not learnt from."""

Weights = dict[str, npt.NDArray[np.float32]]


def trimmed(clip: Block) -> Block:
    level = np.sqrt(np.convolve(clip**2, np.ones(160) / 160, "same"))
    on = np.flatnonzero(level > 0.03 * level.max())
    return clip[on[0] : on[-1] + 1]


def heard(clip: Block, kind: str, talks: Sequence[Block], rng: np.random.Generator) -> tuple[Block, int]:
    """Return a word in its surroundings, and the sample at which it ends."""
    said = _faster(clip, float(rng.choice(SPEEDS)))
    begin = BEFORE + int(rng.integers(STEP))
    sound = np.zeros(begin + len(said) + AFTER - to_samples(0.15), np.float32)
    sound[begin : begin + len(said)] = said
    if rng.random() < 0.6:
        sound = _in_room(sound, rng)
    sound += rng.normal(0.0, 10 ** (QUIET_ROOM / 20), len(sound)).astype(np.float32)
    if kind == "noise":
        clatters = rng.integers(3) == 0
        noise = _clatter(rng, len(sound)) if clatters else _coloured(rng, len(sound), float(rng.uniform(0.0, 1.8)))
        sound += noise * np.float32(loudness(said) / 10 ** (rng.uniform(*NOISE) / 20))
    elif kind == "talker":
        talk = _talk(rng, len(sound), talks[int(rng.integers(len(talks)))], int(rng.choice((1, 1, 1, 2))))
        sound += talk * np.float32(loudness(said) / max(loudness(talk), 1e-6) / 10 ** (rng.uniform(*TALKER) / 20))
    return sound, begin + len(said)


def examples(part: int, folder: Path) -> None:
    """Let the voices of a part say their words; write what is looked at behind each word, and before its end."""
    path = folder / f"part{part}.npz"
    if path.exists():
        return
    rng = np.random.default_rng(100 + part)
    talks = [
        np.concatenate(voice([SENTENCES[int(one)] for one in rng.integers(0, len(SENTENCES), 12)]))
        for voice in VOICES[part::9]
    ]
    embedder = Embedder()
    seen: list[Frames] = []
    marks: list[tuple[int, int, int]] = []
    for number in range(part, len(VOICES), PARTS):
        words = [WORDS[int(one)] for one in rng.permutation(len(WORDS))[:WORDS_A_VOICE]]
        for word, made in zip(words, VOICES[number](words), strict=True):
            clip = trimmed(made)
            clip = clip / np.abs(clip).max() * np.float32(0.5 * 10 ** rng.uniform(-0.7, 0.0))
            for kind in range(len(KINDS)):
                sound, end = heard(clip, KINDS[kind], talks, rng)
                embedder.start(-end)
                found = embedder.feed(sound)
                rows = looked_at(np.array([one.frame for one in found]), np.array([one.level for one in found]))
                ends = np.array([one.at for one in found])
                behind = (ends >= EARLIEST) & (ends <= LATEST)
                before = np.flatnonzero((ends > BEFORE_END[0]) & (ends < BEFORE_END[1]))[::2]
                seen += [rows[behind], rows[before]]
                marks += [(WORDS.index(word) + 1, kind, number)] * int(behind.sum()) + [(0, kind, number)] * len(before)
        print(f"part {part}: voice {number}", flush=True)
    np.savez(path, seen=np.concatenate(seen).astype(np.float16), marks=np.array(marks, np.int16))


def learn(seen: Frames, kind: npt.NDArray[np.int16], tested: tuple[Frames, npt.NDArray[np.int16]]) -> Weights:
    """Fit the network by gradient descent (AdamW) to tell the words from each other and from what is none (0)."""
    rng = np.random.default_rng(0)
    classes = len(WORDS) + 1
    weights: Weights = {
        "first": (rng.normal(size=(SIZE, HIDDEN)) * np.sqrt(2 / SIZE)).astype(np.float32),
        "first_constant": np.zeros(HIDDEN, np.float32),
        "second": (rng.normal(size=(HIDDEN, WIDTH)) * np.sqrt(2 / HIDDEN)).astype(np.float32),
        "second_constant": np.zeros(WIDTH, np.float32),
        "words": (rng.normal(size=(WIDTH, classes)) * 0.3).astype(np.float32),
        "words_constant": np.zeros(classes, np.float32),
    }
    mean = {name: np.zeros_like(one) for name, one in weights.items()}
    square = {name: np.zeros_like(one) for name, one in weights.items()}
    steps = ROUNDS * (len(seen) // BATCH)
    step = 0
    for number in range(ROUNDS):
        order = rng.permutation(len(seen))
        for at in range(0, len(seen) // BATCH * BATCH, BATCH):
            rows = order[at : at + BATCH]
            given = seen[rows].astype(np.float32) * (rng.random((BATCH, SIZE), np.float32) < KEEP) / np.float32(KEEP)
            slopes = _slopes(weights, given, kind[rows])
            step += 1
            pace = RATE * 0.5 * (1 + np.cos(np.pi * step / steps))
            for name, slope in slopes.items():
                mean[name] += 0.1 * (slope - mean[name])
                square[name] += 0.001 * (slope**2 - square[name])
                move = (mean[name] / (1 - 0.9**step)) / (np.sqrt(square[name] / (1 - 0.999**step)) + 1e-8)
                weights[name] -= np.float32(pace) * (move + np.float32(DECAY) * weights[name])
        right = [float(np.mean(_chosen(weights, rows) == true)) for rows, true in _by_kind(*tested)]
        print(
            f"round {number + 1}: " + ", ".join(f"{k} {r:.1%}" for k, r in zip(KINDS, right, strict=True)), flush=True
        )
    return weights


def _units(numbers: Frames, axis: int) -> tuple[Frames, Frames]:
    size = np.sqrt(np.sum(numbers**2, axis=axis, keepdims=True) + np.float32(1e-6))
    return numbers / size, size


def _slopes(weights: Weights, given: Frames, kind: npt.NDArray[np.int16]) -> Weights:
    """Return the slope of the cross entropy at each weight."""
    lit = np.maximum(given @ weights["first"] + weights["first_constant"], 0)
    unit, size = _units(lit @ weights["second"] + weights["second_constant"], 1)
    words, lengths = _units(weights["words"], 0)
    logits = SHARP * (unit @ words) + weights["words_constant"]
    share = np.exp(logits - logits.max(axis=1, keepdims=True))
    share /= share.sum(axis=1, keepdims=True)
    share[np.arange(len(kind)), kind] -= 1
    share /= len(kind)
    at_words = SHARP * (unit.T @ share)
    at_unit = SHARP * (share @ words.T)
    at_second = (at_unit - unit * np.sum(at_unit * unit, axis=1, keepdims=True)) / size
    at_lit = (at_second @ weights["second"].T) * (lit > 0)
    return {
        "first": given.T @ at_lit,
        "first_constant": at_lit.sum(axis=0),
        "second": lit.T @ at_second,
        "second_constant": at_second.sum(axis=0),
        "words": (at_words - words * np.sum(at_words * words, axis=0, keepdims=True)) / lengths,
        "words_constant": share.sum(axis=0),
    }


def _chosen(weights: Weights, rows: Frames) -> npt.NDArray[np.int64]:
    lit = np.maximum(rows.astype(np.float32) @ weights["first"] + weights["first_constant"], 0)
    unit, _ = _units(lit @ weights["second"] + weights["second_constant"], 1)
    chosen: npt.NDArray[np.int64] = np.argmax(
        SHARP * (unit @ _units(weights["words"], 0)[0]) + weights["words_constant"], axis=1
    )
    return chosen


def _by_kind(seen: Frames, marks: npt.NDArray[np.int16]) -> list[tuple[Frames, npt.NDArray[np.int16]]]:
    words = marks[:, 0] > 0
    return [
        (seen[words & (marks[:, 1] == kind)], marks[words & (marks[:, 1] == kind), 0]) for kind in range(len(KINDS))
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=HERE.parents[1] / "coach" / "ears" / "likeness.npz")
    parser.add_argument("--work", type=Path, default=Path("likeness-examples"), help="folder for the examples")
    args = parser.parse_args()
    args.work.mkdir(exist_ok=True)
    with ProcessPoolExecutor(PARTS) as workers:
        list(workers.map(partial(examples, folder=args.work), range(PARTS)))
    parts = [np.load(args.work / f"part{part}.npz") for part in range(PARTS)]
    seen = np.concatenate([part["seen"] for part in parts])
    marks = np.concatenate([part["marks"] for part in parts])
    apart = marks[:, 2] % 8 == TESTED
    talk = looked_at(cohort().frames, cohort().levels)[SPAN:][::2]
    kept = learn(
        np.concatenate([seen[~apart], talk.astype(np.float16)]),
        np.concatenate([marks[~apart, 0], np.zeros(len(talk), np.int16)]),
        (seen[apart], marks[apart]),
    )
    del kept["words"], kept["words_constant"]
    halves = {name: one.astype(np.float16) for name, one in kept.items()}
    np.savez_compressed(args.out, allow_pickle=False, **halves)
    print(f"{args.out}: {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
