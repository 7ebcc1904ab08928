"""The kinds of single values in a program file: how each is written, its Python value and its JSON Schema."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Protocol

from yaml.nodes import ScalarNode

from coach.errors import did_you_mean
from coach.program.model import NO_HOLD, HoldRule, Range
from coach.program.nodes import found, is_empty, is_whole, read_as


class Unfit(Exception):  # noqa: N818 - not an error of the program: a sentence on its way to the list of problems
    """A value is not accepted; the message is the rest of a sentence that begins with the field's name."""


_TURNS = frozenset({"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})
"""Unicode classes of characters that change the order in which text is displayed."""


class Value(Protocol):
    """A kind of value written as one scalar."""

    def take(self, node: ScalarNode) -> Any:  # noqa: ANN401 - each kind has a type of its own
        """Return the value. Raises Unfit."""
        ...

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema of what may be written."""
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """Text; a run of spaces and line breaks becomes one space."""

    longest: int = 600
    """Characters."""
    shortest: int = 1
    spoken: bool = True
    """True: it is said aloud, so it must not contain a word that stops the session."""

    def take(self, node: ScalarNode) -> str:
        """Return the text."""
        if is_empty(node):
            raise Unfit(
                'is empty; write the text, or "" for none.' if self.shortest == 0 else "is empty; write the text."
            )
        if other := read_as(node):
            raise Unfit(
                f'must be text, found {found(node)}, which YAML takes for {other}; write "{node.value}" in quotes.'
            )
        for character in node.value:
            turns = unicodedata.bidirectional(character) in _TURNS
            if turns or (unicodedata.category(character) in {"Cc", "Cs"} and character not in "\n\t\r"):
                raise Unfit(f"must be plain text, found the control character U+{ord(character):04X}; take it out.")
        text = " ".join(node.value.split())
        if len(text) < self.shortest:
            raise Unfit("is empty; write the text.")
        if len(text) > self.longest:
            raise Unfit(f"must be {self.longest} characters or fewer, found {len(text)}; say it in fewer words.")
        return text

    def schema(self) -> dict[str, Any]:
        """Text without control characters that is not blank."""
        schema: dict[str, Any] = {"type": "string", "maxLength": self.longest}
        schema["pattern"] = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]*$"
        if self.shortest:
            schema["not"] = {"pattern": r"^\s*$"}
        return schema


@dataclass(frozen=True, slots=True)
class ShortName:
    """A short name to which other fields, the logbook or a folder refer."""

    pattern: str = "[a-z][a-z0-9_]{0,39}"
    must: str = "begin with a small letter and hold only a-z, 0-9 and _, such as heel_raise"

    def take(self, node: ScalarNode) -> str:
        """Return the name as it is written."""
        if other := read_as(node):
            raise Unfit(
                f'must be a name, found {found(node)}, which YAML takes for {other}; write "{node.value}" in quotes.'
            )
        if not re.fullmatch(self.pattern, node.value):
            raise Unfit(f"must {self.must}; found {found(node)}.")
        return str(node.value)

    def schema(self) -> dict[str, Any]:
        """Text that matches the pattern."""
        return {"type": "string", "pattern": f"^{self.pattern}$"}


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number, both ends included."""

    low: int
    high: int

    def take(self, node: ScalarNode) -> int:
        """Return the number."""
        text = node.value
        must = str(self.low) if self.low == self.high else f"a whole number from {self.low} to {self.high}"
        if not is_whole(node) and re.fullmatch(r"[0-9]{1,4}", text):
            raise Unfit(f"must be {must}, found {found(node)}; write {text} without quotes.")
        # decimal digits only: YAML would read 010 as eight and 1:30 as ninety
        if not re.fullmatch(r"-?(0|[1-9][0-9]{0,5})", text) or not self.low <= int(text) <= self.high:
            raise Unfit(f"must be {must}, found {found(node)}.")
        return int(text)

    def schema(self) -> dict[str, Any]:
        """Integer within the bounds."""
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


_UNITS = {"s": 1, "min": 60}

OWN_PACE = "at your own pace"
"""Before the time of a phase that has no tempo."""


@dataclass(frozen=True, slots=True)
class Seconds:
    """A length of time with its unit."""

    low: float
    high: float

    def take(self, node: ScalarNode) -> float:
        """Return seconds."""
        text = node.value.strip()
        must = f"must be a time from {self.low:g} s to {self.high:g} s"
        match = re.fullmatch(r"([0-9]{1,5}(?:\.[0-9]{1,3})?) ?(s|min)", text)
        if match is None:
            raise Unfit(f"{must}, found {found(node)}; {_hint_time(text)}.")
        seconds = float(match[1]) * _UNITS[match[2]]
        if not self.low <= seconds <= self.high:
            raise Unfit(f"{must}, found {found(node)}.")
        return seconds

    def schema(self) -> dict[str, Any]:
        """Text such as "60 s"; JSON Schema cannot check the bounds."""
        return {"type": "string", "pattern": r"^\s*[0-9]{1,5}(\.[0-9]{1,3})? ?(s|min)\s*$"}


@dataclass(frozen=True, slots=True)
class PhaseTime:
    """The time of a phase: in seconds, or at the person's own pace with the time to leave for it."""

    timed: Seconds

    def take(self, node: ScalarNode) -> tuple[float, bool]:
        """Return seconds, and whether the person sets the pace."""
        text = " ".join(node.value.split())
        rest = text.removeprefix(OWN_PACE)
        if rest == text:
            return self.timed.take(node), False
        return self.timed.take(ScalarNode(node.tag, rest.removeprefix(","), style=node.style)), True

    def schema(self) -> dict[str, Any]:
        """Text such as "4 s" or "at your own pace, 3 s"."""
        pattern = self.timed.schema()["pattern"].removeprefix("^")
        return {"type": "string", "pattern": rf"^\s*({OWN_PACE},)?{pattern}"}


def _hint_time(text: str) -> str:
    if re.fullmatch(r"[0-9]{1,5}(\.[0-9]{1,3})?", text):
        return f'write the unit: "{text} s"'
    if re.fullmatch(r"[0-9]+,[0-9]+ ?(s|min)", text):
        return f'write the decimals with a point: "{text.replace(",", ".")}"'
    return 'write it as "60 s" or "1 min"'


@dataclass(frozen=True, slots=True)
class Days:
    """A number of days."""

    low: int
    high: int

    def take(self, node: ScalarNode) -> int:
        """Return days."""
        match = re.fullmatch(r"([0-9]{1,3}) ?days?", node.value.strip())
        if match is None or not self.low <= int(match[1]) <= self.high:
            raise Unfit(
                f'must be from {self.low} to {self.high} days, found {found(node)}; write it as "1 day" or "2 days".'
            )
        return int(match[1])

    def schema(self) -> dict[str, Any]:
        """Text such as "2 days"."""
        return {"type": "string", "pattern": r"^\s*[0-9]{1,3} ?days?\s*$"}


@dataclass(frozen=True, slots=True)
class TimesInDays:
    """How often within how many days, or never."""

    most_times: int
    most_days: int

    def take(self, node: ScalarNode) -> HoldRule:
        """Return the rule."""
        text = " ".join(node.value.split())
        if text == "never":
            return NO_HOLD
        match = re.fullmatch(_TIMES_IN_DAYS, text)
        rule = HoldRule(int(match[1]), int(match[2])) if match else NO_HOLD
        if not (1 <= rule.times <= self.most_times and 1 <= rule.days <= self.most_days):
            raise Unfit(
                f"must be from 1 to {self.most_times} times in 1 to {self.most_days} days, found {found(node)}; "
                'write it as "3 times in 14 days", or never.'
            )
        return rule

    def schema(self) -> dict[str, Any]:
        """Text such as "3 times in 14 days"."""
        return {"type": "string", "pattern": rf"^\s*(never|{_TIMES_IN_DAYS.replace('(', '(?:')})\s*$"}


_TIMES_IN_DAYS = "([0-9]{1,2}) times? in ([0-9]{1,2}) days?"


@dataclass(frozen=True, slots=True)
class Day:
    """A calendar day."""

    def take(self, node: ScalarNode) -> date:
        """Return the day."""
        match = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", node.value)
        try:
            if match is None:
                raise ValueError  # noqa: TRY301 - one sentence for both ways of being no day
            return date(int(match[1]), int(match[2]), int(match[3]))
        except ValueError:
            raise Unfit(f"must be a day such as 2027-01-31, found {found(node)}.") from None

    def schema(self) -> dict[str, Any]:
        """Year, month, day."""
        return {"type": "string", "format": "date", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a few words."""

    words: Mapping[str, Any]
    """The written word to its value."""
    near: Mapping[str, str] = field(default_factory=dict)
    """A word that authors write by mistake, and what to write instead."""

    def take(self, node: ScalarNode) -> Any:  # noqa: ANN401 - whatever the table holds
        """Return the value of the word."""
        if node.value in self.words:
            return self.words[node.value]
        hint = self.near.get(node.value.casefold()) or did_you_mean(node.value, list(self.words))
        raise Unfit(f"cannot be {found(node)}; {hint}")

    def schema(self) -> dict[str, Any]:
        """List the words."""
        return {"type": "string", "enum": list(self.words)}


_STEADY = "as many as stay steady, "


@dataclass(frozen=True, slots=True)
class Amount:
    """How many or how long: one number, a range, or as many as stay steady."""

    high: int
    """The most in one set, a number or seconds."""
    seconds: bool = False
    """True: a time with its unit; False: a plain number."""

    def take(self, node: ScalarNode) -> Range:
        """Return the range, as a number or in seconds."""
        text = " ".join(node.value.split())
        match = re.fullmatch(self._pattern(), text)
        if match is None:
            raise Unfit(f"must be {self._must()}, found {found(node)}; write it as {self._examples(text)}.")
        unit = match["unit"] if self.seconds else "s"
        times = _UNITS[unit]
        steady = match["steady"] is not None
        if match["most"]:
            amount = Range(1, int(match["most"]) * times, steady)  # without a lower end it starts at 1
        else:
            low = match["floor"] or match["low"]
            high = match["ceiling"] or match["high"] or low
            amount = Range(int(low) * times, int(high) * times, steady)
        if amount.low < 1 or amount.high > self.high:
            raise Unfit(f"must be {self._must()}, found {found(node)}.")
        if amount.low > amount.high:
            turned = f"{match['steady']}{high} to {low}" if steady else f"{high}-{low}"
            raise Unfit(f'must go from low to high, found {found(node)}; write "{turned}{self._unit(unit)}".')
        return amount

    def schema(self) -> dict[str, Any]:
        """Text, or a plain number if there is no unit."""
        pattern = "^" + re.sub(r"\?P<[a-z]+>", "", self._pattern()) + "$"
        text = {"type": "string", "pattern": pattern}
        number = {"type": "integer", "minimum": 1, "maximum": self.high}
        return text if self.seconds else {"anyOf": [number, text]}

    def _pattern(self) -> str:
        number = "[0-9]{1,4}"
        words = "as (many as stay|long as it stays) steady, " if self.seconds else _STEADY
        within = f"at most (?P<most>{number})|(?P<floor>{number})( to | ?[-\u2013] ?)(?P<ceiling>{number})"
        unit = " ?(?P<unit>s|min)" if self.seconds else ""
        plain = f"(?P<low>{number})( ?[-\u2013] ?(?P<high>{number}))?"
        return f"((?P<steady>{words})({within})|{plain}){unit}"

    def _must(self) -> str:
        return f"a time from 1 s to {self.high} s" if self.seconds else f"a number from 1 to {self.high}"

    def _unit(self, unit: str) -> str:
        return f" {unit}" if self.seconds else ""

    def _examples(self, text: str) -> str:
        if not self.seconds:
            return '10, 10-15 or "as many as stay steady, 8 to 15"'
        if re.fullmatch(r"[0-9]{1,4}( ?[-\u2013] ?[0-9]{1,4})?", text):
            return f'"{text} s", with its unit'
        return '"30 s", "20-30 s" or "as long as it stays steady, 15 to 30 s"'
