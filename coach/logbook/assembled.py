"""Assemble the lines of a session's file into the record of that session."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from coach.logbook.fields import UnfitField, fact
from coach.logbook.lines import Line
from coach.logbook.pain import is_pain, worse
from coach.logbook.session_record import EarRecord, EasedRecord, HaltRecord, QuestionRecord, SessionRecord, SetRecord
from coach.loglines import kinds
from coach.loglines.changes import Told
from coach.loglines.hearing import DeviceChanged, Heard, SoundCheck
from coach.loglines.kinds import Answer
from coach.loglines.safety import SafetySign
from coach.program.model import UNIT_OF


def assemble(lines: Iterable[Line]) -> SessionRecord:
    """Return the record of the session that wrote `lines`. Never fails: it leaves out lines that it cannot use."""
    known = list(lines)
    facts: list[tuple[int, kinds.Fact]] = []
    for line in known:
        try:
            facts.append((line.at, fact(line.kind, line.fields)))
        except UnfitField:
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
        sound_check=next((it for _, it in reversed(facts) if isinstance(it, SoundCheck)), None),
        sets=_sets(facts),
        halts=_halts(facts),
        steps=tuple(
            EasedRecord(at, it.exercise, it.what, it.from_, it.to, it.because)
            for at, it in facts
            if isinstance(it, kinds.Eased)
        ),
        questions=tuple(_question(it, at) for at, it in facts if isinstance(it, (kinds.Answered, kinds.Unanswered))),
        exercise_ends=tuple((it.exercise, it.why) for _, it in facts if isinstance(it, kinds.ExerciseEnded)),
        heard=_heard([it for _, it in facts if isinstance(it, Heard)]),
        devices=tuple((at, it.what) for at, it in facts if isinstance(it, DeviceChanged)),
        told=tuple((it.exercise, key) for _, it in facts if isinstance(it, Told) for key in it.news),
        notes=tuple((it.text, it.by) for _, it in facts if isinstance(it, kinds.Note)),
        signs=tuple(it for _, it in facts if isinstance(it, SafetySign)),
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
            case Heard(used=True):
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


def _heard(words: list[Heard]) -> tuple[EarRecord, ...]:
    heard = Counter(word.ear for word in words)
    used = Counter(word.ear for word in words if word.used)
    unclear = Counter(word.ear for word in words if word.decision in ("unclear", "disagreed"))
    return tuple(EarRecord(ear, heard[ear], used[ear], unclear[ear]) for ear in sorted(heard))


def _denied(facts: list[kinds.Fact]) -> int:
    """Count what was read back and not confirmed: screen answers, numbers and bands."""
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
    """Add an answer to the set it is about; of several pains the highest counts."""
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
"""Samples; a greater number in a file cannot be a time."""

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
