"""How often a voice is noticed in household noise that goes on, measured on recordings of real people.

    python tests/bench/voice_in_noise.py --data DIR [--stretches 4]

DIR is that of hearing.py. Of each speaker some stretches are made: 50 words, drawn anew, about two seconds apart, each
beside another piece of noise. A word is noticed if a voice begins within 1.5 s of its end. Beside it, on the same
sound: a detector that never begins anew, which a noise may make deaf for good; the stretch in which it notices fewest
tells so. Real: voices, noise. Nothing fails on a figure.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from unittest import mock

import numpy as np
from hearing import LATE, Stream, room, share, stream
from rich.console import Console
from rich.table import Table

from coach.audio.wavs import read_sound
from coach.ears import activity
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE

LEVELS = (10.0, 5.0, 0.0)
"""Decibels of the words over the noise."""
TESTS = 5
"""Takes of each word in a stretch."""


def voices(mic: Block, *, anew: bool) -> list[int]:
    """Return where voices began, with a detector that begins `anew` now and then or never does."""
    with mock.patch.object(activity, "FORGETS", activity.FORGETS if anew else len(mic)):
        ear = activity.Activity()
        quiet = np.zeros(BLOCK, np.float32)
        return [
            hearing.at
            for at in range(0, len(mic) - BLOCK + 1, BLOCK)
            for hearing in ear.feed(Captured(at, mic[at : at + BLOCK], quiet, mic[at : at + BLOCK]))
            if hearing.kind == "voice_began"
        ]


def noticed(made: Stream, *, anew: bool) -> int:
    began = voices(made.mic, anew=anew)
    return sum(any(low < at <= end + LATE for at in began) for _, low, end in made.spans)


def measure(level: float, streams: Sequence[Stream]) -> tuple[str, ...]:
    cells = [f"{level:.0f} dB"]
    for anew in (True, False):
        begin = time.process_time()
        counts = [noticed(made, anew=anew) for made in streams]
        cost = (time.process_time() - begin) / sum(len(made.mic) for made in streams) * RATE
        words = len(streams[0].spans)
        cells += [share(sum(counts), words * len(counts)), f"{min(counts)} of {words}", f"{100 * cost:.1f} %"]
    return tuple(cells)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--stretches", type=int, default=4, help="stretches of 50 words of each speaker")
    args = parser.parse_args()
    takes: dict[str, dict[str, list[Block]]] = defaultdict(lambda: defaultdict(list))
    noises: list[Block] = []
    with (args.data / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["kind"] == "takes":
                takes[row["speaker"]][row["label"]].append(read_sound(args.data / row["path"]))
            elif row["kind"] == "noise":
                noises.append(read_sound(args.data / row["path"]))
    rng = np.random.default_rng(0)
    asked = []
    for _, own in sorted(takes.items()):
        for _ in range(args.stretches):
            words = [(word, own[word][at]) for word in own for at in rng.permutation(len(own[word]))[:TESTS]]
            asked.append([words[at] for at in rng.permutation(len(words))])
    with ProcessPoolExecutor(2) as workers:
        measured = [
            workers.submit(measure, level, [stream(words, "noise", noises, n, level) for n, words in enumerate(asked)])
            for level in LEVELS
        ]
        table = Table("over noise", "noticed", "worst", "of a core", "never anew", "worst", "of a core")
        for one in measured:
            table.add_row(*one.result())
    Console(width=130).print(table)
    alone = np.concatenate([np.concatenate([sound, room(RATE, rng)]) for sound in noises])
    minutes = len(alone) / RATE / 60
    counts = [len(voices(alone, anew=anew)) for anew in (True, False)]
    print(f"voices in {minutes:.1f} minutes of noise alone: {counts[0]}; never anew: {counts[1]}")


if __name__ == "__main__":
    main()
