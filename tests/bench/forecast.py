"""How good the forecast is: for real speakers, what it promises from three takes, and what the other takes then give.

    python tests/bench/forecast.py --data DIR [--draws 4]

DIR/manifest.tsv lists recordings (path, kind, label, speaker); kind "takes" are isolated words, kind "speech" is other
people's talk. In each draw every word is taught with three of a speaker's takes, drawn at random; one word is a halt.
The rest of the takes is matched, and so is the talk, whose false alarms are set against those that were foretold.
"""

from __future__ import annotations

import argparse
import csv
from collections import defaultdict
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
from rich.console import Console
from rich.table import Table

from coach.audio.wavs import read_sound
from coach.ears.augment import QUIET_ROOM
from coach.ears.enrolment import Enrolment
from coach.ears.features import EMBEDDING_STEP, Embedder, Frames
from coach.ears.forecast import false_an_hour, forecast
from coach.ears.matching import Matcher
from coach.ears.takes import BadTakeError, Take, TakeMaker
from coach.ears.word_report import best_scores
from coach.tempo.units import RATE

BANDS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.97, 1.01)


class Row(NamedTuple):
    """A word of a speaker in one draw."""

    speaker: str
    expected: float
    heard: int
    said: int
    foretold: float
    """False alarms an hour."""
    counted: float
    """The same in real talk."""


def speakers(data: Path) -> dict[str, dict[str, list[Take]]]:
    maker = TakeMaker()
    takes: dict[str, dict[str, list[Take]]] = defaultdict(lambda: defaultdict(list))
    with (data / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["kind"] == "takes":
                with suppress(BadTakeError):
                    takes[row["speaker"]][row["label"]].append(maker.take_from(read_sound(data / row["path"])))
    return takes


def talk(data: Path) -> Frames:
    """Return embeddings of other people's talk, each recording with a second of a quiet room."""
    embedder, rng = Embedder(), np.random.default_rng(0)
    frames = []
    with (data / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["kind"] == "speech":
                sound = np.pad(read_sound(data / row["path"]), RATE // 2)
                noise = rng.normal(0, 10 ** (QUIET_ROOM / 20), len(sound))
                embedder.start(0)
                frames += [made.frame for made in embedder.feed((sound + noise).astype(np.float32))]
    return np.array(frames, np.float32)


def draw(speaker: str, words: dict[str, list[Take]], others: Frames, seed: int) -> list[Row]:
    rng = np.random.default_rng(seed)
    own: dict[str, tuple[Take, ...]] = {}
    rest: dict[str, list[Take]] = {}
    for word, takes in sorted(words.items()):
        order = rng.permutation(len(takes))
        own[word] = tuple(takes[index] for index in order[:3])
        rest[word] = [takes[index] for index in order[3:]]
    enrolment = Enrolment(own, halts=frozenset({sorted(own)[seed % len(own)]}))
    rows = []
    counted = false_an_hour(enrolment, others, foretell=False)
    for foretold in forecast(enrolment).words:
        word, heard = foretold.word, 0
        for take in rest[word]:
            scores = best_scores(take, own, enrolment.halts)
            mine = scores.pop(word)
            clear = word in enrolment.halts or mine - max(scores.values()) >= Matcher.margin
            heard += clear and mine >= enrolment.thresholds[word]
        rows.append(Row(speaker, foretold.expected, heard, len(rest[word]), foretold.false_an_hour, counted[word]))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--draws", type=int, default=4)
    args = parser.parse_args()
    others = talk(args.data)
    taught = speakers(args.data)
    rows = [row for name in taught for seed in range(args.draws) for row in draw(name, taught[name], others, seed)]
    table = Table("expected", "words", "expected %", "heard %", "a tenth of them below %", "takes")
    for low, high in [*pairwise(BANDS), (0.0, 1.01)]:
        inside = [row for row in rows if low <= row.expected < high]
        if inside:
            said = sum(row.said for row in inside)
            table.add_row(
                f"{100 * low:.0f}-{min(100, 100 * high):.0f} %",
                str(len(inside)),
                f"{100 * np.mean([row.expected for row in inside]):.1f}",
                f"{100 * sum(row.heard for row in inside) / said:.1f}",
                f"{100 * np.quantile([row.heard / row.said for row in inside], 0.1):.1f}",
                str(said),
            )
    Console(width=110).print(table)
    alarms = Table(
        f"false alarms an hour, {len(others) * EMBEDDING_STEP / RATE / 60:.1f} min of talk", "foretold", "counted"
    )
    for name in taught:
        mine = [row for row in rows if row.speaker == name]
        sums = sum(row.foretold for row in mine), sum(row.counted for row in mine)
        alarms.add_row(name, *(f"{each / args.draws:.1f}" for each in sums))
    Console(width=110).print(alarms)


if __name__ == "__main__":
    main()
