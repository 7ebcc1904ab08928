"""`coach hear`: what the ears of one person hear in recordings, as JSON lines."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator

import numpy as np
from rich.console import Console

from coach.audio.wavs import read_sound
from coach.cli.ears import add_ears, ears_for
from coach.ears.augment import QUIET_ROOM
from coach.ears.enrolment import load_enrolment
from coach.ears.front import Ears
from coach.logbook.store import Home
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import BLOCK, RATE, to_samples, to_seconds
from coach.voice.pack import load_pack

BEFORE, AFTER = to_samples(1.2), to_samples(1.2)
"""Samples of a quiet room around a recording, so that a word at its very start or end is heard as in a session."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--person", required=True, metavar="ID", help="whose words are listened for")
    add_ears(parser)
    parser.add_argument("files", nargs="+", metavar="FILE", help="WAV or FLAC, any rate")


def run(args: argparse.Namespace) -> int:
    """Print a JSON line for each thing heard: file, ear, kind, word, score, and seconds from the file's start."""
    home = Home(args.home)
    enrolment = load_enrolment(home.person(args.person).takes)
    pack = load_pack(enrolment.language)
    sounds = [(name, read_sound(name)) for name in args.files]  # a bad file is reported before anything is printed
    make = ears_for(enrolment, pack, home, Console(stderr=True, markup=False), args.ears)
    for name, sound in sounds:
        ears = make()
        ears.open(frozenset(pack.replies))
        for hearing in hear(ears, sound):
            print(json.dumps({"file": name, **_line(hearing)}, ensure_ascii=False))
    return 0


def hear(ears: Ears, sound: Block) -> Iterator[Hearing]:
    """Yield what `ears` hear in `sound` (mono at RATE), fed in blocks as in a session; it begins at sample BEFORE."""
    length = BEFORE + len(sound) + AFTER
    length += -length % BLOCK
    room = np.random.default_rng(0).normal(0.0, 10 ** (QUIET_ROOM / 20), length).astype(np.float32)
    room[BEFORE : BEFORE + len(sound)] += sound
    played = np.zeros(BLOCK, np.float32)
    for at in range(0, length, BLOCK):
        block = room[at : at + BLOCK]
        yield from ears.feed(Captured(at, block, played, block))


def _line(hearing: Hearing) -> dict[str, str | float]:
    at, began, ended = (
        round(to_seconds(sample - BEFORE, RATE), 3) for sample in (hearing.at, hearing.began, hearing.ended)
    )
    return {
        "at_s": at, "began_s": max(0.0, began), "ended_s": max(0.0, ended), "ear": hearing.ear, "kind": hearing.kind,
        "word": hearing.word, "score": round(hearing.score, 3),
    }  # fmt: skip
