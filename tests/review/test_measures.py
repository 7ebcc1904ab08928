"""Every figure of the review is compared with histories whose true values are known."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from statistics import fmean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lived import BUSY, CALM, Files, Lived, ladder, lived

from coach.logbook import SessionRecord
from coach.logbook.pain import span
from coach.program_files import shipped
from coach.review.figures import LeftOut, Review, WorkFigures
from coach.testing.histories import SimulatedCourse, TrueSession

CASES = [(program, course) for program in shipped() for course in (BUSY, ladder(BUSY))]


@pytest.fixture(params=CASES, ids=lambda case: f"{case[0]}-{'ladder' if case[1].ladder else 'numbers'}")
def case(request: pytest.FixtureRequest) -> Lived:
    return lived(*request.param)


def visits(case: Lived) -> list[TrueSession]:
    return list(case.true.sessions)


def test_sessions_are_compared_with_the_days_on_which_they_were_due(case: Lived) -> None:
    adherence = case.review().adherence

    assert len(case.true.due) == adherence.due
    assert len(case.true.sessions) == adherence.came
    assert sum(bool(one.visit.sets) for one in case.true.sessions) == adherence.done
    assert case.true.begins + timedelta(days=case.true.sessions[-1].day) == adherence.last


def test_without_the_kept_program_the_sessions_themselves_say_when_the_next_was_due(case: Lived) -> None:
    assert len(case.true.due) == case.review(programs={}).adherence.due


def test_weeks_hold_what_was_due_and_done_in_them(case: Lived) -> None:
    weeks = case.review().weeks

    due = Counter(day // 7 for day in case.true.due)
    done = Counter(one.day // 7 for one in case.true.sessions if one.visit.sets)
    assert [(due[n], done[n]) for n in range(len(weeks))] == [(week.due, week.done) for week in weeks]
    assert sum(due.values()) == sum(week.due for week in weeks)


def test_prescribed_counted_and_stated_are_three_sums(case: Lived) -> None:
    work = case.review().work

    plans = [plan for one in visits(case) for plan in one.visit.prescribed]
    sets = [each for one in visits(case) for each in one.visit.sets]
    assert sum(plan.sets for plan in plans) == work.sets_prescribed
    assert len(sets) == work.sets_begun
    assert sum(each.why == "done" for each in sets) == work.sets_in_full
    for amount in work.amounts:
        mine = [each for each in sets if each.unit == amount.unit]
        stated = [each for each in mine if each.stated is not None]
        assert sum(plan.sets * plan.each for plan in plans if plan.unit == amount.unit) == amount.prescribed
        assert sum(each.counted for each in mine) == amount.counted
        assert sum(each.stated or 0 for each in stated) == amount.stated
        assert (len(stated), sum(each.counted for each in stated)) == (amount.sets_stated, amount.counted_where_stated)
    assert {plan.unit for plan in plans} == {amount.unit for amount in work.amounts}


def test_time_under_tension_is_compared_with_what_the_days_prescribed(case: Lived) -> None:
    work = case.review().work

    assert work.tension_unknown == 0
    prescribed = sum(plan.sets * plan.tension_s for one in visits(case) for plan in one.visit.prescribed)
    assert prescribed == pytest.approx(work.tension_prescribed_s)
    ran = sum(each.tension_s for one in visits(case) for each in one.visit.sets)
    assert ran == pytest.approx(work.tension_s, abs=0.001 * work.sets_begun)


def test_without_the_kept_program_prescribed_tension_is_known_only_where_every_exercise_began(case: Lived) -> None:
    work = case.review(programs={}).work

    known = [
        one.visit
        for one in visits(case)
        if {plan.exercise for plan in one.visit.prescribed} <= {each.exercise for each in one.visit.sets}
    ]
    assert work.sessions - work.tension_unknown <= len(known)
    if not BUSY.ladder and work.tension_unknown == 0:
        total = sum(plan.sets * plan.tension_s for one in known for plan in one.prescribed)
        assert total == pytest.approx(work.tension_prescribed_s)


def test_pain_after_is_the_last_told_and_pain_during_the_highest_before_it(case: Lived) -> None:
    for true, visit in zip(visits(case), case.review().visits, strict=True):
        found = visit.tally
        told = true.visit.told
        behind = [pain for at_halt, pain in told if not at_halt]
        during = behind[:-1] + [pain for at_halt, pain in told if at_halt]
        assert (found.after.high if found.after else None) == high(true, behind[-1] if behind else None)
        assert (found.during.high if found.during else None) == high(true, max(during, default=None))
        assert found.before is None


def high(true: TrueSession, pain: int | None) -> int | None:
    known = span(true.visit.written(pain))
    return known.high if known else None


def test_pain_is_compared_with_the_limits_of_the_program_that_ran(case: Lived) -> None:
    pain = case.review().pain

    limits = case.true.program.limits
    highest = [value for one in visits(case) if (value := one.visit.highest) is not None]
    assert len(highest) == pain.told
    assert sum(value > limits.pain_ease_to for value in highest) == pain.above
    assert sum(limits.pain_carry_on_to < value <= limits.pain_ease_to for value in highest) == pain.eased
    assert (pain.unknown, pain.unanswered) == (0, 0)
    worst = max(visits(case), key=lambda one: one.visit.highest or 0)
    assert pain.highest is not None
    assert high(worst, worst.visit.highest) == pain.highest.high


def test_the_first_and_the_last_fortnight_are_compared(case: Lived) -> None:
    pain, days = case.review().pain, BUSY.days

    early = [high(one, one.visit.highest) for one in visits(case) if one.day < 14 and one.visit.sets]
    late = [high(one, one.visit.highest) for one in visits(case) if one.day > days - 14 and one.visit.sets]
    for told, mean in ((early, pain.first), (late, pain.last)):
        known = [value for value in told if value is not None]
        assert mean is None if not known else mean is not None
        if mean is not None:
            assert fmean(known) == pytest.approx(mean.value)
            assert len(known) == mean.sessions


def test_the_next_morning_is_told_by_the_session_after(case: Lived) -> None:
    worked: list[TrueSession] = []
    mornings: dict[str, bool] = {}
    for one in visits(case):
        if one.visit.worse is not None and worked:
            mornings[worked[-1].session] = one.visit.worse
        worked += [one] if one.visit.sets else []
    found = {visit.record.session: visit.worse for visit in case.review().visits if visit.worse is not None}

    assert mornings == found
    assert (sum(mornings.values()), len(mornings)) == (case.review().pain.worse, case.review().pain.mornings)


def test_effort_is_that_of_the_hardest_set_of_each_session(case: Lived) -> None:
    told = [max(known) for one in visits(case) if (known := [e for s in one.visit.sets if (e := s.effort) is not None])]
    effort = case.review().effort

    assert (effort is None) is (not told)
    if effort is not None:
        assert fmean(told) == pytest.approx(effort.value)
        assert len(told) == effort.sessions


def test_halts_are_counted_by_cause_and_exercise(case: Lived) -> None:
    halts = case.review().halts

    made = [halt for one in visits(case) for halt in one.visit.halts]
    assert Counter(why for _, why in made) == dict(halts.causes)
    assert Counter(exercise for exercise, _ in made) == dict(halts.exercises)
    assert sum(bool(one.visit.halts) for one in visits(case)) == halts.sessions


def test_what_was_eased_is_counted_by_its_rule(case: Lived) -> None:
    made = Counter((because, exercise) for one in visits(case) for exercise, because in one.visit.eased)
    found: Counter[tuple[str, str]] = Counter()
    for eased in case.review().eased:
        found[eased.because, eased.exercise] += eased.times

    assert made == found


def test_each_exercise_is_followed_through_levels_and_counts(case: Lived) -> None:
    for course in case.review().courses:
        made = [
            (sets[-1].level, [each.counted for each in sets])
            for one in visits(case)
            if (sets := [each for each in one.visit.sets if each.exercise == course.exercise])
        ]
        assert made == [(point.level, list(point.counted)) for point in course.points]
        ids = [level.id for level in case.true.program.exercise(course.exercise).levels]
        assert [ids.index(level) + 1 for level, _ in made] == [point.place for point in course.points]


def test_hearing_is_counted_for_each_ear_and_in_all(case: Lived) -> None:
    hearing = case.review().hearing

    ears = {ear.ear: ear for ear in hearing.ears}
    assert sum(one.visit.words for one in visits(case)) == ears["taught"].used == ears["taught"].heard
    assert sum(one.visit.unclear for one in visits(case)) == sum(ear.unclear for ear in hearing.ears)
    assert sum(one.visit.denied for one in visits(case)) == hearing.denied
    assert sum(one.visit.unanswered for one in visits(case)) == hearing.unanswered
    assert hearing.asked == hearing.at_once + hearing.again + hearing.unanswered
    assert sum(one.visit.ladder for one in visits(case)) == hearing.ladder


def test_lost_devices_are_counted(case: Lived) -> None:
    lost = sum(one.visit.lost for one in visits(case))

    assert ([lost] if lost else []) == [times for what, times in case.review().devices if what == "mic_lost"]


def test_what_went_wrong_names_the_sessions(case: Lived) -> None:
    found = {(wrong.key, wrong.name): [v.record.session for v in wrong.visits] for wrong in case.review().wrong}

    for why in {one.visit.why for one in visits(case)} - {"done"}:
        ended = [one.session for one in visits(case) if one.visit.why == why]
        by_question = [session for (key, _), seen in found.items() if key == "wrong_screen_yes" for session in seen]
        assert ended == (by_question if why == "screen" else found["wrong_end", why])
    assert ("wrong_end", "done") not in found
    for cause in ("pain", "unsteady"):
        halted = Counter(exercise for one in visits(case) for exercise, why in one.visit.halts if why == cause)
        assert halted == {name: len(seen) for (key, name), seen in found.items() if key == f"wrong_halt_{cause}"}
    sets = [each for one in visits(case) for each in one.visit.sets]
    fewer = Counter(each.exercise for each in sets if each.stated is not None and each.stated < each.counted)
    assert fewer == {name: len(seen) for (key, name), seen in found.items() if key == "wrong_fewer"}


def test_since_a_day_only_what_came_after_it_counts() -> None:
    case = lived("ankle_steady")
    since = case.true.begins + timedelta(days=30)
    review = case.review(since=since)

    assert [one.session for one in visits(case) if one.day >= 30] == [v.record.session for v in review.visits]
    assert sum(day >= 30 for day in case.true.due) == review.adherence.due
    assert review.left_out == ()


def test_a_calm_history_has_nothing_wrong_and_keeps_to_its_schedule() -> None:
    review = lived("kneecap_steady", CALM).review()

    assert review.wrong == ()
    assert review.adherence.due == review.adherence.done == 15
    assert review.work.sets_begun == review.work.sets_prescribed


def test_a_figure_knows_that_it_rests_on_one_session() -> None:
    case = lived("ankle_steady", SimulatedCourse(days=1, adherence=1, pain=(1, 1), halts=0, trouble=0))
    review = case.review()

    assert review.pain.first is not None
    assert (review.pain.first.sessions, review.work.sessions, review.hearing.sessions) == (1, 1, 1)
    assert review.pain.last is None


def test_decisions_are_listed_and_the_level_rises_with_them() -> None:
    course = SimulatedCourse(days=40, adherence=1.0, pain=(0, 0), halts=0, trouble=0, fewer=0, decides=True)
    case = lived("kneecap_steady", course)
    review = case.review(decisions=case.true.decisions)

    assert case.true.decisions == review.decisions
    up = {one.exercise for one in review.decisions}
    for course_of in review.courses:
        places = [point.place for point in course_of.points if point.place is not None]
        assert places == sorted(places)
        assert (len(set(places)) > 1) is (course_of.exercise in up)


# -- what cannot be used ----------------------------------------------------------------------------------------------


def test_a_session_of_another_person_is_left_out_and_reported() -> None:
    case, other = lived("ankle_steady"), lived("ankle_steady", person="bo")
    mixed = case.review(files=(*case.files, *other.files))

    assert figures(case.review()) == figures(mixed)
    assert {LeftOut(name, 1, "left_another", "bo") for name, _ in other.files} == set(mixed.left_out)


def test_a_copy_of_a_session_counts_once() -> None:
    case = lived("ankle_steady")
    name, record = case.files[3]
    twice = case.review(files=(*case.files, ("copied.jsonl", record)))

    assert figures(case.review()) == figures(twice)
    assert (LeftOut("copied.jsonl", 1, "left_copy", name),) == twice.left_out


def test_a_session_in_the_future_without_a_time_or_without_a_person_is_left_out() -> None:
    case = lived("ankle_steady")
    (a, first), (b, second), (c, third), *rest = case.files
    broken = (
        (a, replace(first, began="2099-01-01T00:00:00.000Z")),
        (b, replace(second, began="yesterday")),
        (c, replace(third, person="")),
    )
    review = case.review(files=(*broken, *rest))

    assert {
        LeftOut(a, 1, "left_future", "2099-01-01T00:00:00.000Z"),
        LeftOut(b, 1, "left_no_time"),
        LeftOut(c, 1, "left_nobody"),
    } == set(review.left_out)
    assert len(rest) == len(review.visits)


def test_sessions_with_a_wrong_clock_or_an_overlap_count_and_are_marked_as_doubtful() -> None:
    case = lived("ankle_steady")
    (a, first), (b, second), *rest = case.files
    late = replace(first, ended="2027-01-11T23:00:00.000Z")
    early = replace(second, began=case.files[2][1].began[:-6] + "1.000Z", ended=case.files[2][1].ended)
    jumped = case.review(files=((a, late), (b, second), *rest))
    overlapping = case.review(files=((a, first), (b, early), *rest))

    assert (LeftOut(a, 0, "left_clock", counted=True),) == jumped.left_out
    assert len(case.files) == len(jumped.visits)
    assert "left_overlap" in {one.key for one in overlapping.left_out}


@pytest.mark.parametrize("device", ["virtual room", "recording morning.wav"])
def test_a_simulated_session_is_named_as_one(device: str) -> None:
    case = lived("ankle_steady")
    (a, first), *rest = case.files
    simulated = replace(first, device=device, ended="2027-01-11T09:00:01.000Z")

    found = case.review(files=((a, simulated), *rest)).left_out

    assert found == (LeftOut(a, 1, "left_simulated", counted=True),)


def test_an_exercise_that_is_gone_from_the_program_is_reported_and_still_counted() -> None:
    case = lived("ankle_steady")
    program = case.true.program
    gone, *stay = program.exercises
    review = case.review(programs={program.digest: replace(program, exercises=tuple(stay))})

    assert [gone.id] == [wrong.name for wrong in review.wrong if wrong.key == "wrong_gone"]
    assert case.review().work.sets_begun == review.work.sets_begun


def test_without_any_kept_program_limits_are_said_to_be_unknown() -> None:
    case = lived("ankle_steady")
    review = case.review(programs={})

    assert review.versions_missing == len(case.files)
    assert (review.pain.above, review.pain.eased) == (0, 0)
    assert review.pain.unknown == review.pain.told


# -- what always holds ------------------------------------------------------------------------------------------------

POOL = [lived(program, BUSY, seed, person) for program, seed, person in (
    ("ankle_steady", 1, "ada"), ("kneecap_steady", 2, "ada"), ("trunk_endurance", 3, "bo"),
)]  # fmt: skip
FILES = [one for case in POOL for one in case.files]
PROGRAMS = {digest: program for case in POOL for digest, program in case.programs.items()}


def of(files: Files, person: str = "ada") -> Review:
    case = POOL[0]
    return replace(case.review(files=files, programs=PROGRAMS), person=person)


def figures(review: Review) -> Review:
    return replace(review, left_out=())


some_files = st.lists(st.sampled_from(FILES), max_size=12, unique_by=lambda one: (one[0], one[1].person))


@settings(deadline=None, max_examples=60)
@given(some_files, st.randoms(use_true_random=False))
def test_permuting_the_files_changes_nothing(files: list[tuple[str, SessionRecord]], chance: object) -> None:
    shuffled = list(files)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]

    assert of(tuple(files)) == of(tuple(shuffled))


@settings(deadline=None, max_examples=60)
@given(some_files)
def test_a_session_added_never_lowers_a_total(files: list[tuple[str, SessionRecord]]) -> None:
    growing = [totals(of(tuple(files[:count]))) for count in range(len(files) + 1)]

    for before, after in pairwise(growing):
        assert all(value <= after.get(name, 0) + 1e-6 for name, value in before.items())


def totals(review: Review) -> dict[str, float]:
    work, hearing, halts = review.work, review.hearing, review.halts
    plain = {name: float(getattr(work, name)) for name in WorkFigures.__slots__ if name != "amounts"}
    plain |= {f"{a.unit} {n}": getattr(a, n) for a in work.amounts for n in ("prescribed", "counted", "stated")}
    plain |= {f"halt {cause}": times for cause, times in halts.causes} | {"halted": halts.sessions}
    plain |= {f"ear {ear.ear}": ear.heard for ear in hearing.ears}
    plain |= {name: getattr(hearing, name) for name in ("asked", "unanswered", "denied", "holds", "ladder", "sessions")}
    plain |= {f"eased {one.because} {one.exercise} {one.what}": one.times for one in review.eased}
    plain |= {"done": review.adherence.done, "came": review.adherence.came}
    pain = review.pain
    return plain | {"above": pain.above, "eased": pain.eased, "told": pain.told, "unanswered pain": pain.unanswered}


@settings(deadline=None, max_examples=60)
@given(some_files)
def test_no_figure_crosses_from_one_person_to_another(files: list[tuple[str, SessionRecord]]) -> None:
    own = [one for one in files if one[1].person == "ada"]

    assert figures(of(tuple(own))) == figures(of(tuple(files)))
