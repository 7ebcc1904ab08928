"""Make coach/ears/likeness.npz: a network that distinguishes words in noise and beside other people's talk.

    apt-get install flite festival festvox-kdlpc16k
    pip install torch pyworld
    python tests/bench/likeness_learning.py [--out OUT.npz] [--work DIR] [--steps 28000]

The voices of cohort_speech.py and one of festival say 330 words (likeness_words.txt) and some sentences; a vocoder says
each of them again as others might: another pitch, melody, throat and pace, breathy, whispered. They are kept in DIR as
spectra (a quarter of an hour of two cores). A network learns which word it was, from mixtures that are made anew for
each step: other formants, tempo, microphones, noise, talkers, gaps (an hour and more). Kept is what comes before the
choice among the words. All of it is synthesised: nothing of a real person is in it. Written beside it are some of the
talk and noises, in which the person's own takes are mixed.

Printed now and then, of the voices that were not learnt from and of those that were: the share of words told right
among all 330, alone, in noise and beside a talker at 10 dB.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from multiprocessing.queues import Queue
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr
from cohort_speech import FLITE, SENTENCES, SETTINGS, _espeak, _flite

from coach.audio.wavs import read_sound
from coach.ears.augment import at_unit_power, clatter, coloured, in_room
from coach.ears.likeness import KERNEL, ROWS, STRIDES, as_seen
from coach.ears.spectrum import BANDS, ROW, SILENT, Spectra, spectra
from coach.ports import Block
from coach.tempo.units import RATE, to_samples

HERE = Path(__file__).parent
WORDS = tuple((HERE / "likeness_words.txt").read_text("utf-8").split("\n")[:-1])
VERSIONS = 5
"""Times that each voice's word is kept: as it was said, and as others might say it."""
PERIOD = 10.0
"""Milliseconds between two frames of the vocoder."""
TAIL = to_samples(0.2)
"""Samples kept behind a word."""
END, LONGEST = 85, 110
"""Row in which a stored word ends, and its rows altogether: behind it nothing sounds any more."""
SAID_BEFORE = (6, 25)
"""Rows before the end of what is looked at in which a word ended: 0.1 to 0.5 s."""
UNFINISHED = (12, 40)
"""Rows from there to the end of an unfinished word, which serves as a counter-example."""
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
"""Most rows and bands that are blanked, twice each, as if another sound covered them."""
LAYERS, DIM = (192, 256, 256), 192
SHARP = 14.0
"""Factor of the cosines before the words compete."""
BATCH, PACE, DECAY, LEFT_OUT = 384, 1.5e-3, 0.01, 0.2
"""Examples a step, the longest step, how much weights shrink in it, and the share of numbers that are left out."""
WARMING = 200
"""Steps until they are the longest."""
TESTED = 3
"""Every eighth voice, from this one, is not learnt from."""
PLAIN_TALK, PLAIN_NOISE = 9000, 4500
"""Rows of talk and noises that are kept in the file."""

Weights = dict[str, npt.NDArray[np.float32]]
"""By name, shape (inputs, outputs)."""
Rows = npt.NDArray[np.float32]


def festival(shift: float, texts: Sequence[str]) -> list[Block]:
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "say.scm"
        files = [Path(folder) / f"{number}.wav" for number in range(len(texts))]
        said = [
            f'(utt.save.wave (utt.synth (Utterance Text "{text}")) "{file}")'
            for text, file in zip(texts, files, strict=True)
        ]
        script.write_text("\n".join(["(voice_ked_diphone)", *said]), "utf-8")
        subprocess.run(["festival", "-b", str(script)], check=True)
        return [soxr.resample(read_sound(file), RATE * shift, RATE).astype(np.float32) for file in files]


VOICES: tuple[Callable[[Sequence[str]], list[Block]], ...] = (
    *(partial(_espeak, *setting) for setting in SETTINGS),
    *(partial(_flite, *setting) for setting in FLITE),
    *(partial(festival, shift) for shift in (1.0, 0.87, 1.14, 1.26)),
)


def trimmed(clip: Block) -> Block:
    level = np.sqrt(np.convolve(clip**2, np.ones(160) / 160, "same"))
    on = np.flatnonzero(level > 0.03 * level.max())
    return clip[on[0] : on[-1] + 1]


def as_others(clip: Block, rng: np.random.Generator, times: int) -> list[Block]:
    """Return `clip` as others might say it, through the WORLD vocoder."""
    import pyworld

    sound = clip.astype(np.float64)
    pitch, at = pyworld.dio(sound, RATE, frame_period=PERIOD)
    pitch = pyworld.stonemask(sound, pitch, at, RATE)
    throat = np.log(pyworld.cheaptrick(sound, pitch, at, RATE))
    breath = pyworld.d4c(sound, pitch, at, RATE)
    voiced = pitch > 0
    middle = np.exp(np.mean(np.log(pitch[voiced]))) if voiced.any() else 120.0
    bands = np.arange(throat.shape[1]) / throat.shape[1]
    made = []
    for _ in range(times):
        melody = np.maximum(pitch, 1.0) / middle
        own_pitch = middle * np.exp(rng.normal() * 0.25) * melody ** rng.uniform(0.3, 1.8)
        own_pitch = np.where(voiced, np.clip(own_pitch, 60.0, 450.0), 0.0)
        moved = bands / np.exp(rng.normal() * 0.08) + rng.normal() * 0.03 * np.sin(2 * np.pi * bands) * bands
        moved = np.clip(moved, 0.0, bands[-1])
        own_throat = np.array([np.interp(moved, bands, row) for row in throat])
        own_breath = np.array([np.interp(moved, bands, row) for row in breath])
        manner = rng.random()
        if manner < 0.07:  # whispered
            own_pitch = np.zeros_like(own_pitch)
        elif manner < 0.37:  # breathy
            own_breath += (1 - own_breath) * rng.uniform(0.0, 0.9)
        when = np.arange(0.0, len(pitch) - 1.0, np.exp(rng.normal() * 0.17))
        now, share = when.astype(np.int64), (when % 1.0)[:, None]
        own_throat = own_throat[now] * (1 - share) + own_throat[now + 1] * share
        own_breath = own_breath[now] * (1 - share) + own_breath[now + 1] * share
        said = pyworld.synthesize(
            own_pitch[now], np.exp(own_throat), np.clip(own_breath, 0.0, 1.0), RATE, PERIOD
        ).astype(np.float32)
        made.append(said if np.isfinite(said).all() and np.abs(said).max() > 1e-5 else clip)
    return made


def voice(number: int) -> tuple[npt.NDArray[np.float16], npt.NDArray[np.float16]]:
    """Return all words of a voice, shape (WORDS * VERSIONS, LONGEST, BANDS), and its talk, shape (rows, BANDS)."""
    rng = np.random.default_rng(number)
    words = np.full((len(WORDS) * VERSIONS, LONGEST, BANDS), SILENT, np.float16)
    for word, clip in enumerate(map(trimmed, VOICES[number](WORDS))):
        for version, said in enumerate([clip, *map(trimmed, as_others(clip, rng, VERSIONS - 1))]):
            begin = (-len(said)) % ROW  # so that it ends with a row
            sound = np.concatenate([np.zeros(begin, np.float32), at_unit_power(said), np.zeros(TAIL, np.float32)])
            rows = spectra(in_room(sound, rng) if rng.random() < 0.6 else sound)[-END:]
            first = END - (len(rows) - TAIL // ROW)
            words[word * VERSIONS + version, first : first + len(rows)] = rows[: LONGEST - first]
    texts = [SENTENCES[(11 * number + k) % len(SENTENCES)] for k in range(24)]
    clips = VOICES[number](texts)
    clips[12:] = [as_others(clip, rng, 1)[0] for clip in clips[12:]]
    print(f"voice {number} of {len(VOICES)}", flush=True)
    return words, np.concatenate([spectra(at_unit_power(clip)) for clip in clips]).astype(np.float16)


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


def mix(ready: Queue[tuple[Rows, npt.NDArray[np.int32]]], mixer: Mixer) -> None:
    while True:
        ready.put(mixer.examples(BATCH))


def learn(mixer: Mixer, tests: Mapping[str, Mixer], steps: int) -> Weights:
    """Fit the network by gradient descent (AdamW) to distinguish the words from each other and from other sound."""
    import torch
    from torch import nn
    from torch.nn import functional

    torch.manual_seed(0)
    layers, (inner, length) = [], (BANDS, ROWS)
    for outer, stride in zip(LAYERS, STRIDES, strict=True):
        layers.append(nn.Conv1d(inner, outer, KERNEL, stride))
        nn.init.kaiming_normal_(layers[-1].weight, nonlinearity="relu")
        nn.init.zeros_(layers[-1].bias)
        inner, length = outer, (length - KERNEL) // stride + 1
    last = nn.Linear(inner * length, DIM)
    each_lit = [part for layer in layers for part in (layer, nn.ReLU())]
    net = nn.Sequential(*each_lit, nn.Flatten(), nn.Dropout(LEFT_OUT), last)
    words = nn.Parameter(torch.randn(DIM, len(WORDS) + 1) * 0.3)
    constant = nn.Parameter(torch.zeros(len(WORDS) + 1))

    def told(seen: Rows) -> Any:  # torch is not there where types are checked
        with torch.autocast("cpu", torch.bfloat16):
            place = net(torch.from_numpy(seen).transpose(1, 2))
        return SHARP * functional.normalize(place.float(), dim=1) @ functional.normalize(words, dim=0) + constant

    descent = torch.optim.AdamW([*net.parameters(), words, constant], PACE, weight_decay=DECAY)
    heard = {(name, kind): one.examples(1500, kind) for name, one in tests.items() for kind in KINDS[:3]}
    processes = get_context("fork")  # shares the examples
    ready: Queue[tuple[Rows, npt.NDArray[np.int32]]] = processes.Queue(6)
    processes.Process(target=mix, args=(ready, mixer), daemon=True).start()
    costs = []
    for number in range(1, steps + 1):
        pace = PACE * 0.5 * (1 + np.cos(np.pi * number / steps)) * min(1.0, number / WARMING)
        descent.param_groups[0]["lr"] = pace
        seen, word = ready.get()
        net.train()
        descent.zero_grad()
        cost = functional.cross_entropy(told(seen), torch.from_numpy(word.astype(np.int64)))
        cost.backward()
        descent.step()
        costs.append(cost.item())
        if number % 1000 == 0 or number == steps:
            net.eval()
            with torch.no_grad():
                right = {
                    name: float(np.mean(told(seen).argmax(1).numpy() == true)) for name, (seen, true) in heard.items()
                }
            shares = ", ".join(f"{voices} {kind} {share:.1%}" for (voices, kind), share in right.items())
            print(f"step {number} of {steps}: cost {np.mean(costs):.2f}; {shares}", flush=True)
            costs.clear()
    weights: Weights = {}
    for number, layer in enumerate(layers):
        kernel = layer.weight.detach().numpy()  # shape (outputs, inputs, KERNEL)
        weights[f"layer{number}"] = kernel.transpose(2, 1, 0).reshape(-1, len(kernel))
        weights[f"constant{number}"] = layer.bias.detach().numpy()
    over_all = last.weight.detach().numpy().reshape(DIM, inner, length)
    weights["last"] = over_all.transpose(2, 1, 0).reshape(-1, DIM)
    weights["last_constant"] = last.bias.detach().numpy()
    return weights


def some_of(rows: Spectra, count: int) -> Spectra:
    """Return `count` rows from all over `rows`, in pieces of 3 s."""
    piece = 150
    starts = np.linspace(0, len(rows) - piece, count // piece).astype(np.int64)
    return np.concatenate([rows[start : start + piece] for start in starts])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=HERE.parents[1] / "coach" / "ears" / "likeness.npz")
    parser.add_argument("--work", type=Path, default=Path("likeness-examples"), help="folder for the spectra")
    parser.add_argument("--steps", type=int, default=28000)
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
    tests = {"unheard": Mixer(words, talks, noise, others, 1), "known": Mixer(words, talks, noise, learnt, 9)}
    weights = learn(Mixer(words, talks, noise, learnt, 0), tests, args.steps)
    halves = {name: one.astype(np.float16) for name, one in weights.items()}
    beside = {"talk": some_of(np.concatenate(talks), PLAIN_TALK), "noise": some_of(noise, PLAIN_NOISE)}
    whole = {name: np.rint(rows).astype(np.int8) for name, rows in beside.items()}
    np.savez_compressed(args.out, allow_pickle=False, **halves, **whole)
    print(f"{args.out}: {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
