"""A session without sound that checks at every event the rules that hold in every session."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from coach.logbook.fields import UnfitField, fact, fields_of
from coach.logbook.pain import edge, is_pain
from coach.loglines.kinds import KIND_OF, Answer, Answered, Asked, Fact, Resumed, SessionEnded, SetBegun, SetEnded
from coach.program.model import Action, Hold
from coach.session.commands import Command, End, PlaceCues, Record, Say
from coach.session.events import Event, On
from coach.session.plan import Today, turns
from coach.session.repertoire import repertoire
from coach.session.soundless import SoundlessRun, made_up_length
from coach.session.state import Session, State
from coach.tempo.timeline import At, Sound
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase

TELLS_A_HALT = frozenset({On.STOP, On.PAIN, On.TIRED, On.UNSTEADY})
FINISHED = frozenset({State.CLOSING, State.ENDED})


class RuleBrokenError(AssertionError):
    """A rule of every session was broken."""


def need(holds: object, rule: str, *found: object) -> None:
    """Raise RuleBrokenError unless `holds`."""
    if not holds:
        raise RuleBrokenError(": ".join((rule, *map(str, found))))


class WatchedRun(SoundlessRun):
    """Raises RuleBrokenError as soon as a session breaks a rule."""

    def __init__(
        self, today: Today, length: Callable[[Phrase], int] = made_up_length, may_say: frozenset[Phrase] | None = None
    ) -> None:
        """Begin; `may_say` is the repertoire of `today` if it is already known."""
        self.may_say = may_say if may_say is not None else frozenset(repertoire(today))
        self._program = today.program
        self._quiet = False
        self._pain_told = False
        self._pain_open = ""
        self._doomed = False
        self._open: SetBegun | None = None
        self._rest_from: tuple[int, SetEnded] | None = None
        self._sets: Counter[tuple[object, object]] = Counter()
        self._ended_exercises: set[str] = set()
        self._phase_until = -1
        self._endings = 0
        super().__init__(today, length)

    def give(self, event: Event) -> bool:
        """Handle `event` and check the result."""
        before, told = self.session, len(self.commands)
        need(not self.over, "nothing happens after the end", event)
        taken = super().give(event)
        if not taken:
            need(self.session is before and len(self.commands) == told, "an event out of place changes nothing", event)
            return False
        commands = [command for _, _, command in self.commands[told:]]
        for command in commands:
            if isinstance(command, Record):
                self._line(command, event, before)
            elif isinstance(command, Say):
                need(command.phrase in self.may_say, "what is said is in the repertoire", command.phrase)
            elif isinstance(command, PlaceCues):
                self._placed(command)
        self._quiet_after_a_halt(event, commands)
        self._work_needs_a_person(event, before)
        self._nothing_gets_harder(before)
        self._told(event, before)
        self._phases(event, before)
        need(not self._doomed or self.session.state in FINISHED, "pain above the limit ends the session")
        if self.over:
            need(
                isinstance(self.records[-1], Record) and isinstance(self.records[-1].fact, SessionEnded),
                "ends in a record",
            )
            need(self._endings == 1 and self._open is None, "one last line, no set left open")
            need(isinstance(commands[-1], End), "the end is the last command")
        return True

    def _quiet_after_a_halt(self, event: Event, commands: list[Command]) -> None:
        after = self.session
        if event.on in TELLS_A_HALT:
            self._quiet = True
            self._pain_told = self._pain_told or event.on is On.PAIN
        if after.state in FINISHED or (event.on is On.READY and not self._pain_told):
            self._quiet = False
        if after.state not in FINISHED:
            need(after.quiet is self._quiet, "a session knows that it is quiet", event, after.state)
        if not self._quiet:
            return
        need(after.state not in (State.LEAD_IN, State.WORKING, State.STILL), "a halt stops the work", event)
        for command in commands:
            need(not isinstance(command, PlaceCues), "nothing is placed in a halt", event)
        for sounding in self.ahead:
            if sounding.at >= event.at:
                own = sounding.phrase is not None and sounding.phrase.key.startswith("halt_")
                need(own, "nothing but the halt's own words sounds", event, sounding)

    def _work_needs_a_person(self, event: Event, before: Session) -> None:
        after = self.session
        if after.state is State.LEAD_IN and before.state is not State.LEAD_IN:
            need(event.on is On.READY, "only ready leads into the lead-in", event, before.state)
        if before.state is State.CHECKING and after.state in (State.SCREENING, State.INTRO):
            need(event.on is On.READY, "only ready passes the check at the start", event)
        if after.state is State.WORKING and before.state is not State.WORKING:
            need(event.on is On.GO and before.state is State.LEAD_IN, "work follows the lead-in", event, before.state)
            need(not self._pain_open, "no work while a question about pain is open", self._pain_open)

    def _nothing_gets_harder(self, before: Session) -> None:
        after = self.session
        if after.levels is before.levels and after.targets is before.targets and after.exercise is before.exercise:
            return
        for index, planned in enumerate(after.today.exercises):
            was, now = before.levels[index], after.levels[index]
            need(now <= was, "a level never rises in a session", was, now)
            works = [planned.exercise.levels[level].dose.work for level in (was, now)]
            most = before.targets[index] if type(works[0]) is type(works[1]) else works[1].amount.low
            need(1 <= after.targets[index] <= most, "a target never rises in a session", most, after.targets[index])
        if after.exercise.index == before.exercise.index:
            need(after.exercise.stretch >= before.exercise.stretch, "a phase never gets shorter in an exercise")
        need(after.exercise.stretch >= 1.0, "a phase is never shorter than written")

    def _line(self, line: Record, event: Event, before: Session) -> None:
        it = line.fact
        need(_read_back(it) == it, "a line is read as it was written", it)
        need(line.at == event.at, "a line has the time of its event", line)
        need(not self._endings, "nothing is written after the last line", line)
        match it:
            case Asked() if is_pain(it.question):
                self._pain_open = it.question
            case Answered() if is_pain(it.question):
                self._pain_answered(it.value, event)
            case SetBegun():
                self._set_begun(event, it, before)
            case Resumed():
                need(self._open is not None and self._open.set_id == it.set_id, "the open set goes on", line)
                need(self._open and self._open.exercise not in self._ended_exercises, "a set of an ended exercise")
            case SetEnded():
                self._set_ended(event, it)
            case SessionEnded():
                self._endings += 1
            case _:
                pass

    def _pain_answered(self, value: Answer, event: Event) -> None:
        highest = edge(value)
        need(highest is not None, "a pain is a number or a band", value)
        too_much = highest is not None and highest > self._program.limits.pain_ease_to
        need(event.on is On.YES or too_much, "only a confirmed number tells of pain that lets work go on", event, value)
        self._pain_open = ""
        self._pain_told = False
        self._doomed = self._doomed or too_much

    def _set_begun(self, event: Event, begun: SetBegun, before: Session) -> None:
        need(self._open is None, "one set at a time", begun)
        need(begun.set_id == sum(self._sets.values()) + 1, "sets are numbered in order", begun)
        self._open = begun
        planned = before.planned
        exercise = planned.exercise
        ids = [level.id for level in exercise.levels]
        level = ids.index(begun.level)
        need(level <= planned.level, "never a higher level than planned", begun)
        need(exercise.id not in self._ended_exercises, "no set of an exercise that is over", begun)
        self._sets[exercise.id, begun.side] += 1
        for index in (level, planned.level):
            sets = exercise.levels[index].dose.sets
            need(self._sets[exercise.id, begun.side] <= sets, "never more sets than the program says", begun)
        sides = len(begun.side.split("+"))
        most = exercise.levels[level].dose.work.amount.high * sides
        need(begun.planned_high <= most, "never more than the range of the program", begun)
        need(begun.planned_low <= begun.planned_high, "a range is in order", begun)
        minutes = to_samples(60.0 * self._program.limits.minutes)
        need(event.at - before.began <= minutes + to_samples(30.0), "no set begins after the program's minutes", begun)
        if self._rest_from is not None:
            need(event.at >= self._rest_from[0] + self._written_rest(begun), "a rest is as long as written", begun)

    def _written_rest(self, begun: SetBegun) -> int:
        assert self._rest_from is not None
        ended = self._rest_from[1]
        exercise = self._program.exercise(ended.exercise)
        dose = next(level for level in exercise.levels if level.id == ended.level).dose
        other_side = (ended.exercise, ended.set) == (begun.exercise, begun.set)
        need(not other_side or ended.side != begun.side, "no set is done twice", begun)
        return to_samples(dose.change_sides if other_side else dose.rest)

    def _set_ended(self, event: Event, now: SetEnded) -> None:
        opened, self._open = self._open, None
        need(opened is not None, "only an open set ends", now)
        for name in ("set_id", "exercise", "level", "set", "side", "kind", "planned_low", "planned_high"):
            need(
                opened is not None and getattr(opened, name) == getattr(now, name),
                "a set ends as it began",
                name,
                opened,
                now,
            )
        need(now.counted is not None and 0 <= now.counted <= now.planned_high, "never more than planned", now)
        need(now.why != "done" or now.counted == now.planned_high, "done is all of it", now)
        self._rest_from = (event.at, now)

    def _told(self, event: Event, before: Session) -> None:
        if event.on not in (On.TIRED, On.UNSTEADY):
            return
        limits, after = self._program.limits, self.session
        action = limits.tired if event.on is On.TIRED else limits.unsteady
        need(after.open_set is None, "tired or unsteady ends the set", event)
        if action is Action.END_SESSION:
            need(after.state is State.CLOSING, "tired or unsteady ends the session where the program says so", event)
        if not before.exercising or after.state in FINISHED:
            return
        here = before.exercise.index
        easier = after.levels[here] < before.levels[here] or after.targets[here] < before.targets[here]
        if action is Action.STEP_DOWN and before.level > 0:
            need(after.level == before.level - 1, "unsteady steps down where the program says so", event)
        if action in (Action.EASE_THE_DAY, Action.STEP_DOWN) and event.on is On.UNSTEADY:
            for index in range(here + 1, len(after.targets)):
                low = after.today.exercises[index].exercise.levels[after.levels[index]].dose.work.amount.low
                need(after.targets[index] <= low, "unsteady eases what is still to come", index)
        if action in (Action.END_EXERCISE, Action.EASE_THE_DAY) or (
            action in (Action.STEP_DOWN, Action.EASE) and not easier
        ):
            need(after.exercise.over, "the exercise ends where nothing is easier, or the program says so", event)
            self._ended_exercises.add(before.planned.exercise.id)

    def _placed(self, command: PlaceCues) -> None:
        for cue in command.cues:
            if cue.sound is Sound.SPEECH:
                said = Phrase(cue.key, tuple(sorted(cue.values)))
                need(said in self.may_say, "what is placed is in the repertoire", said)
        work = self.session.planned.exercise.levels[self.session.level].dose.work
        if isinstance(work, Hold):
            return
        written = [to_samples(step.seconds) for step in work.steps]
        for mark in command.marks:
            if mark.kind is At.PHASE:
                need(mark.until - mark.at >= written[mark.phase], "no phase is shorter than written", mark)

    def _phases(self, event: Event, before: Session) -> None:
        if before.state is not State.WORKING or self.session.state is not State.WORKING:
            self._phase_until = -1
        elif event.on in (On.PHASE, On.REP_DONE):
            gone_on = self._phase_until < 0 or self._phase_until == event.at
            need(gone_on, "a phase lasts to its end, and the next follows at once", event, self._phase_until)
        if event.on is On.PHASE:
            self._phase_until = event.until


def _read_back(it: Fact) -> Fact | None:
    """Return a line as it is read back; None if it cannot be read."""
    try:
        return fact(KIND_OF[type(it)], fields_of(it))
    except UnfitField:
        return None


def most_turns(today: Today) -> int:
    """Return the largest number of sets in a session of `today`."""
    return sum(len(turns(p.exercise, p.exercise.levels[p.level], today.side)) for p in today.exercises)
