"""How soon after "stop" is the coach quiet? In every state and phase, beside a plain script that listens afterwards.

    python tests/bench/stops.py [--each 4]

A patient of synthesised speech says "stop" over the coach, in a room with echo and noise; after each halt it was just a
break and the session goes on. Quiet: from the last audible sample of "stop" to the last sample that the coach plays
above -60 dBFS before the halt's own words. Less than nothing: it fell quiet while the word was still being said.
Decided: the same to the sample at which the session halts. A "stop" that was missed counts as endless.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import accumulate, cycle
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from in_the_room import NONSENSE, QUIET, SCRIPT, Furnished, Outcome, Tape, furnish_home, prepared, session
from rich.console import Console
from rich.table import Table

from coach.audio.room import VirtualRoom
from coach.cli.session_setup import Prepared
from coach.ports import Block, Captured
from coach.program.model import Hold, Phase, Point, Reps
from coach.session.lines import work_of
from coach.session.state import State
from coach.tempo.units import BLOCK, RATE, to_samples, to_seconds

PROGRAM = """\
format: 1
title: All kinds of work
language: en
written_by: {name: "", role: physical therapist, on: 2027-01-11, review_on: 2027-02-08}
within_reach: first session
cautions: Keep a firm chair within reach, and rest when you like.
call: Call the clinic that gave you this program.
screen:
  - {id: new_fall, ask: "Have you had a new fall or injury since last time?", if_yes: end}
ask: {pain: each set, effort: each set, reps: each set}
limits:
  pain: {carry_on_to: 3, ease_to: 5}
  effort: {ease_above: 8}
  unsteady: end_session
  tired: end_set
  cut_sets: 2
  next_day_worse: step_down
  halts: 3
  minutes: 120
schedule: {every: 1 day}
exercises:
  - id: heel_lowering
    name: Heel raise with slow lowering
    why: Strong calf muscles catch the ankle.
    needs: [a firm chair]
    sides: both together
    dose: {sets: 2, reps: 10, rest: 90 s, phases: {raise: 2 s, hold: 1 s, lower: 4 s}, guide: both}
    levels: [{id: one, setup: Stand behind the chair with both hands on its back., cue: Rise and lower slowly.}]
  - id: plank
    name: Plank on the knees
    why: It steadies the trunk.
    needs: [a mat]
    sides: both together
    dose: {sets: 2, hold: 45 s, rest: 20 s}
    levels: [{id: one, setup: Kneel on the mat and lean on your forearms., cue: Keep one line from head to knees.}]
  - id: toe_reach
    name: Reaching with the other foot
    why: It trains the ankle in all directions.
    sides: affected only
    dose: {sets: 2, route: {ahead: 3 s, out: 3 s, back: 3 s}, rounds: 5, rest: 20 s}
    levels: [{id: one, setup: Stand on the treated ankle beside the chair., cue: Slide the toes to the point I name.}]
affected: right
"""
"""All kinds of work, and words enough to interrupt in every state."""

SHARES = (0.05, 0.35, 0.65, 0.9, 0.2, 0.5, 0.8, 0.0)
"""Where in a phase or a talk "stop" begins, as a share of its length, in the order in which they are tried."""
TALK = 1.6
"""Seconds of what is said in a state: the shortest."""
MISSED = to_samples(3.0)
"""Samples after "stop" after which it counts as missed."""
AGAIN = to_samples(2.0)
"""Samples from one "stop" to the next that a person says to a script which does not react."""
LEAD_EVERY = to_samples(5.0)
"""Samples between two attempts to lead into another state."""
MOST_SESSIONS = 8
ENDLESS = float("inf")


@dataclass
class Stop:
    """One "stop" and its effect, in samples."""

    label: str
    begin: int
    end: int
    decided: float = ENDLESS
    quiet: float = ENDLESS


def labels(ready: Prepared) -> dict[str, float]:
    """Return the label of every state and phase in which the coach may sound, with its length in seconds."""
    silent = {State.WORKING, State.ENDED, State.DEAF, State.MUTE}
    found = {str(state): TALK for state in State if state not in silent}
    for planned in ready.today.exercises:
        work = planned.exercise.levels[planned.level].dose.work
        if isinstance(work, Hold):
            found["working: in a hold"] = 12.0
        else:
            for step in work.phases if isinstance(work, Reps) else work.points:
                found[f"working: {step.name}"] = step.seconds
    return found


def label_of(tape: Tape) -> str:
    """Return the label of the present moment."""
    if tape.state is not State.WORKING:
        return str(tape.state)
    work = work_of(tape.session)
    if isinstance(work, Hold):
        return "working: in a hold"
    steps = work.phases if isinstance(work, Reps) else work.points
    return f"working: {steps[max(0, tape.phase)].name}"


@dataclass
class Heckler:
    """Says "stop" at each place still to be tried, and otherwise only what leads there."""

    furnished: Furnished
    wanted: dict[str, list[float]]
    """Label to the offsets in seconds that are still to be tried."""
    stops: list[Stop] = field(default_factory=list)
    label: str = ""
    since: int = 0
    led: int = -(10**9)
    """Sample at which something was said last that leads to another state."""

    def __call__(self, tape: Tape) -> None:
        label, now = label_of(tape), tape.now
        if label != self.label:
            self.label, self.since = label, now
        if self.stops and now < self.stops[-1].end + MISSED and self.stops[-1].decided == ENDLESS:
            if tape.engine is not None and (heard := _halted_after(tape, self.stops[-1].begin)):
                self.stops[-1].decided = heard
            return
        offsets = self.wanted.get(label)
        talks = tape.sounding or label.startswith("working")  # between two beats it is silent
        if offsets and talks and to_seconds(now - self.since) >= offsets[0]:
            offsets.pop(0)
            self._say_stop(tape, label)
        elif now - self.led > LEAD_EVERY and (word := self._lead(label)):
            self.led = now
            tape.room.speak(self.furnished.said[word], now)

    def _say_stop(self, tape: Tape, label: str) -> None:
        clip = self.furnished.said["stop"]
        at = tape.room.speak(clip, tape.now)
        self.stops.append(Stop(label, at, at + audible_end(clip)))

    def _lead(self, label: str) -> str:
        """Return what to say to reach a state that does not come by itself."""
        if self.wanted.get("paused") and label == "waiting":
            return "pause"
        if self.wanted.get("holding") and label.startswith("working"):
            return NONSENSE
        if label != "closing" and not any(offsets for name, offsets in self.wanted.items() if name != "closing"):
            return "finish"
        return ""


def _halted_after(tape: Tape, begin: int) -> int:
    assert tape.engine is not None
    for _, event in reversed(tape.measured.events):
        if event.at < begin:
            break
        if event.on == "stop":
            return event.at
    return 0


def audible_end(clip: Block) -> int:
    """Return the sample after the last one within 40 dB of the clip's peak."""
    loud = np.flatnonzero(np.abs(clip) >= np.abs(clip).max() / 100)
    return int(loud[-1]) + 1


def coach_stops(furnished: Furnished, ready: Prepared, each: int) -> tuple[list[Stop], list[str]]:
    """Return every stop of as many sessions as it takes, and the labels that were not reached often enough."""
    endless = replace(ready.program, limits=replace(ready.program.limits, halts=10**6))
    ready = replace(ready, today=replace(ready.today, program=endless))
    wanted = {label: [share * length for share in SHARES[:each]] for label, length in labels(ready).items()}
    found: list[Stop] = []
    voice = furnished.voice(ready)
    for number in range(MOST_SESSIONS):
        heckler = Heckler(furnished, wanted)
        ran = session(furnished, ready, script=SCRIPT, act=heckler, seed=number + 1, voice=voice)
        for stop in heckler.stops:
            _measure(stop, ran)
        found += heckler.stops
        if not any(wanted.values()):
            break
    return found, [label for label, offsets in wanted.items() if offsets]


def _measure(stop: Stop, ran: Outcome) -> None:
    if stop.decided == ENDLESS:
        late = [at for at in ran.times("stop") if stop.begin <= at < stop.end + MISSED]
        stop.decided = late[0] if late else ENDLESS
    if stop.decided != ENDLESS:
        words = [s.at for s in ran.measured.soundings if s.phrase and s.at >= stop.decided]
        until = int(min([*words, len(ran.tape.played)]))
        stop.quiet = stop.begin + last_sound(ran.tape.played_between(stop.begin, until)) - stop.end
        stop.decided -= stop.end


def last_sound(played: Block) -> int:
    """Return the sample after the last one that is above -60 dBFS; 0 if there is none."""
    loud = np.flatnonzero(np.abs(played) > QUIET)
    return int(loud[-1]) + 1 if len(loud) else 0


# -- the plain script --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One line of a plain script: say a clip to its end, wait, or listen."""

    label: str
    what: str
    seconds: float
    clip: Block


def plain_script(furnished: Furnished, ready: Prepared) -> list[Step]:
    """Return a session as a beginner writes it: every word is said to its end, every phase slept through, and between
    reps, holds and rests the microphone is open for two seconds."""
    nothing = np.zeros(0, np.float32)

    def say(label: str, text: str) -> Step:
        clip = furnished.clip(text)
        return Step(label, "say", to_seconds(len(clip)), clip)

    def wait(label: str, seconds: float) -> Step:
        return Step(label, "wait", seconds, nothing)

    listen = Step("", "listen", 2.0, nothing)
    steps = [say("opening", ready.program.cautions.strip()), listen]
    for planned in ready.today.exercises:
        work = planned.exercise.levels[planned.level].dose.work
        if isinstance(work, Hold):
            label, length = "working: in a hold", work.seconds.low
            steps += [say(label, f"{length} seconds left."), wait(label, float(length)), listen]
            continue
        parts: tuple[Phase | Point, ...] = work.phases if isinstance(work, Reps) else work.points
        for number in range(1, planned.target + 1):
            for index, part in enumerate(parts):
                label = f"working: {part.name}"
                count = isinstance(work, Reps) and index == 0
                steps += [say(label, f"Rep {number}." if count else f"{part.name}."), wait(label, part.seconds)]
            steps.append(listen)
    return [*steps, say("resting", "Rest. 20 seconds left."), wait("resting", 20.0), listen]


def plain_stops(furnished: Furnished, ready: Prepared, each: int) -> list[Stop]:
    """Return what the plain script makes of a stop at the same places."""
    steps = plain_script(furnished, ready)
    lengths = labels(ready)
    first = {label: index for index, step in reversed(list(enumerate(steps))) if (label := step.label)}
    return [
        _plain_stop(furnished, [*steps[index:], *steps[:index]], label, share * lengths[label])
        for label, index in first.items()
        for share in SHARES[:each]
    ]


def _plain_stop(furnished: Furnished, steps: list[Step], label: str, offset: float) -> Stop:
    """Let a person say "stop" at `offset` seconds and every two seconds from then on, until the script hears it."""
    room = VirtualRoom(seed=1)
    clip = furnished.said["stop"]
    begin = to_samples(offset) // BLOCK * BLOCK
    stop = Stop(label, begin, begin + audible_end(clip))
    for again in range(50):
        room.speak(clip, begin + again * AGAIN)
    ears, quiet = furnished.ears(), np.zeros(BLOCK, np.float32)
    sounded = begin
    for step in cycle(steps):
        room.open(_player(step.clip, room.now))
        for _ in range(-(-to_samples(step.seconds) // BLOCK)):
            captured = room.read()
            assert captured is not None
            if loud := last_sound(captured.played):
                sounded = max(sounded, captured.at + loud)
            opened = captured.mic if step.what == "listen" else quiet  # a closed microphone gives nothing
            heard = ears.feed(Captured(captured.at, opened, quiet, opened))
            if any(hearing.word == "stop" for hearing in heard):
                stop.decided, stop.quiet = room.now - stop.end, sounded - stop.end
                return stop
        if room.now > begin + 50 * AGAIN:
            return stop
    return stop


def _player(clip: Block, begin: int) -> Callable[[int, int], Block]:
    """Return what renders `clip` from sample `begin` on, then silence."""

    def render(at: int, frames: int) -> Block:
        out = np.zeros(frames, np.float32)
        part = clip[at - begin : at - begin + frames]
        out[: len(part)] = part
        return out

    return render


def plain_beats(furnished: Furnished, ready: Prepared) -> list[int]:
    """Return how late each rep of a set is counted by the plain script, in samples, by the program's tempo."""
    steps = [step for step in plain_script(furnished, ready) if step.label.startswith("working: ")]
    begins = [0, *accumulate(to_samples(step.seconds) for step in steps)]
    reps = [at for at, step in zip(begins, steps, strict=False) if step.what == "say" and step.label == steps[0].label]
    period = sum(step.seconds for step in steps[: _first_rep(steps)] if step.what == "wait")
    return [at - round(number * period * RATE) for number, at in enumerate(reps)]


def _first_rep(steps: list[Step]) -> int:
    """Return the index after the first rep."""
    later = [index for index, step in enumerate(steps) if index and step.label == steps[0].label]
    return next(index for index in later if steps[index].what == "say")


# -- the table ---------------------------------------------------------------------------------------------------------


def row(stops: list[Stop]) -> tuple[int, int, float, float, float]:
    """Return count, heard, median and 95th percentile to quiet, median to decided; milliseconds."""
    quiet = [1000 * stop.quiet / RATE for stop in stops]
    decided = [1000 * stop.decided / RATE for stop in stops]
    heard = sum(value != ENDLESS for value in decided)
    return len(stops), heard, share_of(quiet, 50), share_of(quiet, 95), share_of(decided, 50)


def share_of(values: list[float], percent: float) -> float:
    """Return a percentile as the next higher value, so that no average is made with an infinite one."""
    return float(np.percentile(values, percent, method="higher")) if values else float("nan")


def table(ours: list[Stop], plain: list[Stop]) -> Table:
    """Return a row a state or phase, and one for all."""
    out = Table(
        "end of 'stop', ms", "n", "heard", "quiet p50", "quiet p95", "decided p50", "plain n", "plain quiet p50"
    )
    names = list(dict.fromkeys(stop.label for stop in ours))
    for name in (*names, ""):
        mine = [stop for stop in ours if stop.label == name or not name]
        theirs = [stop for stop in plain if stop.label == name or not name]
        count, heard, p50, p95, decided = row(mine)
        other = f"{row(theirs)[2]:.0f}" if theirs else ""
        cells = (str(count), str(heard), f"{p50:.0f}", f"{p95:.0f}", f"{decided:.0f}", str(len(theirs) or ""), other)
        out.add_row(name or "all", *cells, style="" if name else "bold")
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=4, help=f"stops in each state, at most {len(SHARES)} (default 4)")
    parser.add_argument("--home", type=Path, help="where clips and takes are kept (default: made and thrown away)")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ready = prepared(PROGRAM, "all_kinds.yaml")
        furnished = furnish_home(args.home or Path(folder), ready)
        ours, left = coach_stops(furnished, ready, args.each)
        plain = plain_stops(furnished, ready, args.each)
        console = Console(width=130)
        console.print(table(ours, plain))
        for label in left:
            console.print(f"! {label}: not reached as often as asked")


if __name__ == "__main__":
    main()
