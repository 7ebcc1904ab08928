"""Print one session in the terminal: first how it ended, then what needs a look, then set by set."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from itertools import groupby

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from coach.cli.labels import Labels, clock, shown
from coach.logbook import HaltRecord, SessionRecord, SetRecord
from coach.logbook.pain import edge, is_pain
from coach.logbook.session_record import QuestionRecord
from coach.loglines.hearing import SoundCheck
from coach.loglines.kinds import Answer

HIGH_PAIN = 4
"""Lowest pain (0-10) listed under what needs a look; the program's own limits acted during the session."""

_UNUSUAL = frozenset({
    "pain", "unsteady", "tired", "halts", "no_answer", "no_answer_halt", "not_heard", "screen",
})  # fmt: skip


class PrintedSession:
    """A session as a clinician reads it; `problems` are sentences about its file."""

    def __init__(
        self, record: SessionRecord, labels: Labels, problems: Sequence[str] = (), zone: tzinfo | None = None
    ) -> None:
        self._record = record
        self._labels = labels
        self._problems = problems
        self._zone = zone

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        record, labels = self._record, self._labels
        yield Text(shown(record.title or record.program or record.session), style="bold")
        yield Text(
            f"{shown(record.person)}, {when(record.began, self._zone)}, {clock(record.seconds)} min, "
            f"{labels('log_session')} {shown(record.session)}"
        )
        yield Text()
        yield ending(record, labels)
        yield from _section(labels("log_look"), needs_a_look(record, labels, self._problems), labels("log_nothing"))
        yield from _titled(labels("log_sets"), SetsTable(record, labels) if record.sets else labels("log_none"))
        yield from _section(labels("log_halts"), [_halt(record, halt, labels) for halt in record.halts])
        yield from _section(labels("log_steps"), _steps(record, labels))
        yield from _section(labels("log_plan"), _plan(record, labels))
        yield from _section(labels("log_questions"), [_question(record, one, labels) for one in record.questions])
        yield from _section(labels("log_heard"), _heard(record, labels))
        yield from _section(labels("log_devices"), _devices(record, labels))
        yield from _section(labels("log_notes"), [f"{shown(text)} ({shown(by)})" for text, by in record.notes])
        yield from _section(labels("log_made_with"), _made_with(record, labels))


def summary(record: SessionRecord, labels: Labels) -> RenderableType:
    """Return what the person and the caregiver see at the end of a session."""
    parts: list[RenderableType] = [ending(record, labels), Text(sets_done(record, labels))]
    pain = record.highest_pain
    parts.append(Text(f"{labels('log_highest_pain')}: {answer_words(pain, labels)}"))
    parts += [Text(f"- {_halt(record, halt, labels)}") for halt in record.halts]
    if record.sets:
        parts += [Text(), SetsTable(record, labels)]
    return Group(*parts)


def ending(record: SessionRecord, labels: Labels) -> Text:
    """Return one or two sentences: how the session ended and when the next is due."""
    text = Text(f"{labels('log_ended')}: ", style="bold")
    text.append(labels.word("end", record.why or "missing"))
    if record.because:
        text.append(f" ({shown(record.because)})", style="not bold")
    text.append(".", style="not bold")
    if record.next_in_days is not None:
        text.append(f" {labels('log_next', days=record.next_in_days)}", style="not bold")
    return text


def needs_a_look(record: SessionRecord, labels: Labels, problems: Sequence[str] = ()) -> list[str]:
    """Return, one sentence each, what a clinician should not miss."""
    found: list[str] = []
    if record.why in _UNUSUAL or not record.why or record.why == "interrupted":
        found.append(f"{labels('log_ended')}: {labels.word('end', record.why or 'missing')}")
    day = (record.began or "").partition("T")[0]
    found += [
        shown(labels("hold_screen", day=day, asked=sign.asked, answer=answer_words(sign.answer, labels)))
        for sign in record.signs
        if sign.asked
    ]
    pain = record.highest_pain
    if (edge(pain) or 0) >= HIGH_PAIN:
        found.append(f"{labels('log_highest_pain')}: {answer_words(pain, labels)}")
    found += [_halt(record, halt, labels) for halt in record.halts]
    open_pain = sum(1 for one in record.questions if is_pain(one.question) and not one.answered)
    if open_pain:
        found.append(labels("log_pain_unanswered", n=open_pain))
    found += [
        labels("log_fewer_stated", set=_set_name(record, one, labels), stated=one.stated, counted=one.counted)
        for one in record.sets
        if one.stated is not None and one.counted is not None and one.stated < one.counted
    ]
    if record.sound_check is not None:  # no echo is normal with headphones
        found += [labels(f"check_{caution}") for caution in record.sound_check.cautions if caution != "no_echo"]
    if any(what.endswith("_lost") for _, what in record.devices):
        found.append(labels("log_device_lost"))
    return [*found, *(shown(problem) for problem in problems)]


_WIDTHS = (("set", 10), ("planned", 8), ("counted", 8), ("stated", 8), ("tension", 10), ("pain", 6), ("effort", 7))
"""Columns of the sets and their widths in characters; the reason for the end gets the rest of 80."""

_NARROW = 76
"""On a terminal narrower than this, in characters, each set is a sentence instead of a row."""


class SetsTable:
    """The sets of each exercise, with planned, counted and stated numbers in separate columns."""

    def __init__(self, record: SessionRecord, labels: Labels) -> None:
        self._record = record
        self._labels = labels

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        record, labels = self._record, self._labels
        narrow = options.max_width < _NARROW
        if not narrow:
            yield _columns(labels, show_header=True)
        for (exercise, level, unit), sets in groupby(record.sets, lambda one: (one.exercise, one.level, one.unit)):
            yield Text(f"{shown(record.name_of(exercise))} ({shown(level)}), {labels.word('unit', unit)}")
            rows = [_set_row(record, one, labels) for one in sets]
            if narrow:
                names = [labels(f"column_{key}").lower() for key, _ in _WIDTHS]
                for row in rows:
                    told = [f"{name} {value}" for name, value in zip(names[1:], row[1:-1], strict=True) if value != "-"]
                    yield _item(f"{names[0]} {row[0]}: {', '.join(told)}; {row[-1]}")
            else:
                table = _columns(labels, show_header=False)
                for row in rows:
                    table.add_row(*row)
                yield table


def _columns(labels: Labels, *, show_header: bool) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold", show_header=show_header)
    for key, width in _WIDTHS:
        table.add_column(labels(f"column_{key}"), justify="left" if key == "set" else "right", width=width)
    table.add_column(labels("column_why"))
    return table


def when(began: str, zone: tzinfo | None = None) -> str:
    """Return a UTC time of the logbook in local time, or in `zone`; text that is no time is returned unchanged."""
    try:
        at = datetime.fromisoformat(began)
    except ValueError:
        return shown(began) or "?"
    at = at if at.tzinfo else at.replace(tzinfo=UTC)
    return at.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _set_row(record: SessionRecord, one: SetRecord, labels: Labels) -> list[str]:
    planned = f"{one.planned_low}-{one.planned_high}" if one.planned_low != one.planned_high else f"{one.planned_high}"
    tension = "?" if one.tension_s is None else f"{one.tension_s:.0f}"
    if one.tension_planned_s is not None:
        tension += f"/{one.tension_planned_s:.0f}"
    side = f" {labels.word('short', one.side)}" if one.side else ""
    not_all = any(q.set_id == one.set_id and q.question == "reps" and q.value is False for q in record.questions)
    stated = "-" if one.stated is None else str(one.stated)
    return [
        f"{one.set}{side}",
        planned,
        "?" if one.counted is None else str(one.counted),
        labels("log_not_all") if one.stated is None and not_all else stated,
        tension,
        answer_words(one.pain, labels),
        answer_words(one.effort, labels),
        labels.word("why", one.why) if one.why else labels("why_missing"),
    ]


def _section(title: str, lines: Iterable[str], empty: str = "") -> Iterator[RenderableType]:
    """Yield a titled list; for an empty one the sentence `empty` under the title, or nothing."""
    known = list(lines)
    if known:
        yield from _titled(title, Group(*(_item(line) for line in known)))
    elif empty:
        yield from _titled(title, empty)


def _titled(title: str, body: RenderableType) -> Iterator[RenderableType]:
    yield Text()
    yield Text(title, style="bold underline")
    yield Text(body) if isinstance(body, str) else body


def _item(line: str) -> RenderableType:
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_row("-", Text(line))
    return Padding(table, (0, 0))


def sets_done(record: SessionRecord, labels: Labels) -> str:
    """Return how many of the planned sets were done in full."""
    return labels("log_sets_done", done=record.sets_in_full, planned=record.sets_planned or "?")


def _set_name(record: SessionRecord, one: SetRecord, labels: Labels) -> str:
    side = f", {labels.word('side', one.side)}" if one.side else ""
    return f"{shown(record.name_of(one.exercise))}, {labels('set').lower()} {one.set}{side}"


def _halt(record: SessionRecord, halt: HaltRecord, labels: Labels) -> str:
    where = [shown(record.name_of(halt.exercise))] if halt.exercise else []
    if halt.set_id:
        where.append(f"{labels('set').lower()} {halt.set}")
    if halt.side:
        where.append(labels.word("side", halt.side))
    if halt.rep:
        where.append(f"{labels('count').lower()} {halt.rep}")
    if isinstance(halt.phase, str) and halt.phase:
        where.append(f"{labels('phase').lower()} {shown(halt.phase)}")
    if not halt.set_id and halt.state:
        where.append(f"{labels('state').lower()} {labels.word('state', halt.state)}")
    why = labels.word("halt", halt.why or "unexplained")
    pain = "" if halt.pain is None else f", {labels('pain').lower()} {answer_words(halt.pain, labels)}"
    said = f'"{shown(halt.word)}" ' if halt.word else ""
    ear = f"({labels.word('ear', halt.ear)}) " if halt.ear else ""
    return f"{clock(halt.at / record.rate)} {said}{ear}{', '.join(where)}: {why}{pain}"


def _steps(record: SessionRecord, labels: Labels) -> list[str]:
    steps = [
        f"{clock(step.at / record.rate)} {shown(record.name_of(step.exercise))}: {labels.word('eased', step.what)} "
        f"{shown(str(step.before))} > {shown(str(step.after))} ({shown(step.because)})"
        for step in record.steps
    ]
    ends = [
        f"{shown(record.name_of(exercise))}: {labels('log_exercise_ended')} ({labels.word('why', why)})"
        for exercise, why in record.exercise_ends
        if why != "done"
    ]
    return steps + ends


def _plan(record: SessionRecord, labels: Labels) -> list[str]:
    planned = [
        f"{shown(one.name or one.exercise)} ({shown(one.level)}), {labels('log_n_sets', n=one.sets)}"
        + (f": {shown(one.because)}" if one.because else "")
        for one in record.plan
    ]
    told = [
        f"{shown(record.name_of(exercise))}: {labels('log_told', what=labels.word('told', key))}"
        for exercise, key in record.told
    ]
    return planned + told


def _question(record: SessionRecord, one: QuestionRecord, labels: Labels) -> str:
    group, _, rest = one.question.partition(".")
    name = shown(rest).replace("_", " ") if group == "screen" and rest else labels.word("question", one.question)
    about = next((f" ({_set_name(record, each, labels)})" for each in record.sets if each.set_id == one.set_id), "")
    if one.because:
        return f"{clock(one.at / record.rate)} {name}{about}: {labels.word('unasked', one.because)}"
    if not one.answered:
        return f"{clock(one.at / record.rate)} {name}{about}: {labels('log_no_answer', times=one.times)}"
    how = [labels.word("ear", one.ear)] if one.ear else []
    how += [labels("log_read_back")] if one.read_back else []
    how += [labels("log_asked_times", times=one.times)] if one.times > 1 else []
    return f"{clock(one.at / record.rate)} {name}{about}: {answer_words(one.value, labels)} ({', '.join(how)})"


def _heard(record: SessionRecord, labels: Labels) -> list[str]:
    counts = [
        labels("log_ear_heard", ear=labels.word("ear", one.ear), heard=one.heard, used=one.used) for one in record.heard
    ]
    return counts + ([labels("log_holds", n=record.holds)] if record.holds else [])


def _devices(record: SessionRecord, labels: Labels) -> list[str]:
    told = [f"{clock(at / record.rate)} {labels.word('device', what)}" for at, what in record.devices]
    return _sound_check(record.sound_check, labels) + told


def _sound_check(check: SoundCheck | None, labels: Labels) -> list[str]:
    if check is None:
        return []
    levels = (("check_level", check.level), ("check_floor", check.floor), ("check_taught", check.room_taught))
    told = [labels("check_heard" if check.heard else "check_not_heard", times=check.askings)]
    told += [f"{labels(key)} {level:.0f} dBFS" for key, level in levels if level is not None]
    return [", ".join(told), *(labels(f"check_{caution}") for caution in check.cautions)]


def _made_with(record: SessionRecord, labels: Labels) -> list[str]:
    facts = (
        ("log_program", f"{record.program} {record.digest[:12]}"),
        ("log_written_by", record.written_by),
        ("log_voice", record.voice),
        ("log_device", record.device),
        ("log_version", record.app_version),
    )
    return [f"{labels(key)}: {shown(value)}" for key, value in facts if value.strip()]


def answer_words(value: Answer, labels: Labels) -> str:
    """Return an answer in words; "-" if there was none."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return labels("yes") if value else labels("no")
    return shown(str(value))
