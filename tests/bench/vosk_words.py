"""What does the Vosk ear make of words and of other speech, in one language that a model is there for?

    python tests/bench/vosk_words.py [--language ko] [--home DIR]

ALL SPEECH IS SYNTHETIC: the package's own speech engine, three of its voices, in a quiet simulated room. Its Korean is
rough, and people are heard differently: the figures compare settings, they promise nothing. Nothing fails on them.

Each wording is said once by each voice while its question's words are open. "Other sentences" are said while yes, no
and ready are open; what comes of them is false. How late: from the clip's end
to the report, of all words, right or wrong.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from coach.cli.hear import AFTER, BEFORE, hear
from coach.ears.activity import Activity
from coach.ears.front import Ears
from coach.ears.models import find_model, load_model
from coach.ears.vosk import Vosk
from coach.logbook.files import MIB
from coach.logbook.store import default_home
from coach.ports import Block
from coach.tempo.units import to_seconds
from coach.voice.pack import load_pack
from coach.voice.render import Renderer
from coach.words.phrases import VoicePack
from coach.words.replies import Listening, Understood, listen, open_for

VOICES = (("+m3", 150), ("+f4", 140), ("+m1", 165))
"""Variant of the engine's voice, and words a minute."""

ALWAYS = frozenset({"pain", "tired", "unsteady", "finish", "again"})
QUESTIONS = tuple(
    frozenset(replies)
    for replies in (
        {"yes", "no"},
        {f"n{number}" for number in range(11)},
        {"pain", "tired", "unsteady", "break", "ready"},
        {"ready", "pause", "slower", "easier", "left", "why", "enough"},
    )
)
"""Reply ids that are open together; ALWAYS are open with each."""

OTHER = {
    "ko": (
        "밥 먹었어요", "물 좀 주세요", "오늘 날씨가 참 좋네요", "텔레비전 소리 좀 줄여 줘", "할머니 전화 왔어요",
        "내일 병원에 가야 해요", "창문을 열어도 될까요", "커피 한 잔 마실래", "저녁에 뭐 먹을까",
        "강아지가 밖에 나가고 싶어 해요", "어제 시장에서 사과를 샀어요", "아이들이 학교에서 돌아왔어요",
        "버스가 늦게 왔어요", "이 노래 제목이 뭐예요", "문 앞에 누가 왔어요", "약을 아직 안 드셨어요",
        "양말이 어디 있지", "비가 올 것 같아", "신문은 책상 위에 있어요", "엄마는 부엌에 계세요",
        "아빠가 차를 고치고 있어", "리모컨 못 봤어요", "어서 와요", "안녕하세요", "고맙습니다", "여보세요", "잘 자요",
        "조심해서 가세요", "그런데 말이야", "정말 그랬어", "그건 좀 이상하네", "누가 그랬어", "어디 가세요",
        "지금 몇 시예요", "세 시 반에 만나요", "돈을 좀 찾아야 해요", "친구가 놀러 온대요", "의자를 옮겨 주세요",
        "불 좀 켜 주세요", "무릎 위에 수건을 놓아요", "발을 어깨너비로 벌려요", "숨을 깊이 들이쉬어요",
        "천 원만 빌려 줘", "정리 좀 해라", "정치 이야기는 재미없어", "그만큼이면 됐지 뭐", "멈칫하더니 다시 걸었어",
        "스푼을 가져와", "준비물을 챙겨야지",
    ),
}  # fmt: skip
"""Things said at home, some of them with words near to those that halt."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--language", default="ko", choices=sorted(OTHER))
    parser.add_argument("--home", type=Path, default=default_home())
    args = parser.parse_args()
    place = find_model(args.language, args.home)
    if place is None:
        sys.exit(f"No model for {args.language} on this machine; see: coach voices")
    before, began = resident(), time.perf_counter()
    model = load_model(place, args.language)
    loaded = time.perf_counter() - began
    memory = resident() - before
    pack = load_pack(args.language)
    other = OTHER[args.language]
    wordings = [(reply, text) for reply, words in pack.replies.items() for text in (words.word, *words.also)]
    clips = {voice: Renderer(pack.speech.voice + voice[0], voice[1]).render([t for _, t in wordings] + list(other))
             for voice in VOICES}  # fmt: skip
    table, heard = Counter[str](), Heard(pack, model)
    for voice in VOICES:
        for reply, text in wordings:
            count_wording(table, heard, reply, text, clips[voice][text])
        for text in other:
            count_sentence(table, heard, text, clips[voice][text])
    print(f"\nVosk ear, {args.language}, ALL SPEECH SYNTHETIC ({len(VOICES)} voices); model: {place.source}")
    print(f"{'':16}{'said':>6}{'right':>7}{'for a halt':>12}{'for another':>13}")
    for kind in ("halt", "number", "other"):
        counts = (table[f"{kind} {what}"] for what in ("said", "right", "taken for a halt", "taken for another"))
        print("{:16}{:>6}{:>7}{:>12}{:>13}".format(f"{kind} wordings", *counts))
    print(
        f"{table['sentences']} other sentences: {table['false halt']} false halts, {table['false yes']} false yes, "
        f"{table['false ready']} false ready, {table['false others']} other words"
    )
    print(f"replies but halts that this ear settled alone, of all of it: {heard.alone}")
    print(f"end of the word to its report, s: halt {spread(heard.halted)}, others {spread(heard.late)}")
    print(f"load {loaded:.1f} s, {memory:.0f} MB; {heard.cpu / heard.seconds:.3f} of one core with voice activity")
    print("wrong: " + "; ".join(heard.wrong) + "\n")


@dataclass
class Heard:
    """Hears clips with the Vosk ear, and remembers times and results."""

    pack: VoicePack
    model: Any
    late: list[float] = field(default_factory=list)
    halted: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    alone: int = 0
    cpu: float = 0.0
    seconds: float = 0.0

    def words(self, clip: Block, opened: frozenset[str]) -> list[str]:
        """Return the words heard in a clip in a quiet room; their delay is appended to `late` or `halted`."""
        pack = self.pack
        used = time.process_time()
        activity = Activity()
        ears = Ears([activity, Vosk(self.model, pack.replies, pack.halts, pack.decoys, activity=activity)])
        ears.open(opened)
        found = [hearing for hearing in hear(ears, clip) if hearing.kind == "word"]
        self.cpu += time.process_time() - used
        self.seconds += to_seconds(BEFORE + len(clip) + AFTER)
        state = open_for(Listening(pack.halts), opened)
        for hearing in found:
            _, outcomes = listen(state, [hearing], hearing.at)
            self.alone += any(isinstance(o, Understood) and o.reply not in pack.halts for o in outcomes)
            late = self.halted if hearing.word in pack.halts else self.late
            late.append(to_seconds(hearing.at - BEFORE - len(clip)))
        return [hearing.word for hearing in found]


def count_wording(table: Counter[str], heard: Heard, reply: str, text: str, clip: Block) -> None:
    halts = heard.pack.halts
    opened = next((question for question in QUESTIONS if reply in question), frozenset()) | ALWAYS
    words = heard.words(clip, opened)
    kind = "halt" if reply in halts else "number" if reply[1:].isdigit() else "other"
    table[f"{kind} said"] += 1
    table[f"{kind} right"] += bool(words) and set(words) == {reply}
    table[f"{kind} taken for a halt"] += reply not in halts and bool(halts & set(words))
    table[f"{kind} taken for another"] += bool(set(words) - halts - {reply})
    heard.wrong += [f"{text} > {word}" for word in words if word != reply]


def count_sentence(table: Counter[str], heard: Heard, text: str, clip: Block) -> None:
    words = heard.words(clip, frozenset({"yes", "no", "ready"}) | ALWAYS)
    halts = heard.pack.halts
    table["sentences"] += 1
    table["false halt"] += bool(halts & set(words))
    table["false yes"] += "yes" in words
    table["false ready"] += "ready" in words
    table["false others"] += bool(set(words) - halts - {"yes", "ready"})
    heard.wrong += [f"{text} > {word}" for word in words]


def spread(seconds: list[float]) -> str:
    if not seconds:
        return "none"
    return f"median {np.median(seconds):.2f}, p95 {np.quantile(seconds, 0.95):.2f} (of {len(seconds)})"


def resident() -> float:
    """Return the most memory that this process has had, in MB."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most * (1 if sys.platform == "darwin" else 1024) / MIB


if __name__ == "__main__":
    main()
