"""The table of all codes this program exports; anything not in it is exported as text, and no code is invented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"


@dataclass(frozen=True, slots=True)
class Code:
    """One code of an external code system."""

    system: str
    code: str
    display: str
    """Its exact name in that system; empty if we have not read it there."""
    text: str
    """What we use it for."""

    @property
    def concept(self) -> dict[str, Any]:
        """Return it as a CodeableConcept."""
        coding = {"system": self.system, "code": self.code} | ({"display": self.display} if self.display else {})
        return {"coding": [coding], "text": self.text}


PAIN = Code(
    LOINC, "72514-3", "Pain severity - 0-10 verbal numeric rating [Score] - Reported", "Pain severity 0-10, stated"
)
EFFORT = Code(LOINC, "82289-0", "", "Perceived exertion 0-10, stated")
EXERCISE_ACTIVITY = Code(LOINC, "73985-4", "Exercise activity", "Exercise activity")
DURATION = Code(LOINC, "55411-3", "Exercise duration", "From the first to the last set of the exercise, rests included")
ACTIVITY = Code(CATEGORY, "activity", "Activity", "Activity")
SURVEY = Code(CATEGORY, "survey", "Survey", "Survey")
NO_ANSWER = Code(ABSENT, "unknown", "Unknown", "Asked, not answered")
NOT_ASKED = Code(ABSENT, "not-asked", "Not Asked", "Not asked")
IN_SECONDS = Code(UCUM, "s", "", "s")
IN_MINUTES = Code(UCUM, "min", "", "min")

CODES = (PAIN, EFFORT, EXERCISE_ACTIVITY, DURATION, ACTIVITY, SURVEY, NO_ANSWER, NOT_ASKED, IN_SECONDS, IN_MINUTES)
"""All codes."""
