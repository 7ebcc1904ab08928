"""The table of all codes this program exports; anything not in it is exported as text, and no code is invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
REASON = "http://terminology.hl7.org/CodeSystem/v3-ActReason"
AGENT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"


@dataclass(frozen=True, slots=True)
class Code:
    """One code of an external code system."""

    system: str
    code: str
    display: str
    """Its name in that system; of a unit, which has none there, what we show."""
    text: str
    """What we use it for."""

    @property
    def concept(self) -> dict[str, Any]:
        """Return it as a CodeableConcept."""
        return {"coding": [self.coding], "text": self.text}

    @property
    def coding(self) -> dict[str, str]:
        """Return it as a Coding."""
        return {"system": self.system, "code": self.code, "display": self.display}


PAIN = Code(
    LOINC, "72514-3", "Pain severity - 0-10 verbal numeric rating [Score] - Reported", "Pain severity 0-10, stated"
)
EFFORT = Code(LOINC, "82289-0", "Perceived exertion", "Perceived exertion 0-10, stated")
"""Its display is the short name that our sources give; its long name in LOINC we have not read."""
EXERCISE_ACTIVITY = Code(LOINC, "73985-4", "Exercise activity", "Exercise activity")
DURATION = Code(LOINC, "55411-3", "Exercise duration", "From the first to the last set, rests included")
ACTIVITY = Code(CATEGORY, "activity", "Activity", "Activity")
SURVEY = Code(CATEGORY, "survey", "Survey", "Survey")
NO_ANSWER = Code(ABSENT, "unknown", "Unknown", "Asked, not answered")
NOT_KNOWN = Code(ABSENT, "unknown", "Unknown", "Not known")
NOT_ASKED = Code(ABSENT, "not-asked", "Not Asked", "Not asked")
TEST_DATA = Code(
    REASON, "HTEST", "test health data", "A session in the simulated room or of a recording: nobody was there"
)
ASSEMBLER = Code(AGENT, "assembler", "Assembler", "The coach counted, heard and logged this, and put it together")

CONCEPTS = (
    PAIN,
    EFFORT,
    EXERCISE_ACTIVITY,
    DURATION,
    ACTIVITY,
    SURVEY,
    NO_ANSWER,
    NOT_KNOWN,
    NOT_ASKED,
    TEST_DATA,
    ASSEMBLER,
)
"""All codes of concepts."""

UNITS: Mapping[str, Code] = {
    one.display: one
    for one in (
        Code(UCUM, "s", "seconds", "holds, time under tension"),
        Code(UCUM, "min", "minutes", "durations"),
        Code(UCUM, "{reps}", "reps", "repetitions"),
        Code(UCUM, "{rounds}", "rounds", "rounds of a route"),
        Code(UCUM, "{sets}", "sets", "sets"),
        Code(UCUM, "{halts}", "halts", "halts"),
        Code(UCUM, "{sessions}", "sessions", "sessions due and done"),
    )
}
"""Unit, as the records write it, to its code. In braces is what is counted: in UCUM that is a plain number."""

TEXTS: Mapping[str, str] = {
    "Device.type": "that it is a coach which counts and does not see",
    "Flag.code": "that the person is on hold, and what was told on which that rests",
    "Goal.description": "what the person wants to do again, in their words",
    "Observation.bodySite": "the side that worked in a set: left, right, or both in turn",
    "Observation.code": "a set, a halt, an easing, a question, the period, with exercise, level and side by name",
    "Observation.component.code": "what a figure is: sets, amounts, time under tension, halts, questions, goals",
    "Observation.component.valueString": "why a set ended; a pain or an effort told as a band, such as 1-3",
    "Observation.method": "how an answer was given: by which ear, and whether it was read back",
    "Observation.valueCodeableConcept": "an exercise by name",
    "Observation.valueString": "why somebody halted, what was made easier and by which rule; a pain told as a band",
    "Procedure.bodySite": "the affected side",
    "Procedure.code": "that it was a home exercise session guided by voice",
    "Procedure.statusReason": "why the session ended, with the rule or the question before the start",
    "Provenance.activity": "which values a machine made, and what it cannot know",
    "ServiceRequest.bodySite": "the sides of a planned exercise, and which is affected",
    "ServiceRequest.code": "the planned exercise and its level, or what a clinician decided",
}
"""Where a bundle says something without a code, and what."""

_USES: Mapping[str, str] = {
    LOINC: "LOINC",
    UCUM: "UCUM",
    CATEGORY: "observation-category",
    ABSENT: "data-absent-reason",
    REASON: "v3-ActReason",
    AGENT: "provenance-participant-type",
}


def table() -> str:
    """Return what is coded and what is text, as two Markdown tables; the manual holds them to the letter."""
    coded = [
        f"| {_USES[one.system]} | `{one.code}` | {one.display} | {one.text} |" for one in (*CONCEPTS, *UNITS.values())
    ]
    plain = [f"| `{place}` | {what} |" for place, what in sorted(TEXTS.items())]
    return "\n".join(
        [
            "| system | code | display | used for |",
            "|---|---|---|---|",
            *coded,
            "",
            "| place | said in plain text, without a code |",
            "|---|---|",
            *plain,
        ]
    )
