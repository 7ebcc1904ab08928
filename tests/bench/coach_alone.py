"""Does the coach alone trigger anything? Half an hour of its own voice at several volumes.

    python tests/bench/coach_alone.py [--minutes 30] [--language en]

The coach says all of its sentences, with its ticks and falling tones between them, into a small room; nobody else is
there. Every word of the language is taught (by synthesised speech of another voice) and learnt. What is counted is
every word that is heard and every time that somebody seems to speak. Nothing fails on a figure.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from rich.console import Console
from rich.table import Table

from coach.audio.echo import Canceller
from coach.audio.mixer import beat
from coach.ears.activity import Activity
from coach.ears.enrolment import Enrolment
from coach.ears.front import Ears
from coach.ears.taught import Taught
from coach.ears.teaching import enrol_synthetic, learn_words
from coach.ports import Block, Captured
from coach.tempo.timeline import Sound
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.voice.pack import load_pack
from coach.voice.render import Renderer
from coach.words.phrases import VoicePack
from coach.words.replies import Listening, Understood, listen, open_for

VOLUMES = (-40.0, -25.0, -15.0, -6.0)
"""dBFS of the coach's voice at the microphone."""
ROOM = -60.0
"""dBFS of the room's noise."""
DELAY = to_samples(0.06)


def taught(pack: VoicePack) -> Enrolment:
    words = [reply.word for reply in pack.replies.values()]
    base = pack.speech.voice
    clips = [Renderer(f"{base}+m3", rate).render(words) for rate in (140, 160, 180)]
    made = enrol_synthetic(lambda word, take: clips[take][word], pack.replies, count=3, language=pack.language,
                           halts=pack.halts)  # fmt: skip
    return learn_words(made.enrolment)


def spoken(pack: VoicePack, seconds: float) -> Block:
    """Return what the coach plays: every sentence without a gap to fill in, ticks and tones, until the time is full."""
    texts = [text for text in pack.phrases.values() if "{" not in text]
    clips = Renderer(pack.speech.voice, pack.speech.rate).render(texts)
    rng = np.random.default_rng(1)
    pieces: list[Block] = []
    size = 0
    while size < seconds * RATE:
        for text in rng.permutation(texts):
            gap = np.zeros(int(rng.uniform(0.2, 1.0) * RATE), np.float32)
            pieces += [clips[str(text)], gap]
            if rng.random() < 0.3:
                for sound, length in ((Sound.TICK, RATE), (Sound.FALL, 4 * RATE)):
                    clip, _ = beat(sound, length)
                    pieces += [clip, gap]
            size = sum(len(piece) for piece in pieces)
    return np.concatenate(pieces)[: int(seconds * RATE)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--language", default="en")
    args = parser.parse_args()
    pack = load_pack(args.language)
    enrolment = taught(pack)
    played = spoken(pack, args.minutes * 60)
    rng = np.random.default_rng(2)
    answer = rng.normal(size=1920) * np.exp(-np.arange(1920) / 320) * 0.2
    answer[0] = 1.0
    wet = np.concatenate([np.zeros(DELAY), np.convolve(played, answer)])[: len(played)]
    wet /= np.sqrt(np.mean(np.square(wet[np.abs(wet) > 0.01])))
    table = Table("volume at the microphone", "minutes", "voices", "words", "halts", "share of one core")
    for volume in VOLUMES:
        mic = (wet * 10 ** (volume / 20) + rng.normal(0, 10 ** (ROOM / 20), len(wet))).clip(-1, 1).astype(np.float32)
        voices, words, halts, spent = hear(enrolment, pack.halts, mic, played)
        table.add_row(f"{volume:.0f} dBFS", f"{args.minutes:.0f}", str(voices), str(words), str(halts),
                      f"{100 * spent / (args.minutes * 60):.1f} %")  # fmt: skip
    Console().print(table)


def hear(enrolment: Enrolment, halts: frozenset[str], mic: Block, played: Block) -> tuple[int, int, int, float]:
    activity = Activity()
    ears = Ears([activity, Taught(enrolment, activity=activity)])
    canceller = Canceller()
    state = open_for(Listening(halts), enrolment.takes, working=True)
    voices = words = stops = 0
    begin = time.process_time()
    for at in range(0, len(mic) - BLOCK + 1, BLOCK):
        block = mic[at : at + BLOCK]
        hearings = ears.feed(canceller.process(Captured(at, block, played[at : at + BLOCK], block)))
        voices += sum(hearing.kind == "voice_began" for hearing in hearings)
        state, outcomes = listen(state, hearings, at + BLOCK)
        for outcome in outcomes:
            if isinstance(outcome, Understood):
                words += 1
                stops += outcome.reply in halts
    return voices, words, stops, time.process_time() - begin


if __name__ == "__main__":
    main()
