"""Warn about what a program leaves out and its readers will ask for; the program runs all the same.

The list follows the CERT reporting checklist (Slade 2016): who prescribes, equipment, replicable exercises, starting
level, progression rule, adverse events. It adds a limit on exercises (Bachmann 2018: fewer than four help adherence).
"""

from __future__ import annotations

from coach.program.model import Exercise, Reps
from coach.program.shapes import Got

FEW = 4
"""Most exercises without a warning; people do more of them less well (Henry 1999, Bachmann 2018)."""

USUAL_EASE_TO = 5
"""Pain 0-10 above which the published programs end a session."""


LONGEST_SLOW_PHASE = 10.0
"""Seconds of a slow phase that no warning follows: published doses have 3 to 6. Our own choice."""


def warnings(program: Got, exercises: tuple[Exercise, ...]) -> tuple[str, ...]:
    """Return one sentence for each thing that is missing, in the order of the file."""
    found = []
    written = program["written_by"]
    if not written["name"] and not written["role"]:
        found.append("It does not say who wrote it; fill in written_by: name or role.")
    if written.get("on") is None:
        found.append("It does not say when it was written; fill in written_by: on.")
    if written.get("review_on") is None:
        found.append("It does not say when it must be reviewed; fill in written_by: review_on.")
    if not program["call"]:
        found.append("It does not say whom to call when something is wrong; fill in call.")
    if not program["cautions"]:
        found.append("It has no cautions to read aloud before the first session; fill in cautions.")
    if not program["screen"]:
        found.append("It asks nothing before a session; fill in screen.")
    ease_to = program["limits"]["pain"]["ease_to"]
    if ease_to > USUAL_EASE_TO:
        found.append(f"It lets eased work go on up to pain {ease_to}; the usual limit is {USUAL_EASE_TO}.")
    if len(exercises) > FEW:
        found.append(f"It has {len(exercises)} exercises; people do {FEW} or fewer better.")
    for got, exercise in zip(program["exercises"], exercises, strict=True):
        found += _of_exercise(got, exercise)
    return tuple(found)


def _of_exercise(got: Got, exercise: Exercise) -> list[str]:
    name = f'Exercise "{exercise.id}"'
    found = []
    if not exercise.why:
        found.append(f"{name} does not say what it is for; fill in why.")
    if not got.wrote("needs"):
        found.append(f"{name} does not say what equipment it needs; fill in needs, [] for none.")
    if _begins_at_one(got):
        found.append(
            f'{name} does not say where "as many as stay steady" begins, so it begins at 1; write both ends, such as '
            '"as many as stay steady, 8 to 15".'
        )
    unfelt = [level.id for level in exercise.levels if not level.feel]
    if unfelt:
        found.append(f"{name} does not say where it should be felt in {', '.join(unfelt)}; fill in feel.")
    for level in exercise.levels:
        work = level.dose.work
        slow = (
            next((phase for phase in work.phases if phase.name == work.slow), None) if isinstance(work, Reps) else None
        )
        if slow is not None and slow.seconds > LONGEST_SLOW_PHASE:
            found.append(
                f'{name} takes {slow.seconds:g} s to "{slow.name}" in {level.id}; few can go so slowly for a whole set.'
            )
    if len(exercise.levels) > 1:
        if not got.wrote("start_level"):
            found.append(f"{name} does not say where a new person begins; fill in start_level.")
        if exercise.step_up is None:
            found.append(f"{name} has no rule for a harder level; fill in step_up_after.")
    return found


def _begins_at_one(got: Got) -> bool:
    """Tell whether an amount is written as "at most 12", as it was before it had a floor."""
    doses = [got.get("dose"), *(level.get("dose") for level in got["levels"])]
    amounts = [dose.nodes[name] for dose in doses if dose for name in ("reps", "hold", "rounds") if dose.wrote(name)]
    return any("at most" in str(node.value) for node in amounts)
