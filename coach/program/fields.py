"""The table of the program file: every field with its kind, default and meaning. Reader and schema both follow it."""

from __future__ import annotations

from coach.program.model import SCALE_END, Action, AfterGap, AskAfter, Guide, Reach, Sides
from coach.program.shapes import WITHOUT, Field, Items, Section, Times
from coach.program.values import Amount, Day, Days, OneOf, PhaseTime, Seconds, ShortName, Text, TimesInDays, Whole

SHORTEST_PHASE = 0.5
"""Seconds of a phase at least; a shorter one cannot be named aloud."""

SHORTEST_REP = 1.5
"""Seconds of a rep at least; it must leave room for its number and the names of its phases."""

MOST_EXERCISES = 12
"""Exercises in a program at most; from five on the reader warns."""

STEP_DAYS = 7
"""Days that the evidence for a step up must span unless the program sets another number. Our own choice: sessions on
two days show what was done, and not how the body takes it over a week."""

SENTENCE = Text()
OPTIONAL = Text(shortest=0)
LINE = Text(longest=80)
LIMB = Text(longest=60, shortest=0)
NEEDS = Items(LINE, most=8)

PHASES = Times(PhaseTime(Seconds(SHORTEST_PHASE, 60)), most=8, example="{raise: 2 s, lower: 4 s}")
ROUTE = Times(Seconds(SHORTEST_PHASE, 60), most=12, example="{ahead: 2 s, out: 2 s}")

_PAIN = Whole(0, SCALE_END)
_EFFORT = Whole(0, SCALE_END)


_ONE_SIDE = {
    f"{side}{rest}": f'write "affected: {side}" at the top of the program, and here "affected only".'
    for side in ("left", "right")
    for rest in ("", " only", " side", " leg", " arm", " foot", " hand")
}


def _choice(*actions: Action) -> OneOf:
    return OneOf({action.value: action for action in actions})


DOSE_FIELDS = (
    Field("sets", Whole(1, 10), "number of sets"),
    Field("rest", Seconds(5, 600), 'time between two sets, such as "60 s"; never shorter in a session'),
    Field(
        "change_sides", Seconds(2, 120), "time to change sides, where one side works after the other", default="10 s"
    ),
    Field("reps", Amount(100), 'reps of a set: 10, 10-15 or "as many as stay steady, 8 to 15"'),
    Field(
        "phases",
        PHASES,
        'the named parts of a rep in order, each with its time: {raise: 2 s, lower: 4 s}; "at your own pace, 3 s" '
        "leaves that time for a phase and gives it no tempo",
    ),
    Field(
        "slow_phase",
        LINE,
        'the phase that must not be rushed; without it the one called "lower" or "lowering", else the longest with '
        "a tempo",
        default=WITHOUT,
    ),
    Field(
        "guide",
        OneOf({guide.value: guide for guide in Guide}),
        "how the slow phase is guided: by a falling tone, by counting aloud, by both, or quietly",
        default="tone",
    ),
    Field(
        "hold",
        Amount(600, seconds=True),
        'a timed position: "30 s", "20-30 s" or "as long as it stays steady, 15 to 30 s"',
    ),
    Field("route", ROUTE, "named points reached in turn, each with the time to reach it: {ahead: 2 s, out: 2 s}"),
    Field("rounds", Amount(100), 'rounds of the route in a set: 4, 4-6 or "as many as stay steady, 3 to 6"'),
)

WORK = {"reps": ("reps", "phases", "slow_phase", "guide"), "hold": ("hold",), "route": ("route", "rounds")}
"""The three kinds of work and the fields that belong to each; a dose has exactly one."""

DOSE = Section(DOSE_FIELDS, apart=tuple(WORK.values()), partial=True)

LEVEL = Section(
    (
        Field("id", ShortName(), "short name of the level"),
        Field("setup", SENTENCE, "how to get into position; said before the exercise"),
        Field("cue", SENTENCE, "what to do, in one or two sentences"),
        Field("feel", OPTIONAL, "where the work should be felt, and to report any feeling in the joint itself", ""),
        Field("watch", Items(Text(longest=200), most=8), "the usual mistakes, a sentence each", ()),
        Field("needs", NEEDS, "equipment beyond that of the exercise", ()),
        Field("dose", DOSE, "what differs from the dose of the exercise", default=WITHOUT),
    )
)

STEP_UP = Section(
    (
        Field("sessions", Whole(1, 20), "consecutive sessions that must meet the rule", 2),
        Field(
            "days",
            Whole(1, 90),
            "days from the first to the last of the sessions in a row at the level that were within pain_to and steady "
            "(the default is our own choice)",
            STEP_DAYS,
        ),
        Field(
            "at",
            OneOf({"top of the range": True, "bottom of the range": False}),
            "whether all sets must reach the top of the range or at least the bottom",
            "top of the range",
        ),
        Field("pain_to", _PAIN, "highest pain allowed, 0-10", 2),
        Field("effort_to", _EFFORT, "highest effort allowed, 0-10", 6),
        Field("unsteady", OneOf({"never": False, "allowed": True}), "whether unsteadiness is allowed", "never"),
    )
)

JOINS = Section(
    (
        Field("exercise", ShortName(), "id of the exercise that must have been steady"),
        Field("steady_sessions", Whole(1, 50), "number of sessions in a row in which it must have been steady"),
        Field(
            "days",
            Whole(1, 90),
            "days from the first to the last of its sessions in a row without too much pain or unsteadiness "
            "(the default is our own choice)",
            STEP_DAYS,
        ),
        Field(
            "joins",
            OneOf({"by decision": False, "by itself": True}),
            "whether the clinician decides that it joins, or it joins by itself once that is so; trouble in it or in "
            "the other takes it out until it is decided",
            "by decision",
        ),
    )
)

EXERCISE = Section(
    (
        Field("id", ShortName(), "short name of the exercise; never change it, the logbook refers to it"),
        Field("name", LINE, "what the coach calls it"),
        Field("why", OPTIONAL, 'what it is for; said when the person asks "why"', ""),
        Field("needs", NEEDS, "equipment; [] if there is none", ()),
        Field(
            "sides",
            OneOf({sides.value: sides for sides in Sides}, near=_ONE_SIDE),
            "which side works, and in what order; alternating counts each side for itself: 8 reps are 8 on each",
            "both together",
        ),
        Field("this_side", LIMB, 'what the side does that is named, said after "left" or "right": leg stands', ""),
        Field("other_side", LIMB, "what the other side does meanwhile: foot reaches", ""),
        Field("start_level", ShortName(), "the level a new person begins at; without it the first", default=WITHOUT),
        Field("dose", DOSE, "how much of it; a level may change any part", default=WITHOUT),
        Field("levels", Items(LEVEL, most=8, least=1), "variants, the easiest first"),
        Field("step_up_after", STEP_UP, "when a harder level is proposed to the clinician", default=WITHOUT),
        Field("joins_after", JOINS, "wait until another exercise has been steady", default=WITHOUT),
    )
)

_SCREEN_ACTIONS = OneOf({"hold": Action.HOLD, "end": Action.END_SESSION, "ease": Action.EASE, "note": Action.NOTE})
_SCREEN_DOES = "hold: no session at all until the clinician clears it; end: none today; ease it; or note it"

SCREEN = Section(
    (
        Field("id", ShortName(), "short name of the question"),
        Field("ask", Text(longest=200), "the question, answered by yes or no"),
        Field("if_yes", _SCREEN_ACTIONS, f"what a yes does: {_SCREEN_DOES}", default=WITHOUT),
        Field("if_no", _SCREEN_ACTIONS, f"what a no does: {_SCREEN_DOES}", default=WITHOUT),
    ),
    exactly_one=("if_yes", "if_no"),
)

PAIN_LIMITS = Section(
    (
        Field("carry_on_to", _PAIN, "pain 0-10 up to which the work goes on as planned", 3),
        Field("ease_to", _PAIN, "pain 0-10 up to which the work is eased; above it the session ends", 5),
    )
)

EFFORT_LIMITS = Section(
    (Field("ease_above", _EFFORT, "effort 0-10 above which the next sets are eased; 10: never", 8),)
)

HOLD_AFTER = Section(
    (
        Field(
            "pain",
            TimesInDays(20, 90),
            "sessions with pain above ease_to within so many days, after which the person is on hold; or never "
            "(the default is our own choice)",
            "3 times in 14 days",
        ),
        Field(
            "unsteady",
            TimesInDays(20, 90),
            "sessions with unsteadiness within so many days, after which the person is on hold; or never "
            "(the default is our own choice)",
            "3 times in 14 days",
        ),
    )
)

LIMITS = Section(
    (
        Field("pain", PAIN_LIMITS, "the bands of pain", {}),
        Field("effort", EFFORT_LIMITS, "the band of effort", {}),
        Field(
            "unsteady",
            _choice(Action.EASE_THE_DAY, Action.END_EXERCISE, Action.END_SESSION, Action.STEP_DOWN),
            "what happens when the person feels unsteady; ease_the_day: the exercise ends, and every one still to come "
            "begins at the bottom of its range; step_down: the same, but the exercise goes on one level lower; in any "
            "case nothing of the program grows next time",
            "ease_the_day",
        ),
        Field(
            "tired",
            _choice(Action.EASE, Action.END_SET, Action.END_EXERCISE, Action.END_SESSION),
            "what happens when the person is tired",
            "end_set",
        ),
        Field("cut_sets", Whole(1, 10), "number of sets cut short after which the exercise ends", 2),
        Field(
            "next_day_worse",
            _choice(Action.NOTE, Action.EASE, Action.STEP_DOWN, Action.END_SESSION),
            "what happens when pain was worse on the morning after; end_session: no session today",
            "step_down",
        ),
        Field("halts", Whole(1, 10), "number of halts at which the session ends", 3),
        Field("minutes", Whole(5, 120), "minutes after which no new set begins", 40),
        Field("hold_after", HOLD_AFTER, "what puts the person on hold: no session until the clinician clears it", {}),
    )
)

ASK = Section(
    (
        Field(
            "pain",
            OneOf({after.value: after for after in (AskAfter.EACH_SET, AskAfter.EACH_EXERCISE)}),
            "when to ask about pain; it cannot be left out",
            "each set",
        ),
        Field("effort", OneOf({after.value: after for after in AskAfter}), "when to ask about effort", "each exercise"),
        Field("reps", OneOf({after.value: after for after in AskAfter}), "when to ask how many were done", "each set"),
        Field("goals", Days(1, 90), "days until a person's goal is asked about again (our own choice)", "14 days"),
    )
)

SCHEDULE = Section(
    (
        Field("every", Days(1, 14), "days from one session to the next", "1 day"),
        Field(
            "after_a_sore_day",
            Days(1, 28),
            "days to the next session if pain was worse on the day after; without it one day more than every",
            default=WITHOUT,
        ),
        Field(
            "gap",
            Days(2, 365),
            "days without a session that count as a gap; as many days with sessions, none of them within carry_on_to, "
            "hold an exercise down in the same way; without it 14 days, or twice after_a_sore_day if that is more "
            "(our own choice)",
            default=WITHOUT,
        ),
        Field(
            "after_a_gap",
            OneOf({after.value: after for after in AfterGap}),
            "where each exercise begins again after a gap; never higher than before (our own choice)",
            "one level down",
        ),
    )
)

WRITTEN_BY = Section(
    (
        Field("name", Text(longest=80, shortest=0, spoken=False), "who wrote the program", ""),
        Field("role", Text(longest=80, shortest=0, spoken=False), "in what role, such as physical therapist", ""),
        Field("on", Day(), "the day it was written", default=WITHOUT),
        Field("review_on", Day(), "the day by which it must be reviewed", default=WITHOUT),
    )
)

PROGRAM = Section(
    (
        Field("format", Whole(1, 1), "version of this file format"),
        Field("title", LINE, "what the program is called"),
        Field(
            "language",
            ShortName("[a-z]{2,3}(-[A-Za-z0-9]{2,8})*", "be a language code such as en"),
            "language of all texts, and the voice pack that speaks them",
            "en",
        ),
        Field("written_by", WRITTEN_BY, "who is responsible for the program", {}),
        Field("affected", OneOf({"left": "left", "right": "right"}), "the side that is treated", default=WITHOUT),
        Field(
            "within_reach",
            OneOf({reach.value: reach for reach in Reach}),
            "when someone must be within reach of the person",
            "first session",
        ),
        Field("call", Text(longest=200, shortest=0), "whom to call when something is wrong, as a spoken sentence", ""),
        Field(
            "cautions",
            Text(longest=1200, shortest=0),
            "read aloud before the first session, and on request",
            "",
        ),
        Field("screen", Items(SCREEN, most=8), "yes-or-no questions before every session", ()),
        Field("ask", ASK, "when the questions after a set are asked", {}),
        Field("limits", LIMITS, "when to ease and when to end", {}),
        Field("schedule", SCHEDULE, "how often the person trains", {}),
        Field("exercises", Items(EXERCISE, most=MOST_EXERCISES, least=1), "the exercises in order; about four at most"),
    )
)
"""The whole file."""
