"""Put the lines of a session's file together into one record of the session."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import reduce

from coach.logbook.fields import Unfit, fact
from coach.logbook.pain import is_pain, worse
from coach.logbook.record import Line
from coach.loglines import kinds
from coach.loglines.changes import Told
from coach.loglines.kinds import Answer, PlanEntry
from coach.program.model import UNIT_OF

VIRTUAL_ROOM = "virtual room"
"""Device of a session in the simulated room."""
RECORDING = "recording"
"""How the device of a session begins that heard a recording; the name of its file follows."""

IN_FULL = frozenset({"done", "enough"})
"""Reasons for which a set counts as whole."""


@dataclass(frozen=True, slots=True)
class SetRecord:
    """One set: what was planned, what the coach counted and what the person stated stand apart."""

    set_id: int
    exercise: str
    level: str
    set: int
    """Number of the set, from 1."""
    side: str
    """"left", "right" or empty."""
    kind: str
    """"reps", "hold" or "route"."""
    unit: str
    """What the numbers count: "reps", "seconds" or "rounds"."""
    planned_low: int
    planned_high: int
    counted: int | None
    """What the coach counted; None: not known."""
    stated: int | None
    """What the person said they did, in the same unit; None: not asked or not answered."""
    tension_planned_s: float | None
    tension_s: float | None
    """Seconds under tension that ran; None: not known."""
    why: str
    """Why it ended; empty: it has not."""
    pain: Answer
    """Pain 0-10, or a band such as "1-3"; None: not asked, or not answered."""
    effort: Answer
    """Effort 0-10; None: not asked, or not answered."""
    began_at: int | None
    """Sample."""
    ended_at: int | None
    """Sample."""

    @property
    def in_full(self) -> bool:
        """Whether it ran to its end, or to where the person may end it."""
        return self.why in IN_FULL


@dataclass(frozen=True, slots=True)
class HaltRecord:
    """One halt and what was said about it; a "pain", "tired" or "unsteady" out of the work is one too."""

    at: int
    """Sample."""
    state: str
    exercise: str
    set_id: int
    set: int
    rep: int
    phase: int | str
    """Name of the phase that ran, or its index from 0; empty: none."""
    side: str
    word: str
    """Reply id that halted."""
    ear: str
    why: str
    """"pain", "tired", "unsteady", "break"; empty: the file does not say."""
    pain: Answer


@dataclass(frozen=True, slots=True)
class QuestionRecord:
    """One question as it went."""

    at: int
    """Sample of the answer, or of giving it up."""
    question: str
    set_id: int
    value: Answer
    answered: bool
    """False: given up without an answer."""
    ear: str
    read_back: bool
    times: int
    """How often it was put."""
    because: str = ""
    """Why it was not put at all; empty: it was."""


@dataclass(frozen=True, slots=True)
class EasedRecord:
    """Something made easier in the session."""

    at: int
    """Sample."""
    exercise: str
    what: str
    before: int | float | str
    after: int | float | str
    because: str


@dataclass(frozen=True, slots=True)
class EarRecord:
    """What one ear noticed."""

    ear: str
    heard: int
    """Words it noticed."""
    used: int
    """Of these, the words that did something."""
    unclear: int = 0
    """Of these, the words that were not understood, or that another ear spoke against."""


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A whole session, as far as its file tells."""

    session: str
    person: str
    program: str
    title: str
    digest: str
    written_by: str
    language: str
    voice: str
    device: str
    app_version: str
    rate: int
    """Samples a second."""
    began: str
    """UTC, ISO 8601, of the first line; empty if there is none."""
    seconds: float
    """From the first to the last line of the session's own time."""
    plan: tuple[PlanEntry, ...]
    ears: tuple[str, ...]
    sound_check: kinds.SoundCheck | None
    """The check at the start; None: it did not come to one. Of several the last."""
    sets: tuple[SetRecord, ...]
    """In the order in which they began."""
    halts: tuple[HaltRecord, ...]
    steps: tuple[EasedRecord, ...]
    questions: tuple[QuestionRecord, ...]
    exercise_ends: tuple[tuple[str, str], ...]
    """Exercise and why it ended."""
    heard: tuple[EarRecord, ...]
    devices: tuple[tuple[int, str], ...]
    """Sample and what happened to the microphone or the speaker."""
    told: tuple[tuple[str, str], ...]
    """Exercise and phrase key of what was told to be other than last time."""
    notes: tuple[tuple[str, str], ...]
    """Text and by whom."""
    holds: int
    """How often the work was held because somebody spoke and nobody understood."""
    pauses: int
    why: str
    """Why the session ended; empty: it has not, or its end is missing."""
    next_in_days: int | None
    because: str
    ended: str = ""
    """UTC, ISO 8601, of the last line."""
    doubtful: bool = False
    """Something in its file is amiss: a line is torn, changed or missing."""
    denied: int = 0
    """Answers that were read back and did not stand: denied, corrected, or never confirmed."""
    ladder: bool = False
    """Pain was placed by yes and no, from the start or from some point on."""
    continues: str = ""
    """Id of the session that broke off and was taken up here; empty: none was."""
    parts: int = 1
    """Of how many files it was put together; see `joined`."""

    @property
    def simulated(self) -> bool:
        """Whether nobody was there: a simulated room, or a recording."""
        return self.device == VIRTUAL_ROOM or self.device.startswith(f"{RECORDING} ")

    @property
    def sets_planned(self) -> int:
        """Sets that the plan of the day would have recorded."""
        return sum(exercise.sets for exercise in self.plan)

    @property
    def sets_in_full(self) -> int:
        """Sets that ran to their end."""
        return sum(one.in_full for one in self.sets)

    @property
    def highest_pain(self) -> Answer:
        """Highest pain that was stated 0-10, after a set or at a halt; or the band that reaches highest; or None."""
        stated = [one.value for one in self.questions if is_pain(one.question)] + [halt.pain for halt in self.halts]
        return reduce(worse, stated, None)

    def name_of(self, exercise: str) -> str:
        """Return the exercise's name from the plan, or its id."""
        return next((one.name for one in self.plan if one.exercise == exercise and one.name), exercise)


def assemble(lines: Iterable[Line]) -> SessionRecord:
    """Return the record that `lines` tell of. Never fails: a line that cannot be used is left out."""
    known = list(lines)
    facts: list[tuple[int, kinds.Fact]] = []
    for line in known:
        try:
            facts.append((line.at, fact(line.kind, line.fields)))
        except Unfit:
            continue
    record = _begun(next((it for _, it in facts if isinstance(it, kinds.SessionBegun)), None))
    ended = [it for _, it in facts if isinstance(it, kinds.SessionEnded)]
    if ended:
        record = replace(record, why=ended[-1].why, next_in_days=ended[-1].next_in_days, because=ended[-1].because)
    return replace(
        record,
        began=known[0].t if known else "",
        ended=known[-1].t if known else "",
        denied=_denied([it for _, it in facts]),
        ladder=record.ladder or any(isinstance(it, kinds.NumbersNotHeard) for _, it in facts),
        seconds=min(max((0, *(line.at for line in known))), _LONGEST) / record.rate,
        sound_check=next((it for _, it in reversed(facts) if isinstance(it, kinds.SoundCheck)), None),
        sets=_sets(facts),
        halts=_halts(facts),
        steps=tuple(
            EasedRecord(at, it.exercise, it.what, it.from_, it.to, it.because)
            for at, it in facts
            if isinstance(it, kinds.Eased)
        ),
        questions=tuple(_question(it, at) for at, it in facts if isinstance(it, (kinds.Answered, kinds.Unanswered))),
        exercise_ends=tuple((it.exercise, it.why) for _, it in facts if isinstance(it, kinds.ExerciseEnded)),
        heard=_heard([it for _, it in facts if isinstance(it, kinds.Heard)]),
        devices=tuple((at, it.what) for at, it in facts if isinstance(it, kinds.DeviceChanged)),
        told=tuple((it.exercise, key) for _, it in facts if isinstance(it, Told) for key in it.news),
        notes=tuple((it.text, it.by) for _, it in facts if isinstance(it, kinds.Note)),
        holds=sum(isinstance(it, kinds.StoodStill) for _, it in facts),
        pauses=sum(isinstance(it, kinds.Paused) for _, it in facts),
    )


def _sets(facts: list[tuple[int, kinds.Fact]]) -> tuple[SetRecord, ...]:
    sets: dict[int, SetRecord] = {}
    for at, it in facts:
        if isinstance(it, kinds.SetBegun):
            sets[it.set_id] = _with_begin(sets.get(it.set_id), it, at)
        elif isinstance(it, kinds.SetEnded):
            sets[it.set_id] = _with_end(sets.get(it.set_id), it, at)
        elif isinstance(it, kinds.Answered) and it.set_id in sets:
            sets[it.set_id] = _with_answer(sets[it.set_id], it.question, it.value)
    return tuple(sets.values())


def _halts(facts: list[tuple[int, kinds.Fact]]) -> tuple[HaltRecord, ...]:
    halts: list[HaltRecord] = []
    last_word = ""
    halted = False
    for at, it in facts:
        match it:
            case kinds.Heard(used=True):
                last_word = it.word
            case kinds.Halted():
                halts.append(_halt(it, at, last_word))
                halted = True
            case kinds.HaltExplained():
                if not halted:
                    halts.append(_halt(it, at, it.why))
                pain = halts[-1].pain if it.pain is None else it.pain
                halts[-1] = replace(halts[-1], why=it.why, pain=pain)
                halted = True
            case kinds.Ready() | kinds.Resumed() | kinds.SetBegun():
                halted = False
            case _:
                pass
    return tuple(halts)


def _heard(words: list[kinds.Heard]) -> tuple[EarRecord, ...]:
    heard = Counter(word.ear for word in words)
    used = Counter(word.ear for word in words if word.used)
    unclear = Counter(word.ear for word in words if word.decision in ("unclear", "disagreed"))
    return tuple(EarRecord(ear, heard[ear], used[ear], unclear[ear]) for ear in sorted(heard))


def _denied(facts: list[kinds.Fact]) -> int:
    """Count what was read back and did not stand: screen answers, numbers heard that were no answer, bands denied."""
    screens = sum(isinstance(it, kinds.ScreenDenied) for it in facts)
    numbers = sum(isinstance(it, kinds.NumberHeard) for it in facts)
    settled = [it for it in facts if isinstance(it, kinds.Answered) and it.question in _READ_BACK]
    stand = sum(isinstance(it.value, int) for it in settled)
    bands = sum(it.attempts - 1 for it in settled if isinstance(it.value, str))
    return screens + max(0, numbers - stand) + bands


def _begun(it: kinds.SessionBegun | None) -> SessionRecord:
    if it is None:
        return _EMPTY
    return replace(
        _EMPTY,
        session=it.session,
        person=it.person,
        program=it.program,
        title=it.title,
        digest=it.digest,
        written_by=it.written_by,
        language=it.language,
        voice=it.voice,
        device=it.device,
        app_version=it.app_version,
        rate=it.rate if it.rate > 0 else _EMPTY.rate,
        plan=it.plan,
        ears=it.ears,
        ladder=it.numbers == "ladder",
        continues=it.continues,
    )


def _with_begin(known: SetRecord | None, it: kinds.SetBegun, at: int) -> SetRecord:
    begun = replace(
        known or _set(it), unit=it.unit, tension_planned_s=it.tension_planned_s, began_at=at, planned_low=it.planned_low
    )
    return replace(begun, planned_high=it.planned_high)


def _with_end(known: SetRecord | None, it: kinds.SetEnded, at: int) -> SetRecord:
    return replace(known or _set(it), counted=it.counted, tension_s=it.tension_s, why=it.why, ended_at=at)


def _set(it: kinds.SetBegun | kinds.SetEnded) -> SetRecord:
    return SetRecord(
        set_id=it.set_id,
        exercise=it.exercise,
        level=it.level,
        set=it.set,
        side=it.side,
        kind=it.kind,
        unit=UNIT_OF[it.kind],
        planned_low=it.planned_low,
        planned_high=it.planned_high,
        counted=None,
        stated=None,
        tension_planned_s=None,
        tension_s=None,
        why="",
        pain=None,
        effort=None,
        began_at=None,
        ended_at=None,
    )


def _with_answer(one: SetRecord, question: str, value: Answer) -> SetRecord:
    """Add an answer to the set it is about. Of several pains the highest stands."""
    number = value if isinstance(value, int) and not isinstance(value, bool) else None
    if question == "effort":
        return replace(one, effort=value)
    if is_pain(question):
        return replace(one, pain=worse(one.pain, value))
    if question == "reps":
        return replace(one, stated=one.counted if value is True else number)
    if question == "missed" and number is not None and one.counted is not None:
        return replace(one, stated=max(0, one.counted - number))
    return one


def _question(it: kinds.Answered | kinds.Unanswered, at: int) -> QuestionRecord:
    if isinstance(it, kinds.Answered):
        return QuestionRecord(at, it.question, it.set_id, it.value, True, it.ear, it.read_back, it.attempts)
    return QuestionRecord(at, it.question, it.set_id, None, False, "", False, it.prompts, it.because)


def _halt(it: kinds.Halted | kinds.HaltExplained, at: int, word: str) -> HaltRecord:
    return HaltRecord(
        at, it.state, it.exercise, it.set_id, it.set, it.rep, it.phase, it.side, word, it.ear, why="", pain=None
    )


_LONGEST = 2**62
"""Samples; a greater number in a file cannot be one."""

_READ_BACK = ("pain", "halt_pain", "effort", "missed")
"""Questions whose number is read back."""

_EMPTY = SessionRecord(
    session="",
    person="",
    program="",
    title="",
    digest="",
    written_by="",
    language="",
    voice="",
    device="",
    app_version="",
    rate=16_000,
    began="",
    seconds=0.0,
    plan=(),
    ears=(),
    sound_check=None,
    sets=(),
    halts=(),
    steps=(),
    questions=(),
    exercise_ends=(),
    heard=(),
    devices=(),
    told=(),
    notes=(),
    holds=0,
    pauses=0,
    why="",
    next_in_days=None,
    because="",
)
