"""`coach decide`: record what the clinician decides about an exercise, or that a person may go on after a hold."""

from __future__ import annotations

import argparse

from rich.console import Console

from coach.cli.choose import chosen, in_use, no_session, reopened
from coach.cli.export import labels_for
from coach.cli.labels import Labels
from coach.cli.on_hold import clear
from coach.cli.reading import day_of, home_of
from coach.cli.session_setup import Prepared, planned
from coach.cli.today import problems
from coach.errors import CoachError, did_you_mean
from coach.logbook.reading import History
from coach.logbook.store import Home, Person
from coach.loglines.changes import Decided
from coach.session.joining import MemberStanding, membership
from coach.session.past import Decision, PastSession, Verdict
from coach.session.progression import in_order, reached
from coach.session.proposals import Proposal, proposals

CLEAR = "clear"
"""The word to write in place of an exercise."""
LONGEST_NAME = 80
LONGEST_REASON = 500
"""Characters."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="about whom")
    parser.add_argument(
        "exercise", metavar="EXERCISE|clear", help="id of the exercise in the program; clear: the person may go on"
    )
    parser.add_argument(
        "verdict",
        nargs="?",
        choices=[str(one) for one in Verdict],
        help="one level up, stay, one level down; admit to the sessions, pause until a day or until it is admitted, "
        "withdraw until it is admitted",
    )
    parser.add_argument("--by", required=True, metavar="NAME", help="who decides")
    parser.add_argument("--note", default="", metavar="TEXT", help="why, for whoever reads it later")
    parser.add_argument("--until", metavar="DAY", help="pause: the day on which it is part of the sessions again")
    parser.add_argument("--program", metavar="ID", help="which program, where the person uses several")
    parser.add_argument(
        "--although-not-due", action="store_true", help="up or admit, although the program does not propose it yet"
    )


def run(args: argparse.Namespace) -> int:
    """Record the decision and say what it means."""
    home = home_of(args.home)
    person = home.person(args.person)
    by = _line(args.by, "--by", LONGEST_NAME)
    note = _line(args.note, "--note", LONGEST_REASON, empty=True)
    if args.verdict is None:
        return _clear(args, home, person, by, note)
    history, decided = home.history(person.id), home.decisions(person.id)
    prepared = _prepared(args, home, person, history)
    labels, console = Labels(prepared.pack.screens), Console(highlight=False, markup=False)
    for problem in problems(history, decided, labels):
        console.print(f"! {problem}", soft_wrap=True, markup=False)
    verdict = Verdict(args.verdict)
    until = _until(args, verdict, home)
    before = tuple(one for one in decided.decisions if not _replaced(one, prepared, args.exercise, verdict, home))
    sessions = prepared.past
    from_level, to_level = _levels(prepared, args.exercise, verdict, sessions, before, home)
    found = proposals(prepared.program, sessions, before, home.today())
    proposal = next((one for one in found if (one.exercise, one.verdict) == (args.exercise, verdict)), None)
    needs_proposal = verdict is Verdict.UP
    if verdict.of_membership:
        standing = _standing(prepared, args.exercise, before, home)
        _may(args.exercise, verdict, _standing(prepared, args.exercise, decided.decisions, home))
        needs_proposal = verdict is Verdict.ADMIT and standing in (MemberStanding.WAITS, MemberStanding.TAKEN_OUT)
    proposed = not needs_proposal or (proposal is not None and proposal.due)
    if not proposed:
        _insist(args, verdict, proposal, labels)
        console.print(f"! {labels('decide_not_due')}", soft_wrap=True, markup=False)
    home.decide(
        person.id,
        Decided(
            prepared.program.id, prepared.program.digest, args.exercise, verdict.value, from_level, to_level, by, note,
            proposed, until,
        ),
    )  # fmt: skip
    values = {"exercise": args.exercise, "before": from_level, "after": to_level, "by": by, "until": until}
    key = f"decide_{verdict}_until" if until else f"decide_{verdict}"
    console.print(labels(key, **values), soft_wrap=True, markup=False)
    after = home.decisions(person.id).decisions
    if verdict.of_membership:
        if (_standing(prepared, args.exercise, after, home) is MemberStanding.IN) is not (verdict is Verdict.ADMIT):
            console.print(f"! {labels('decide_out_held')}", soft_wrap=True, markup=False)
        return 0
    exercise = prepared.program.exercise(args.exercise)
    level = exercise.levels[reached(exercise, prepared.program, in_order(sessions), after, home.today()).level].id
    if level != to_level:
        console.print(f"! {labels('decide_held', level=level)}", soft_wrap=True, markup=False)
    return 0


def _clear(args: argparse.Namespace, home: Home, person: Person, by: str, note: str) -> int:
    """Record that the person may go on. Raises CoachError if something else was meant."""
    if args.exercise != CLEAR:
        verdicts = ", ".join(Verdict)
        raise CoachError(f'Say what is decided about "{args.exercise}": {verdicts}; or {CLEAR} in its place.')
    for line in clear(home, person.id, by, note, labels_for(home, person.id)):
        print(line)
    return 0


def _line(text: str, option: str, longest: int, *, empty: bool = False) -> str:
    """Return a text on one line. Raises CoachError if it is empty, too long or holds control characters."""
    line = " ".join(text.split())
    if not line and not empty:
        raise CoachError(f"{option} is empty; write who decides.")
    if len(line) > longest:
        raise CoachError(f"{option} has {len(line)} characters; write {longest} at most.")
    if not line.isprintable():
        raise CoachError(f"{option} holds a character that cannot be shown; write plain text.")
    return line


def _prepared(args: argparse.Namespace, home: Home, person: Person, history: History) -> Prepared:
    """Return the program that is named, or the only one in use that has the exercise. Raises CoachError."""
    if args.program:
        prepared = chosen(args.program, home, person)
        _exercise_of(prepared, args.exercise)
        return prepared
    known = in_use(history.briefs)
    if not known:
        raise CoachError(f"{no_session(home, person)}; name the program with --program.")
    opened: list[Prepared] = []
    gone: CoachError | None = None
    for used in known:
        try:
            opened.append(planned(reopened(used, home, person), home, person.id, history))
        except CoachError as error:
            gone = error
    having = [one for one in opened if args.exercise in [each.id for each in one.program.exercises]]
    if not having and gone is not None:
        raise gone
    if len(having) > 1:
        names = ", ".join(one.program.id for one in having)
        raise CoachError(f'"{args.exercise}" is in several programs: {names}; name one with --program.')
    if not having:
        _exercise_of(opened[-1], args.exercise)
    return having[0]


def _exercise_of(prepared: Prepared, exercise: str) -> None:
    known = [each.id for each in prepared.program.exercises]
    if exercise not in known:
        raise CoachError(f'"{prepared.program.id}" has no exercise "{exercise}"; {did_you_mean(exercise, known)}')


def _replaced(one: Decision, prepared: Prepared, exercise: str, verdict: Verdict, home: Home) -> bool:
    """Tell whether a decision is of today and about the same of the same exercise, so that the new one replaces it."""
    same = one.verdict.of_membership is verdict.of_membership
    return same and (one.program, one.exercise, one.day) == (prepared.program.id, exercise, home.today())


def _until(args: argparse.Namespace, verdict: Verdict, home: Home) -> str:
    """Return the day until which an exercise is paused, ISO 8601; empty: until somebody decides. Raises CoachError."""
    day = day_of(args.until)
    if day is None:
        return ""
    if verdict is not Verdict.PAUSE:
        raise CoachError(f"--until goes with pause; {verdict} has no end.")
    if day <= home.today():
        raise CoachError(f"--until {day} is not after today; write a later day, or leave it out.")
    return day.isoformat()


def _standing(prepared: Prepared, exercise: str, decisions: tuple[Decision, ...], home: Home) -> MemberStanding:
    program = prepared.program
    return membership(program.exercise(exercise), program, in_order(prepared.past), decisions, home.today()).standing


def _may(exercise: str, verdict: Verdict, standing: MemberStanding) -> None:
    """Raise CoachError if the decision would change nothing."""
    if verdict is Verdict.ADMIT and standing is MemberStanding.IN:
        raise CoachError(f'"{exercise}" is part of the sessions already.')
    if verdict is not Verdict.ADMIT and standing is MemberStanding.WITHDRAWN:
        raise CoachError(f'"{exercise}" is withdrawn already; bring it back with: admit.')


def _levels(
    prepared: Prepared,
    exercise_id: str,
    verdict: Verdict,
    sessions: tuple[PastSession, ...],
    decisions: tuple[Decision, ...],
    home: Home,
) -> tuple[str, str]:
    """Return the level now and the level decided for. Raises CoachError if the exercise has no such level."""
    exercise = prepared.program.exercise(exercise_id)
    ids = [level.id for level in exercise.levels]
    now = reached(exercise, prepared.program, in_order(sessions), decisions, home.today()).level
    to = now + {Verdict.UP: 1, Verdict.DOWN: -1}.get(verdict, 0)
    if to == len(ids):
        raise CoachError(f'"{exercise_id}" is at its hardest level, {ids[now]}; write a new program to go further.')
    if to < 0:
        raise CoachError(
            f'"{exercise_id}" is at its easiest level, {ids[now]}; write a new program to make it easier, '
            "or take back a step up of today with: stay."
        )
    return ids[now], ids[to]


def _insist(args: argparse.Namespace, verdict: Verdict, proposal: Proposal | None, labels: Labels) -> None:
    """Raise CoachError that says what is missing for a proposal, unless the clinician overrides it."""
    if args.although_not_due:
        return
    missing = [labels.clause(one) for one in proposal.clauses if not one.met] if proposal is not None else []
    why = f" yet ({'; '.join(missing)})" if missing else ", because it has no step_up_after there"
    what = "a step up of" if verdict is Verdict.UP else "to admit"
    raise CoachError(
        f'The program does not propose {what} "{args.exercise}"{why}; to decide it anyway, add --although-not-due.'
    )
