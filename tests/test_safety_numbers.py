"""Every number on which safety rests stands here once more: none changes, and none comes, without being looked at.

Whoever changes one changes its row too, and its reason, which stands beneath the constant. A number of a module of this
table that has no row fails; so does a time that is written into a function without a name.
"""

from __future__ import annotations

import ast
import importlib
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from coach.program.load import load
from coach.program.model import Action, AfterGap, HoldRule, StepUp
from coach.tempo.units import to_samples

COACH = Path(__file__).resolve().parent.parent / "coach"

TABLE = """
program/model         SCALE_END                 10      pain
session/diagram       MANY                      8       states
session/goals         MOST_GOALS                3       goals
session/waits         WINDOW.checking           8.0     s
session/waits         WINDOW.screening          8.0     s
session/waits         WINDOW.screen_check       8.0     s
session/waits         WINDOW.rating             10.0    s
session/waits         WINDOW.waiting            25.0    s
session/waits         WINDOW.holding            10.0    s
session/waits         WINDOW.asking             8.0     s
session/waits         WINDOW.confirming         6.0     s
session/waits         WINDOW.halted             8.0     s
session/waits         WINDOW.recovering         40.0    s
session/waits         WINDOW.paused             60.0    s
session/waits         PROMPTS.checking          4       times
session/waits         PROMPTS.screening         3       times
session/waits         PROMPTS.screen_check      3       times
session/waits         PROMPTS.rating            2       times
session/waits         PROMPTS.waiting           4       times
session/waits         PROMPTS.holding           2       times
session/waits         PROMPTS.asking            3       times
session/waits         PROMPTS.confirming        2       times
session/waits         PROMPTS.halted            3       times
session/waits         PROMPTS.recovering        4       times
session/waits         PROMPTS.paused            5       times
session/waits         SOFT_CONFIRM              2.5     s
session/waits         DEVICE_PATIENCE           120.0   s
session/waits         CLOSING_PATIENCE          90.0    s
session/work_layout   LEAD_BEATS                3       beats
session/work_layout   LEAD_BEAT                 1.0     s
session/work_layout   LEAD_GAP                  0.4     s
session/wording       REST_ROUNDED              5       s
session/wording       HOLD_ROUNDED              5       s
session/ideal         ANSWER_AFTER              1.0     s
session/ideal         POSITION_AFTER            6.0     s
session/progression   HOLD_STEP                 5       s
session/progression   REP_STEP                  1       reps
session/rules         SLOWER_BY                 1.25    times
session/rules         SLOWEST                   2.0     times
session/sound_check   LOUDER                    10.0    dB
session/sound_check   VOICES                    0.4     share
session/soundless     WORD                      0.35    samples
session/soundless     CUE_PAUSE                 0.3     samples
words/replies         GRACE                     0.65    samples
words/replies         SHORTEST_VOICE            0.16    samples
words/replies         LONGEST_VOICE             4.0     samples
words/replies         GOES_ON                   1.3     samples
words/replies         TOGETHER                  0.5     samples
words/replies         MOST_KEPT                 8       words
tempo/timeline        NAMES_SAID_FOR            3       reps
tempo/timeline        SHORTEST_NAMED            0.6     s
tempo/timeline        HOLD_NEWS_EVERY           10      s
tempo/units           RATE                      16000   a_second
tempo/units           BLOCK                     0.02    samples
engine                LOOK_EVERY                0.1     samples
engine                READ_PATIENCE             0.8     s
engine                LAST_WRITE                10.0    s
device_watch          DEAD_MIC                  0.9     samples
device_watch          DEAD_MIC_AT_MOST          30.0    samples
device_watch          BACK_AFTER                1.0     samples
device_watch          BACK_AFTER_AT_MOST        30.0    samples
device_watch          SOON                      60.0    samples
device_watch          STALLS                    150     reads
device_watch          LAST_WORDS                6       reads
record_writer         WRITE_PATIENCE            0.02    s
record_writer         RETRY                     5.0     s
record_writer         SLOW_DISK                 10.0    samples
tryout                BEFORE                    0.3     samples
tryout                ANSWER_PATIENCE           8.0     samples
tryout                SETTLE                    1.0     samples
audio/echo_watch      LATE_ECHO                 0.3     samples
audio/echo_watch      LINGERS                   0.5     samples
audio/echo_watch      SHORTEST_SAID             0.15    samples
audio/echo_watch      LOUD                      -45.0   dBFS
audio/echo_watch      MISSING                   12.0    dB
audio/echo_watch      ABOVE                     15.0    dB
audio/echo_watch      KNOWN                     4       echoes
audio/echo_watch      LAST                      12      echoes
audio/echo_watch      MISSED_ECHOES             2       echoes
audio/echo_watch      QUIET_KEPT                250     blocks
audio/hush            HUSHED_AT_MOST            1.5     samples
audio/hush            HUSH_AFTER_VOICE          0.5     samples
audio/room_check      ECHO_TAIL                 0.3     samples
audio/room_check      LATEST                    0.5     samples
audio/room_check      STANDS_OUT                8.0     times
audio/room_check      SECONDS                   2       s
audio/room_check      SAME_LAG                  0.002   samples
audio/room_check      AT_LEAST                  3       s
audio/room_check      QUIET_SHARE               20      percent
audio/room_check      LEVELS_KEPT               60.0    samples
audio/room_check      SHORTEST_QUIET            0.2     samples
audio/room_check      A_LEVEL                   0.1     samples
audio/stream          OWN_RATES.0               48000   a_second
audio/stream          OWN_RATES.1               44100   a_second
audio/stream          OWN_RATES.2               32000   a_second
audio/stream          MOST_CHANNELS             8       channels
audio/stream          GIVE_UP                   120.0   s
audio/stream          ANEW                      3.0     s
audio/stream          ELSEWHERE                 6.0     s
audio/stream          LET_GO                    1.0     s
audio/stream          FAILED_BLOCKS             50      blocks
audio/clock           BEHIND                    0.8     s
audio/clock           AHEAD                     2.0     s
audio/clock           DRIFT                     0.02    s
audio/clock           TOLD_EVERY                0.5     samples
audio/hanging         ANSWERS                   10.0    s
audio/mixer           FADE                      0.005   samples
audio/mixer           RAMP                      0.010   samples
audio/mixer           LATE_COUNT                0.060   samples
audio/mixer           LATE_TICK                 0.005   samples
audio/mixer           UNDER_SPEECH_DB           22.0    dB
audio/mixer           KNEE                      0.8     peak
"""
"""Module, constant, value, unit. A value in samples stands here in seconds; of a mapping each key is a row."""

ROWS = [tuple(line.split()) for line in TABLE.split("\n") if line]
FOLDERS = ("session",)
"""Folders of which every module is of the table."""
MODULES = sorted({module for module, *_ in ROWS} | {f"{folder}/{path.stem}" for folder in FOLDERS
                 for path in (COACH / folder).glob("[!_]*.py")})  # fmt: skip
UNITS = {
    "goals": "goal|Goals",
    "s": "Second|seconds", "samples": "Samples|samples", "a_second": "Rates|Samples a second", "dB": "Decibels|How far",
    "dBFS": "dBFS", "times": "How often|How much|so many times|How many times|Multiple|Factor|factor", "beats": "Beats",
    "reps": "Reps", "pain": "pain", "share": "Share", "words": "Words", "reads": "Reads|The same",
    "echoes": "Echoes|echoes", "blocks": "Blocks|blocks", "percent": "Percentile", "peak": "Level", "sounds": "sounds",
    "states": "states", "channels": "Channels|channels",
}  # fmt: skip
"""Unit to what the constant's own words say of it, one of these at least."""
NOT_SAID_IN_SAMPLES = {"BACK_AFTER_AT_MOST", "DEAD_MIC_AT_MOST", "LATE_COUNT", "LATE_TICK", "TOLD_EVERY"}
"""Their words compare them with a neighbour that is."""


def source(module: str) -> ast.Module:
    return ast.parse((COACH / f"{module}.py").read_text("utf-8"))


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def numbers(value: object) -> dict[str, float]:
    """Return what of a constant is a number: its own, or those of a mapping or tuple by key, each with a dot."""
    if isinstance(value, int | float) and is_number(value):
        return {"": value}
    pairs = value.items() if isinstance(value, Mapping) else enumerate(value) if isinstance(value, tuple) else ()
    return {f".{key}": one for key, one in pairs if is_number(one)}


def names(statement: ast.stmt) -> Iterator[str]:
    """Yield the constants that a statement assigns."""
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    targets = [statement.target] if isinstance(statement, ast.AnnAssign) else targets
    for target in targets:
        for each in target.elts if isinstance(target, ast.Tuple) else [target]:
            if isinstance(each, ast.Name) and each.id.isupper():
                yield each.id


def constants(module: str) -> Iterator[tuple[str, dict[str, float], str]]:
    """Yield the constants of a module that hold numbers: name, numbers, and what stands beneath, or nearest below."""
    loaded = importlib.import_module(f"coach.{module.replace('/', '.')}")
    body = source(module).body
    for number, statement in enumerate(body):
        for name in names(statement):
            found = numbers(getattr(loaded, name))
            if found:
                yield name, found, words_beneath(body[number + 1 :])


def words_beneath(following: list[ast.stmt]) -> str:
    """Return the words under a constant; of some that stand one under another, those under the last."""
    for statement in following:
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            return str(statement.value.value)
        if not list(names(statement)):
            break
    return ""


@pytest.mark.parametrize("module", MODULES)
def test_every_number_on_which_safety_rests_is_as_the_table_has_it_and_no_other_is_there(module: str) -> None:
    there = {f"{name}{key}": value for name, found, _ in constants(module) for key, value in found.items()}
    held = {
        name: to_samples(float(value)) if unit == "samples" else float(value)
        for of, name, value, unit in ROWS
        if of == module
    }

    assert there == held


def test_each_of_them_has_a_name_of_its_own() -> None:
    homes = defaultdict(set)
    for module, name, *_ in ROWS:
        homes[name.partition(".")[0]].add(module)

    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


@pytest.mark.parametrize("module", MODULES)
def test_under_each_of_them_stands_what_it_is_for_and_its_unit(module: str) -> None:
    units = {name.partition(".")[0]: unit for of, name, _, unit in ROWS if of == module}
    for name, _, words in constants(module):
        assert len(words.split()) >= 4, f"{name}: nothing beneath says what it is for"
        if name not in NOT_SAID_IN_SAMPLES:
            assert any(word in words for word in UNITS[units[name]].split("|")), f"{name}: {units[name]}? {words}"


@pytest.mark.parametrize("module", MODULES)
def test_no_time_is_written_into_a_function_without_a_name(module: str) -> None:
    functions = (node for node in ast.walk(source(module)) if isinstance(node, ast.FunctionDef | ast.Lambda))
    unnamed = [
        f"line {call.lineno}: {ast.unparse(call)}"
        for function in functions
        for call in ast.walk(function)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "to_samples"
        and any(isinstance(argument, ast.Constant) for argument in call.args)
    ]  # fmt: skip

    assert unnamed == []


def test_a_program_that_writes_no_limits_has_the_cautious_ones() -> None:
    level = {"id": "a", "setup": "Stand.", "cue": "Bend.", "dose": {"sets": 1, "rest": "30 s", "hold": "20 s"}}
    each = {"id": "a", "name": "Bend", "levels": [level], "step_up_after": {}}
    text = {"format": 1, "title": "Small", "exercises": [each]}
    program = load(json.dumps(text), "small.yaml")
    limits, schedule = program.limits, program.schedule

    assert (limits.pain_carry_on_to, limits.pain_ease_to, limits.effort_ease_above) == (3, 5, 8)  # of 10
    assert (limits.unsteady, limits.tired) == (Action.EASE_THE_DAY, Action.END_SET)
    assert (limits.cut_sets, limits.halts, limits.minutes) == (2, 3, 40)
    assert limits.next_day_worse is Action.STEP_DOWN
    assert limits.hold_after_pain == limits.hold_after_unsteady == HoldRule(times=3, days=14)
    assert (schedule.every_days, schedule.after_sore_days, schedule.gap_days) == (1, 2, 14)
    assert schedule.after_gap is AfterGap.LEVEL_DOWN
    assert program.exercises[0].step_up == StepUp(2, at_top=True, pain_to=2, effort_to=6, days=7, unsteady=False)
