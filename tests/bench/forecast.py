"""How well the forecast foretells: for real speakers, what three takes promise and what the other takes then give.

    python tests/bench/forecast.py --data DIR [--draws 4]

DIR/manifest.tsv lists recordings (path, kind, label, speaker); kind "takes" are isolated words. In each draw every word
is taught with three of a speaker's takes, drawn at random; one word is a halt. The rest of the takes is matched.
"""

from __future__ import annotations

import argparse
import csv
from collections import defaultdict
from contextlib import suppress
from itertools import pairwise
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from coach.audio.wavs import read_sound
from coach.ears.enrolment import Enrolment, best_scores
from coach.ears.forecast import cohort, forecast
from coach.ears.takes import BadTakeError, Take, TakeMaker
from coach.ears.taught import MARGIN

BANDS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.97, 1.01)
Row = tuple[float, int, int, float]
"""Expected share, takes heard, takes said, false alarms an hour foretold."""


def speakers(data: Path) -> dict[str, dict[str, list[Take]]]:
    maker = TakeMaker()
    takes: dict[str, dict[str, list[Take]]] = defaultdict(lambda: defaultdict(list))
    with (data / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["kind"] == "takes":
                with suppress(BadTakeError):
                    takes[row["speaker"]][row["label"]].append(maker.take_from(read_sound(data / row["path"])))
    return takes


def draw(words: dict[str, list[Take]], seed: int) -> list[Row]:
    rng = np.random.default_rng(seed)
    own: dict[str, tuple[Take, ...]] = {}
    rest: dict[str, list[Take]] = {}
    for word, takes in sorted(words.items()):
        order = rng.permutation(len(takes))
        own[word] = tuple(takes[index] for index in order[:3])
        rest[word] = [takes[index] for index in order[3:]]
    enrolment = Enrolment(own, halts=frozenset({sorted(own)[seed % len(own)]}))
    rows = []
    for foretold in forecast(enrolment, cohort()[:4500]).words:
        word, heard = foretold.word, 0
        for take in rest[word]:
            scores = best_scores(take, own, enrolment.halts)
            mine = scores.pop(word)
            clear = word in enrolment.halts or mine - max(scores.values()) >= MARGIN
            heard += clear and mine >= enrolment.thresholds[word]
        rows.append((foretold.expected, heard, len(rest[word]), foretold.false_an_hour))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--draws", type=int, default=4)
    args = parser.parse_args()
    rows = [row for words in speakers(args.data).values() for seed in range(args.draws) for row in draw(words, seed)]
    table = Table("expected", "words", "expected %", "heard %", "a tenth of them below %", "takes")
    for low, high in [*pairwise(BANDS), (0.0, 1.01)]:
        inside = [row for row in rows if low <= row[0] < high]
        if inside:
            said = sum(row[2] for row in inside)
            table.add_row(
                f"{100 * low:.0f}-{min(100, 100 * high):.0f} %",
                str(len(inside)),
                f"{100 * np.mean([row[0] for row in inside]):.1f}",
                f"{100 * sum(row[1] for row in inside) / said:.1f}",
                f"{100 * np.quantile([row[1] / row[2] for row in inside], 0.1):.1f}",
                str(said),
            )
    Console(width=110).print(table)
    print(f"false alarms an hour foretold for one word, median: {np.median([row[3] for row in rows]):.2f}")


if __name__ == "__main__":
    main()
