"""How well replies are heard, measured on recordings of real people.

    python tests/bench/hearing.py --data DIR [--takes 3] [--tests 10] [--draw 1]

DIR holds manifest.tsv (path, kind, label, speaker, source, licence, seconds) and sound files. Each speaker of kind
"takes" teaches the words with so many takes, as `coach enrol --takes` does; the speaker's last takes must be heard,
the kinds "speech" and "noise" must not. Rooms, strained and whispered words are made by changed_voices.py; of
the sixteen conditions --only takes one ("room 0.6 halts": each word in turn halts). With
--draw the takes are put in another order first: other ones teach and test. All goes through the ears as in a session
(stretches of 20 ms, woken by voice activity, the session's own decision), at the thresholds that ship. Real: voices,
household noise, the competing talker. Synthetic: the quiet room's noise (-65 dBFS), the coach's voice, its echo, and
all that teaches beside the takes. Beside it, on the same sound: the plain match of the takes with its threshold put
where other people's speech never passes. Nothing fails on a figure.
"""

from __future__ import annotations

import argparse
import csv
import resource
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from changed_voices import far_off, strained, whispered
from rich.console import Console
from rich.table import Table
from scipy.signal import fftconvolve, lfilter

from coach.audio.echo import Canceller
from coach.audio.wavs import read_sound
from coach.ears.activity import Activity, decibels
from coach.ears.augment import loudness
from coach.ears.enrolment import Enrolment
from coach.ears.features import Embedder
from coach.ears.front import Ears
from coach.ears.learnt import LearntMatcher
from coach.ears.matching import Matcher
from coach.ears.takes import BadTakeError, Take, TakeMaker
from coach.ears.taught import Taught
from coach.ears.teaching import learn_words
from coach.ears.word_report import unlike
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.voice.render import Renderer
from coach.words.replies import Listening, Understood, listen, open_for

ROOM = -65.0
"""dBFS of the noise under every recording."""
AROUND = to_samples(0.8)
"""Samples before and after each word."""
LATE = to_samples(1.5)
"""Samples after a word's end in which it must be heard, or the set held."""
SNR = 10.0
ECHO = 6.0
"""Decibels of the coach's echo over the person."""
LEAST = {
    "quiet": "99 %", "noise": "90 %", "talker": "60 %", "coach": "95 %", "room 0.3": "", "room 0.6": "", "room 0.9": "",
    "strained": "", "whispered": "",
}  # fmt: skip
"""Conditions, and what was wanted of each: "room" with its reverberation time in seconds, 2.2 m off."""
HALTS = " halts"
"""Added to a condition: each word in turn is the one that halts, and the others are not said."""
CONDITIONS = (*LEAST, *(condition + HALTS for condition in LEAST if condition not in ("coach", "talker")))
COACH = (
    "Stand tall behind the chair and rest both hands on its back.",
    "Lower slowly, all the way down, and keep the knee over the foot.",
    "Ten repetitions, four seconds down each time. Breathe out as you rise.",
    "That was set two of three. Rest for a minute and shake out your legs.",
    "If it hurts more than a little, tell me, and we will take it easier.",
    "Press up for two seconds, hold for one, and let it down for four.",
)


@dataclass
class Tally:
    """The results of one condition for one speaker."""

    asked: int = 0
    heard: int = 0
    wrong: int = 0
    held: int = 0
    plain: int = 0
    late: list[float] = field(default_factory=list)


@dataclass
class Speaker:
    """The results for one speaker."""

    name: str
    closed: int = 0
    tests: int = 0
    conditions: dict[str, Tally] = field(default_factory=dict)
    false: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    hours: dict[str, float] = field(default_factory=dict)
    cpu: float = 0.0
    seconds: float = 0.0
    learning: float = 0.0
    memory: float = 0.0


def room(length: int, rng: np.random.Generator) -> Block:
    return rng.normal(0, 10 ** (ROOM / 20), length).astype(np.float32)


def piece_of(pool: Sequence[Block], length: int, rng: np.random.Generator) -> Block:
    """Return `length` samples of one of `pool` that are not silence."""
    while True:
        sound = pool[int(rng.integers(len(pool)))]
        sound = np.resize(sound, max(len(sound), length + 1))
        at = int(rng.integers(0, len(sound) - length))
        if decibels(sound[at : at + length]) > -60:
            return sound[at : at + length]


@dataclass
class Stream:
    """Words in a row, with what sounds beside them."""

    mic: Block
    played: Block
    spans: list[tuple[str, int, int]]


def stream(
    words: Sequence[tuple[str, Block]], condition: str, pool: Sequence[Block], seed: int, snr: float = SNR
) -> Stream:
    rng = np.random.default_rng(seed)
    changed = {"strained": strained, "whispered": whispered}.get(condition)
    mics, said, plays, spans, at = [], [], [], [], 0
    for word, taken in words:
        sound = taken if changed is None else changed(taken, rng)
        length = -(-(2 * AROUND + len(sound)) // BLOCK) * BLOCK
        mic, alone = room(length, rng), np.zeros(length, np.float32)
        alone[AROUND : AROUND + len(sound)] = sound
        played = np.zeros(length, np.float32)
        if condition in ("noise", "talker"):
            beside = piece_of(pool, length, rng)
            level = np.sqrt(np.mean(beside**2)) if condition == "noise" else loudness(beside)
            mic += beside * np.float32(loudness(sound) / 10 ** (snr / 20) / level)
        elif condition == "coach":
            played = piece_of(pool, length, rng) * np.float32(0.5)
        spans.append((word, at + AROUND, at + AROUND + len(sound)))
        mics.append(mic)
        said.append(alone)
        plays.append(played)
        at += length
    voice = np.concatenate(said)
    voice = far_off(voice, float(condition.split()[1])) if condition.startswith("room") else voice
    return Stream(np.concatenate(mics) + voice, np.concatenate(plays), spans)


class Loudspeaker:
    """The echo of a loudspeaker in a small room, 60 ms later, at `level` relative to the voice."""

    def __init__(self, played: Block, level: float, rng: np.random.Generator) -> None:
        """Set the volume by all that would be played."""
        length = to_samples(0.12)
        answer = rng.normal(size=length) * np.exp(-np.arange(length) / (length / 6)) * 0.2
        answer[0] = 1.0
        wet = fftconvolve(played, answer)[: len(played)].astype(np.float32)
        self._answer = np.concatenate([np.zeros(to_samples(0.06)), answer]) * (level / max(loudness(wet), 1e-6))
        self._held = np.zeros(len(self._answer) - 1)

    def play(self, block: Block) -> Block:
        """Return what comes to the microphone in the block in which `block` is played."""
        wet, self._held = lfilter(self._answer, [1.0], block.astype(np.float64), zi=self._held)
        return np.asarray(wet, np.float32)


@dataclass
class Found:
    """What the ears and the decision made of a stretch of sound."""

    words: list[tuple[str, int]]
    unclear: list[int]
    cpu: float


def hear(
    enrolment: Enrolment,
    mic: Block,
    played: Block | None = None,
    speaker: Loudspeaker | None = None,
    halts: frozenset[str] | None = None,
) -> Found:
    """Hear through all of a session's hearing. The coach falls quiet when somebody speaks, as in a session."""
    activity = Activity()
    halts = enrolment.halts if halts is None else halts
    ears = Ears([activity, Taught(enrolment, activity=activity, halts=halts)])
    state = open_for(Listening(halts), enrolment.takes, working=True)
    canceller = Canceller() if played is not None else None
    found = Found([], [], 0.0)
    quiet = np.zeros(BLOCK, np.float32)
    hushed = -1
    begin = time.process_time()
    for at in range(0, len(mic) - BLOCK + 1, BLOCK):
        block, plays = mic[at : at + BLOCK], quiet
        if played is not None and speaker is not None:
            plays = played[at : at + BLOCK] if at >= hushed else quiet
            block = block + speaker.play(plays)
        captured = Captured(at, block, plays, block)
        captured = canceller.process(captured) if canceller else captured
        hearings = ears.feed(captured)
        if played is not None and any(hearing.kind == "voice_began" for hearing in hearings):
            hushed = at + to_samples(1.5)
        state, outcomes = listen(state, hearings, at + BLOCK)
        for outcome in outcomes:
            if isinstance(outcome, Understood):
                word = outcome.reply if outcome.number is None else f"n{outcome.number}"
                found.words.append((word, outcome.at))
            else:
                found.unclear.append(outcome.at)
    found.cpu = time.process_time() - begin
    return found


def plain_scores(matcher: Matcher, embedder: Embedder, mic: Block) -> tuple[np.ndarray, np.ndarray]:
    matcher.forget()
    embedder.start(0)
    made = embedder.feed(mic)
    return np.array([matcher.push(found).scores for found in made]), np.array([found.at for found in made])


def teach(words: dict[str, list[Block]], takes: int, talk: Block, rng: np.random.Generator) -> Enrolment:
    """Teach as `coach enrol --takes` does: replace bad or unlike takes by the next ones."""
    maker = TakeMaker()
    own: dict[str, list[Take]] = {}
    spare: dict[str, Iterator[Block]] = {}

    def next_take(word: str) -> list[Take]:
        for sound in spare[word]:
            try:
                return [maker.take_from(sound)]
            except BadTakeError:
                continue
        return []

    for word, sounds in sorted(words.items()):
        spare[word] = iter([sounds[index] for index in rng.permutation(len(sounds))])
        own[word] = [take for _ in range(takes) for take in next_take(word)]
    while bad := unlike(own):
        word, number = bad
        own[word][number : number + 1] = next_take(word)
    enrolment = Enrolment({word: tuple(made) for word, made in own.items() if made}, halts=frozenset({min(own)}))
    return learn_words(enrolment, talk=talk)


Pools = Mapping[str, Sequence[Block]]


def measure(job: tuple[str, dict[str, list[Block]], Pools, int, int, int, str | None]) -> Speaker:
    name, takes, pools, count, tests, seed, only = job
    speaker = Speaker(name)
    rng = np.random.default_rng(seed)
    begin = time.process_time()
    enrolment = teach({word: sounds[:-tests] for word, sounds in takes.items()}, count, pools["talk"][0], rng)
    speaker.learning = time.process_time() - begin
    asked = [(word, sound) for word in sorted(takes) for sound in takes[word][-tests:]]
    asked = [asked[index] for index in rng.permutation(len(asked))]
    embedder, matcher, learnt = Embedder(), Matcher(enrolment.takes), enrolment.matcher()
    speaker.tests = len(asked)
    for word, sound in asked:
        speaker.closed += closed_choice(learnt, sound) == word
    with ProcessPoolExecutor(1, get_context("spawn")) as fresh:
        speaker.memory = fresh.submit(memory_of_ears, enrolment, [sound for _, sound in asked]).result()
    others = np.concatenate([np.concatenate([sound, room(RATE // 2, rng)]) for sound in pools["speech"]])
    others = others + room(len(others), rng)
    scores, _ = plain_scores(matcher, embedder, others)
    limit = scores.max()
    for condition in [only] if only else CONDITIONS:
        sort = condition.removesuffix(HALTS)
        pool = {"noise": pools["noise"], "talker": pools["speech"], "coach": pools["coach"]}.get(sort, ())
        tally = speaker.conditions[condition] = Tally()
        loud = float(np.median([loudness(sound) for _, sound in asked])) * 10 ** (ECHO / 20)
        # Over the coach only a halt is urgent: each word is measured as the one that halts, after ten seconds of the
        # coach (in a session it has said far more before the first set), in which the canceller learns the room.
        first = ("", np.zeros(10 * RATE, np.float32))
        each = [[(w, s) for w, s in asked if w == word] for word in takes]
        parts = [[first, *own] for own in each] if condition == "coach" else each if sort != condition else [asked]
        for part in parts:
            made = stream(part, sort, pool, seed)
            over = condition == "coach"
            loudspeaker = Loudspeaker(made.played, loud, np.random.default_rng(seed)) if over else None
            halts = frozenset({part[-1][0]}) if len(parts) > 1 else None
            found = hear(enrolment, made.mic, made.played if over else None, loudspeaker, halts)
            speaker.cpu += found.cpu
            speaker.seconds += len(made.mic) / RATE
            made.spans = [span for span in made.spans if span[0]]
            count_words(tally, made, found)
            beside = made.mic
            if over:
                beside = beside + Loudspeaker(made.played, loud, np.random.default_rng(seed)).play(made.played)
            scores, ats = plain_scores(matcher, embedder, beside)
            for word, low, end in made.spans:
                mine = scores[(ats > low + RATE // 5) & (ats <= end + LATE)]
                column = matcher.words.index(word)
                tally.plain += bool(((mine[:, column] > limit) & (mine.argmax(axis=1) == column)).any())
    if only:
        return speaker
    false_alarms(speaker, enrolment, others, pools, rng)
    return speaker


def memory_of_ears(enrolment: Enrolment, words: Sequence[Block]) -> float:
    """Return by how many MB a fresh process grows when it begins to listen."""
    sound = np.concatenate(words)
    before = held()
    hear(enrolment, sound, np.full_like(sound, 1e-3), Loudspeaker(sound, 0.01, np.random.default_rng(0)))
    return held() - before


def held() -> float:
    """Return the memory of this process now, in MB (Linux; elsewhere 0)."""
    pages = Path("/proc/self/statm")
    return int(pages.read_text().split()[1]) * resource.getpagesize() / 1e6 if pages.exists() else 0.0


def false_alarms(speaker: Speaker, enrolment: Enrolment, others: Block, pools: Pools, rng: np.random.Generator) -> None:
    noises = np.concatenate([np.concatenate([sound, room(RATE, rng)]) for sound in pools["noise"]])
    coach = np.concatenate([sound for sound in pools["coach"] for _ in range(8)])
    for kind, sound in (("speech", others), ("noise", noises), ("coach", coach)):
        if kind == "coach":
            found = hear(enrolment, room(len(sound), rng), sound * np.float32(0.5), Loudspeaker(sound, 0.2, rng))
        else:
            found = hear(enrolment, sound)
        speaker.cpu += found.cpu
        speaker.seconds += len(sound) / RATE
        speaker.hours[kind] = len(sound) / RATE / 3600
        speaker.false[kind] = len(found.words)
        speaker.false[kind + " halts"] = sum(word in enrolment.halts for word, _ in found.words)
        speaker.false[kind + " holds"] = len(found.unclear)


def closed_choice(matcher: Matcher | LearntMatcher, sound: Block) -> str:
    """Return which word of all is likeliest, if it is one of them."""
    rng = np.random.default_rng(0)
    mic = room(2 * AROUND + len(sound), rng)
    mic[AROUND : AROUND + len(sound)] += sound
    matcher.forget()
    scores = [matcher.push(made).scores for made in Embedder().feed(mic) if made.at > AROUND]
    return matcher.words[int(np.argmax(np.max(scores, axis=0)))]


def count_words(tally: Tally, made: Stream, found: Found) -> None:
    for word, low, end in made.spans:
        mine = [(heard, at) for heard, at in found.words if low < at <= end + LATE]
        right = [at for heard, at in mine if heard == word]
        tally.asked += 1
        tally.wrong += any(heard != word for heard, _ in mine)
        tally.held += bool(mine) or any(low < at <= end + LATE for at in found.unclear)
        if right:
            tally.heard += 1
            tally.late.append((right[0] - end) / RATE * 1000)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--takes", type=int, default=3, help="takes a word that teach it")
    parser.add_argument("--tests", type=int, default=10, help="takes a word that must be heard")
    parser.add_argument("--draw", type=int, default=0, help="which other order of the takes (0: as they are listed)")
    parser.add_argument("--only", choices=CONDITIONS, help="one condition, without the false alarms (quicker)")
    args = parser.parse_args()
    takes: dict[str, dict[str, list[Block]]] = defaultdict(lambda: defaultdict(list))
    pools: dict[str, list[Block]] = {"speech": [], "noise": []}
    with (args.data / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["kind"] == "takes":
                takes[row["speaker"]][row["label"]].append(read_sound(args.data / row["path"]))
            elif row["kind"] in pools:
                pools[row["kind"]].append(read_sound(args.data / row["path"]))
    if args.draw:
        orders = np.random.default_rng(args.draw)
        for own in takes.values():
            own.update({word: [sounds[at] for at in orders.permutation(len(sounds))] for word, sounds in own.items()})
    coach = Renderer("en-gb", 160, 50).render(COACH)
    pools["coach"] = [coach[text] for text in COACH]
    pools["talk"] = [np.concatenate([coach[text] for text in COACH])]
    jobs = [
        (name, {word: list(sounds) for word, sounds in own.items()}, pools, args.takes, args.tests, seed, args.only)
        for seed, (name, own) in enumerate(sorted(takes.items()))
    ]
    with ProcessPoolExecutor(2) as workers:
        speakers = list(workers.map(measure, jobs))
    Console(width=150).print(table_of(speakers, args.takes))
    for speaker in speakers:
        heard = {name: f"{tally.heard} of {tally.asked}" for name, tally in speaker.conditions.items()}
        print(speaker.name, heard, f"learnt in {speaker.learning:.0f} s of one core")


def table_of(speakers: Sequence[Speaker], takes: int) -> Table:
    table = Table("what", "at least", "this program", "plain match of the takes", title=f"{takes} takes a word")
    tests = sum(speaker.tests for speaker in speakers)
    closed = sum(speaker.closed for speaker in speakers)
    table.add_row("likeliest of the ten words", "98.5 %", share(closed, tests), "")

    def total(condition: str, name: str) -> int:
        return sum(getattr(speaker.conditions[condition], name) for speaker in speakers)

    there = speakers[0].conditions
    for condition in there:
        asked = total(condition, "asked")
        table.add_row(f"heard, {condition}", LEAST.get(condition, ""), share(total(condition, "heard"), asked),
                      share(total(condition, "plain"), asked))  # fmt: skip
        table.add_row(f"another word heard, {condition}", "", share(total(condition, "wrong"), asked), "")
    for condition in there:
        table.add_row(f"heard or held in 1.5 s, {condition}", "99 %" if condition in ("noise", "talker") else "",
                      share(total(condition, "held"), total(condition, "asked")), "")  # fmt: skip
    for kind, what in (("speech", "other people's speech"), ("noise", "household noise"), ("coach", "coach alone")):
        hours = sum(speaker.hours.get(kind, 0.0) for speaker in speakers)
        if not hours:
            continue
        for suffix, name in (("", "words"), (" halts", "halts"), (" holds", "unclear speech")):
            count = sum(speaker.false[kind + suffix] for speaker in speakers)
            least = {"speech": "1", "noise halts": "0", "coach halts": "0", "noise holds": "6"}.get(kind + suffix, "")
            table.add_row(f"{name} an hour, {what}", least, f"{count / hours:.1f} ({count} in {hours:.2f} h)", "")
    quiet = [speaker.conditions["quiet"].late for speaker in speakers if "quiet" in speaker.conditions]
    late = [value for values in quiet for value in values] or [0.0]
    table.add_row("end of word to decision, ms, p50 and p95", "250, 400",
                  f"{np.median(late):.0f}, {np.percentile(late, 95):.0f}", "")  # fmt: skip
    cpu, seconds = sum(speaker.cpu for speaker in speakers), sum(speaker.seconds for speaker in speakers)
    table.add_row("ears, share of one core", "15 %", f"{100 * cpu / seconds:.1f} %", "")
    memory = max(speaker.memory for speaker in speakers)
    table.add_row("memory that the ears add, MB", "200", f"{memory:.0f}", "")
    return table


def share(count: int, of: int) -> str:
    return f"{100 * count / of:.1f} % ({count} of {of})"


if __name__ == "__main__":
    main()
