"""What is left of the coach and of a person who speaks over it, in rooms and on devices of several kinds.

    python tests/bench/echo.py

Everything is synthetic: a voice says sentences as the coach, another says "stop" over it, 6 dB softer than the echo;
room noise -65 dBFS. Beside the canceller of a session: its library alone. "person" is the correlation of what is left
with what was said. The first 20 s, in which the room is learnt, are not counted. Nothing fails on a figure.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from rich.console import Console
from rich.table import Table
from scipy.signal import fftconvolve

from coach.audio.echo import OWN_DELAY, STEP, Canceller
from coach.ears.augment import loudness
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE
from coach.voice.render import Renderer

COACH = (
    "Stand tall behind the chair and rest both hands on its back.",
    "Lower slowly, all the way down, and keep the knee over the foot.",
    "Ten repetitions, four seconds down each time. Breathe out as you rise.",
    "That was set two of three. Rest for a minute and shake out your legs.",
)
ECHO = 6.0
NOISE = 10 ** (-65 / 20)
EVERY = 3 * RATE
LEARN = 20 * RATE


def answer(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    made = rng.normal(size=1920) * np.exp(-np.arange(1920) / 320) * 0.2
    made[0] = 1.0
    return made


def in_room(played: Block, seed: int = 1, late: float = 0.06) -> Block:
    wet = fftconvolve(np.concatenate([np.zeros(int(late * RATE)), played]), answer(seed))[: len(played)]
    return np.asarray(wet * 0.1 / loudness(wet.astype(np.float32)), np.float32)


def bent(played: Block) -> Block:
    most = np.abs(played).max() / 3
    return np.asarray(np.tanh(played / most) * most, np.float32)


def drifting(played: Block, parts: float) -> Block:
    at = np.arange(len(played))
    return np.asarray(np.interp(at * (1 - parts * 1e-6), at, played), np.float32)


def moving(played: Block) -> Block:
    one, other = in_room(played, 1), in_room(played, 2)
    return np.where(np.arange(len(played)) // (15 * RATE) % 2, other, one)


ROOMS: dict[str, Callable[[Block], Block]] = {
    "a room": in_room,
    "echo 250 ms late": lambda played: in_room(played, late=0.25),
    "another room each 15 s": moving,
    "loudspeaker that distorts": lambda played: in_room(bent(played)),
    "clocks 50 in a million apart": lambda played: in_room(drifting(played, 50)),
}


def library(mic: Block, played: Block) -> Block:
    from pywebrtc_audio import EchoCanceller

    engine = EchoCanceller(RATE, 1)
    steps = range(0, len(mic) - STEP + 1, STEP)
    made = [np.asarray(engine.process(mic[at : at + STEP], played[at : at + STEP])) for at in steps]
    return np.concatenate(made)[OWN_DELAY:]


def ours(mic: Block, played: Block) -> Block:
    canceller = Canceller()
    blocks = [slice(at, at + BLOCK) for at in range(0, len(mic) - BLOCK + 1, BLOCK)]
    made = [canceller.process(Captured(each.start, mic[each], played[each], mic[each])).clean for each in blocks]
    return np.concatenate(made)[canceller.delay :]


def level(sound: Block) -> float:
    return 10 * float(np.log10(np.mean(sound.astype(np.float64) ** 2) + 1e-12))


def measured(clean: Block, mic: Block, said: Block, spans: list[slice]) -> tuple[str, str]:
    alone = [slice(each.start - RATE, each.start - RATE // 10) for each in spans]
    left = [level(clean[each]) - level(mic[each]) for each in alone if level(mic[each]) > -50]
    like = [float(np.corrcoef(clean[each], said[each])[0, 1]) for each in spans]
    return f"{np.median(left):.0f} dB", f"{np.median(like):.2f} (lowest tenth {np.percentile(like, 10):.2f})"


def main() -> None:
    sentences = Renderer("en-gb", 160, 50).render(COACH)
    word = Renderer("en-us", 150, 70).render(("stop",))["stop"]
    played = np.concatenate([sentences[text] for text in COACH] * 12)[: 120 * RATE] * np.float32(0.5)
    spans = [slice(at, at + len(word)) for at in range(LEARN, len(played) - EVERY, EVERY)]
    said = np.zeros(len(played), np.float32)
    for each in spans:
        said[each] = word * np.float32(0.1 / loudness(word) / 10 ** (ECHO / 20))
    noise = np.random.default_rng(0).normal(0, NOISE, len(played)).astype(np.float32)
    table = Table("where", "echo left", "person", "library: echo left", "library: person")
    for name, room in ROOMS.items():
        mic = room(played) + said + noise
        table.add_row(name, *measured(ours(mic, played), mic, said, spans),
                      *measured(library(mic, played), mic, said, spans))  # fmt: skip
    Console(width=130).print(table)


if __name__ == "__main__":
    main()
