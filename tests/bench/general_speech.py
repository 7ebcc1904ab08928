"""Make coach/ears/general_speech.npy: the mean embedding of speech in general, from synthesised sentences.

    python tests/bench/general_speech.py [OUT.npy]

Ten voices of the bundled engine read twenty everyday sentences at several speeds and loudnesses; nothing of a real
person is in it. The numbers differ in the last digits between versions of the speech engine.
"""

from __future__ import annotations

import sys
from itertools import product
from pathlib import Path

import numpy as np

from coach.ears.augment import QUIET_ROOM
from coach.ears.features import Embedder
from coach.tempo.units import RATE
from coach.voice.render import Renderer

SENTENCES = (
    "The kettle is on and the bread is nearly done, so we might eat at half past twelve.",
    "My neighbour asked whether the bus still stops beside the old library, and I told her it moved last spring.",
    "After lunch we walked along the river and counted seven swans, two herons and a very large dog.",
    "Could you bring the blue folder from the kitchen table when you come upstairs?",
    "It rained all Thursday, yet the garden looks no greener than before.",
    "Nobody in the office knew how to open the window, which made the afternoon rather warm.",
    "She plays the violin in the evening and teaches chemistry during the week.",
    "The price went up from forty to fifty five, and people complained for a month.",
    "I would rather take the early train, even if that means getting up in the dark.",
    "They painted the fence white, then grey, then white once more.",
    "What time does the football start, and who is going to watch it with us?",
    "The doctor said that the knee is healing well and that I should keep moving.",
    "Please leave the parcel with the shop next door if nobody answers the bell.",
    "In winter the road over the hill is closed, so the long way round is the only way.",
    "He laughed, put the phone down, and went on peeling potatoes as if nothing had happened.",
    "There are nine chairs and only one table, which is a strange way to furnish a room.",
    "Turn the music down a little, the baby has only just fallen asleep.",
    "We never found out who had eaten the last piece of cake.",
    "The young man behind the counter spoke very quickly and smiled at everybody.",
    "Eight o'clock is too early, six in the evening too late; let us say four.",
)
VOICES = ("", "+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+m7", "+f1", "+f4")
RATES = (145, 165, 185)


def main() -> None:
    out = (
        Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "coach" / "ears" / "general_speech.npy"
    )
    embedder = Embedder()
    rng = np.random.default_rng(1)
    frames = []
    for number, (voice, rate) in enumerate(product(VOICES, RATES)):
        texts = [SENTENCES[(2 * number + k) % len(SENTENCES)] for k in range(2)]
        for clip in Renderer(f"en-us{voice}", rate).render(texts).values():
            sound = clip * 10 ** rng.uniform(-1.0, 0.0)
            room = rng.normal(0, 10 ** (QUIET_ROOM / 20), len(sound) + RATE // 2).astype(np.float32)
            room[RATE // 4 : RATE // 4 + len(sound)] += sound
            embedder.start(0)
            frames += [made.frame for made in embedder.feed(room)]
    np.save(out, np.mean(frames, axis=0).astype(np.float32))
    print(f"{out}: mean of {len(frames)} embeddings")


if __name__ == "__main__":
    main()
