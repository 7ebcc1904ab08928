"""What the clinician is asked to decide, and what not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from lived import CALM, Lived, lived

from coach.review.asks import asks
from coach.review.figures import LeftOut, Review
from coach.review.measures import review
from coach.testing.histories import SimulatedCourse


class Keys:
    """Wording that gives each sentence's key."""

    def __call__(self, key: str, **_values: object) -> str:
        return key

    def word(self, _group: str, name: str) -> str:
        return name


def keys(found: Review) -> list[str]:
    return [line.partition(":")[0].removeprefix("clinic_need_") for line in asks(found, Keys())]


def later(case: Lived, days: int) -> Review:
    return review(case.true.person, case.files, programs=case.programs, now=case.now + timedelta(days=days))


def bare(case: Lived) -> Lived:
    """Return the case without a review date of its program."""
    programs = {
        digest: replace(program, written_by=replace(program.written_by, review_on=None))
        for digest, program in case.programs.items()
    }
    return replace(case, programs=programs)


def test_a_calm_history_asks_for_nothing() -> None:
    assert keys(bare(lived("kneecap_steady", CALM)).review()) == []


def test_whoever_missed_three_due_sessions_has_stopped_coming() -> None:
    case = bare(lived("kneecap_steady", CALM))  # every second day

    assert case.review().adherence.missed_since == 0
    assert keys(later(case, 4)) == []
    found = later(case, 6)
    assert keys(found) == ["stopped"]
    assert dict(found.reasons[0].values)["n"] == found.adherence.missed_since == 3


def test_pain_that_rose_by_two_is_reported_and_less_is_not() -> None:
    rising = SimulatedCourse(days=60, adherence=1, pain=(1, 6), halts=0, trouble=0, fewer=0)
    steady = replace(rising, pain=(2, 3))

    assert "pain" in keys(bare(lived("ankle_steady", rising)).review())
    assert "pain" not in keys(bare(lived("ankle_steady", steady)).review())


def test_worse_mornings_are_reported_while_they_are_recent() -> None:
    flaring = SimulatedCourse(days=30, adherence=1, pain=(1, 1), flare=(20, 8, 2), halts=0, trouble=0)
    case = bare(lived("ankle_steady", flaring))

    assert "mornings" in keys(case.review())
    assert "mornings" not in keys(later(case, 30))


def test_sessions_that_pain_ended_are_reported_while_they_are_recent() -> None:
    hurting = SimulatedCourse(days=20, adherence=1, pain=(7, 7), halts=0, trouble=0)
    case = bare(lived("ankle_steady", hurting))

    assert keys(case.review())[0] == "safety"
    assert "safety" not in keys(later(case, 30))


def test_lasting_trouble_is_shown_to_the_clinician_with_its_figures_while_they_train() -> None:
    sore = SimulatedCourse(days=20, adherence=1, pain=(4, 4), halts=0, trouble=0, fewer=0)
    case = bare(lived("ankle_steady", sore))

    found = case.review().lasting

    assert {one.exercise for one in found} == {exercise.id for exercise in case.true.program.exercises}
    assert {(one.pain in (4, 5), one.to, one.days) for one in found} == {(True, 3, 20)}
    assert keys(case.review()).count("ask_lasting_pain") == len(found)
    assert "ask_lasting_pain" not in keys(bare(lived("ankle_steady", replace(sore, pain=(3, 3)))).review())
    assert "ask_lasting_pain" not in keys(later(case, 30)), "that is an absence"


def test_a_program_is_due_for_review_on_its_day_and_not_before() -> None:
    case = lived("kneecap_steady", CALM)
    (digest, program), *_ = case.programs.items()
    on = replace(program.written_by, review_on=case.now.date())
    today = {digest: replace(program, written_by=on)}
    tomorrow = {digest: replace(program, written_by=replace(on, review_on=case.now.date() + timedelta(days=1)))}

    assert keys(case.review(programs=today)) == ["review_on"]
    assert keys(case.review(programs=tomorrow)) == []


def test_missing_exercises_and_files_left_out_are_shown_to_the_clinician() -> None:
    case = bare(lived("kneecap_steady", CALM))
    found = replace(case.review(), left_out=(LeftOut("a.jsonl", 3, "", "is torn off"),))
    program = next(iter(case.programs.values()))
    rest = tuple(replace(each, joins_after=None) for each in program.exercises[1:])
    shorter = {program.digest: replace(program, exercises=rest)}

    assert keys(found) == ["ask_left_out"]
    assert "ask_gone" in keys(case.review(programs=shorter))


def test_a_due_proposal_is_listed_with_every_clause_met() -> None:
    case = lived("kneecap_steady", CALM)
    due = [one for one in case.review().proposals if one.due]

    assert {one.exercise for one in due} <= {exercise.id for exercise in case.true.program.exercises}
    assert due
    assert all(clause.met for one in due for clause in one.clauses)
    assert case.review(since=date(2027, 2, 8)).proposals == case.review().proposals
