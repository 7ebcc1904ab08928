"""A scripted patient: what they say at each moment of a session.

A script is a YAML file:

    format: 1
    about: Answers all; says stop once, feeling unsteady.
    answers:                    # to a question that no rule below takes; a missing one is not answered
      ready: ready
      pain: n2
      screen: "no"              # to every screen question; screen.new_injury names one
      confirm: {clip: yes.wav}  # a recording, its path relative to the script
    delay: 0.6 s                # from a moment to the first sound, unless a rule says otherwise
    rules:                      # the first that fits speaks, once
      - {after: question.ready, where: {set: 2}, silent: true}
      - {during: {set: 2, rep: 6, phase: lower}, say: stop, delay: 0.3 s}
      - {after: question.pain, say: n3, times: 2, skip: 1}   # the second and third time it fits
      - {after: question.effort, say: n5, always: true}

What is said is the id of a reply (stop, ready, n2), spoken in its taught wording, or other words, spoken as they are.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import yaml

from coach.errors import RoomError, did_you_mean
from coach.program.nodes import Bounded, plain_words
from coach.tempo.units import to_samples

DELAY = 0.6
"""Default seconds to an answer; people answer each other in about 0.2 s, a machine a little later."""

QUESTIONS = (
    "check", "screen", "next_day", "ready", "reps_all", "reps_how_many", "pain", "pain_above", "effort", "confirm",
    "why_halt", "halt_pain", "goal",
)  # fmt: skip
"""Questions of a session. "check" asks for the first "ready", to test that coach and patient hear each other; without
an answer of its own it takes the one to "ready". "screen" is also "screen." and the id in the program. "pain_above"
asks whether pain is above a number, also as "pain_above." and the number; 0 asks for any pain. "reps_all": were all
done? "reps_how_many": how many were not? "confirm": is the number, or an answer before the session, read back
right? "goal": how near is a goal?"""

LARGEST = 64 * 1024
"""Largest script in bytes: thousands of rules."""


class Kind(StrEnum):
    """The kinds of moment; after `after:` in a script."""

    QUESTION = "question"
    """A question was asked and awaits its answer."""
    WORK = "work"
    """A set begins, after its lead-in."""
    REP = "rep"
    """A rep or round begins."""
    PHASE = "phase"
    """A phase of a rep, or a point of a route, begins."""
    SECOND = "second"
    """A second of a hold has passed; `rep` counts them."""
    REST = "rest"
    """A rest begins."""
    HALT = "halt"
    """The session has halted."""
    CLOSING = "closing"
    """The closing talk begins."""


@dataclass(frozen=True, slots=True)
class Moment:
    """What happens in the session now, as a person in the room would notice it."""

    kind: Kind
    at: int
    """Sample."""
    question: str = ""
    """QUESTION: its id, such as "pain" or "screen.new_injury"."""
    attempt: int = 1
    """QUESTION: 1 when it is first asked, 2 when it is repeated because no answer came, and so on."""
    exercise: str = ""
    set: int = 0
    """Set of the exercise, from 1; 0 outside a set."""
    rep: int = 0
    """Rep, round or second, from 1."""
    phase: str = ""
    """Name of the phase or point."""
    side: str = ""


FACTS = ("exercise", "set", "rep", "phase", "side", "attempt")
"""Fields of a moment that a rule may ask for."""

NUMBERED = frozenset({"set", "rep", "attempt"})
"""The facts that are whole numbers from 1."""


@dataclass(frozen=True, slots=True)
class Words:
    """What is spoken: words for the synthesis, or a recording; neither: silence."""

    text: str = ""
    clip: Path | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """One line under `rules:`."""

    kind: Kind
    question: str
    """QUESTION: its id; empty for any."""
    where: tuple[tuple[str, str | int], ...]
    """Facts that must hold."""
    words: Words
    delay: int
    """Samples from the moment to the first sound."""
    times: int | None
    """Number of matching moments at which it speaks; None: all."""
    skip: int
    """Number of matching moments that it skips first."""

    def fits(self, moment: Moment) -> bool:
        """Return whether `moment` matches."""
        if self.kind is not moment.kind:
            return False
        if self.question and moment.question != self.question and not moment.question.startswith(f"{self.question}."):
            return False
        return all(getattr(moment, fact) == value for fact, value in self.where)


@dataclass(frozen=True, slots=True)
class Script:
    """A patient script that was read and checked."""

    about: str = ""
    answers: dict[str, Words] = field(default_factory=dict)
    rules: tuple[Rule, ...] = ()
    delay: int = to_samples(DELAY)

    @property
    def spoken(self) -> list[Words]:
        """Everything the patient may say, each once, in the order of the file."""
        everything = [*self.answers.values(), *(rule.words for rule in self.rules)]
        return list(dict.fromkeys(words for words in everything if words.text or words.clip))


@dataclass(frozen=True, slots=True)
class Utterance:
    """Something the patient will say."""

    at: int
    """Sample at which it is to begin."""
    words: Words


class Patient:
    """Plays a script: told what is going on, says what the patient answers."""

    def __init__(self, script: Script) -> None:
        """Begin at the top of the script; nothing has been said."""
        self.script = script
        self._fitted = [0] * len(script.rules)

    def moment(self, moment: Moment) -> list[Utterance]:
        """Return the patient's reply to `moment`: one utterance or none."""
        for index, rule in enumerate(self.script.rules):
            if not rule.fits(moment):
                continue
            self._fitted[index] += 1
            turn = self._fitted[index] - rule.skip
            if turn >= 1 and (rule.times is None or turn <= rule.times):
                return self._say(rule.words, moment.at + rule.delay)
        if moment.kind is not Kind.QUESTION:
            return []
        answers = self.script.answers
        same = "ready" if moment.question == "check" else moment.question.partition(".")[0]
        words = answers.get(moment.question) or answers.get(same) or Words()
        return self._say(words, moment.at + self.script.delay)

    @staticmethod
    def _say(words: Words, at: int) -> list[Utterance]:
        return [Utterance(at, words)] if words.text or words.clip else []


def shipped_scripts() -> dict[str, Path]:
    """Return the scripts shipped with the package, by name."""
    return {path.stem: path for path in sorted((Path(__file__).parent / "patients").glob("*.yaml"))}


def read_script(name: str | Path) -> Script:
    """Return the script of a file, or the shipped one of that name. Raises RoomError with file, line and what to do."""
    shipped = shipped_scripts()
    path = Path(name)
    if not path.is_file():
        if str(name) not in shipped:
            raise RoomError(f"There is no patient script {name}; give a file, or one of: {', '.join(shipped)}.")
        path = shipped[str(name)]
    try:
        if path.stat().st_size > LARGEST:
            raise RoomError(f"{path} is larger than {LARGEST // 1024} KiB; a patient script is short.")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RoomError(f"{path} cannot be read as UTF-8 text ({error}); save it again.") from error
    return parse_script(text, str(path), path.parent)


def parse_script(text: str, name: str, folder: Path) -> Script:
    """Return the script in `text`; errors use `name`, paths of recordings are relative to `folder`."""
    return _Reader(name, folder).script(text)


class _Reader:
    """Walks the YAML nodes, so that every error has its line and "no" is not read as a boolean."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name = name
        self.folder = folder

    def script(self, text: str) -> Script:
        try:
            root = Bounded(text).get_single_node()
        except (yaml.YAMLError, ValueError, OverflowError) as error:  # the last two: an invalid escape
            mark = getattr(error, "problem_mark", None)
            line = mark.line + 1 if mark else 1
            raise RoomError(f"{self.name}:{line}: {plain_words(getattr(error, 'problem', None) or '')}") from error
        if root is None:
            raise RoomError(f"{self.name}:1: the script is empty; begin with: format: 1")
        fields = self.mapping(root, ("format", "about", "answers", "delay", "rules"))
        if "format" not in fields or self.text(fields["format"]) != "1":
            raise self.wrong(fields.get("format", root), "the script must say: format: 1")
        delay = self.duration(fields["delay"]) if "delay" in fields else to_samples(DELAY)
        answers: dict[str, Words] = {}
        if "answers" in fields:
            for question, node in self.mapping(fields["answers"], None).items():
                self.known_question(question, node)
                answers[question] = self.answer(node)
        rules = tuple(self.rule(node, delay) for node in self.items(fields["rules"])) if "rules" in fields else ()
        return Script(self.text(fields["about"]) if "about" in fields else "", answers, rules, delay)

    def answer(self, node: yaml.Node) -> Words:
        if isinstance(node, yaml.MappingNode):
            fields = self.mapping(node, ("clip",))
            return Words(clip=self.clip(fields["clip"])) if fields else Words()
        return Words(text=self.text(node))

    def rule(self, node: yaml.Node, delay: int) -> Rule:
        known = ("after", "during", "where", "say", "clip", "silent", "delay", "times", "always", "skip")
        fields = self.mapping(node, known)
        if ("after" in fields) == ("during" in fields):
            raise self.wrong(node, 'a rule needs either "after: MOMENT" or "during: {set: N, rep: N}"')
        if "during" in fields:
            where = self.facts(fields["during"])
            names = {fact for fact, _ in where}
            kind = Kind.PHASE if "phase" in names else Kind.REP if "rep" in names else Kind.WORK
            question = ""
            if "where" in fields:
                raise self.wrong(fields["where"], 'put these facts under "during"')
        else:
            kind, question = self.kind(fields["after"])
            where = self.facts(fields["where"]) if "where" in fields else ()
        if len({"say", "clip", "silent"} & set(fields)) != 1:
            raise self.wrong(node, 'a rule needs one of "say: WORD", "clip: FILE" and "silent: true"')
        if "silent" in fields:
            self.true(fields["silent"])
            words = Words()
        else:
            words = Words(text=self.text(fields["say"])) if "say" in fields else Words(clip=self.clip(fields["clip"]))
        if "always" in fields and "times" in fields:
            raise self.wrong(fields["times"], 'say either "times" or "always"')
        times: int | None = self.number(fields["times"], 1) if "times" in fields else 1
        if "always" in fields:
            self.true(fields["always"])
            times = None
        return Rule(
            kind=kind,
            question=question,
            where=where,
            words=words,
            delay=self.duration(fields["delay"]) if "delay" in fields else delay,
            times=times,
            skip=self.number(fields["skip"], 0) if "skip" in fields else 0,
        )

    def kind(self, node: yaml.Node) -> tuple[Kind, str]:
        name, _, question = self.text(node).partition(".")
        if name not in list(Kind) or (question and name != Kind.QUESTION):
            moments = [each.value for each in Kind] + [f"question.{each}" for each in QUESTIONS]
            found = self.text(node)
            raise self.wrong(node, f'there is no moment "{found}"; {did_you_mean(found, moments)}')
        if question:
            self.known_question(question, node)
        return Kind(name), question

    def known_question(self, question: str, node: yaml.Node) -> None:
        if question not in QUESTIONS and not question.startswith(("screen.", "pain_above.")):
            raise self.wrong(node, f'there is no question "{question}"; {did_you_mean(question, list(QUESTIONS))}')

    def facts(self, node: yaml.Node) -> tuple[tuple[str, str | int], ...]:
        found = self.mapping(node, FACTS)
        return tuple(
            (fact, self.number(value, 1) if fact in NUMBERED else self.text(value)) for fact, value in found.items()
        )

    def clip(self, node: yaml.Node) -> Path:
        path = self.folder / self.text(node)
        if not path.is_file():
            raise self.wrong(node, f"there is no recording {path}; its path is relative to the script's folder")
        return path

    def mapping(self, node: yaml.Node, known: tuple[str, ...] | None) -> dict[str, yaml.Node]:
        if not isinstance(node, yaml.MappingNode):
            raise self.wrong(node, "write names with values here, such as: say: stop")
        fields: dict[str, yaml.Node] = {}
        for key, value in node.value:
            name = self.text(key)
            if known is not None and name not in known:
                raise self.wrong(key, f'"{name}" is not known here; {did_you_mean(name, list(known))}')
            if name in fields:
                raise self.wrong(key, f'"{name}" occurs twice here; keep one')
            fields[name] = value
        return fields

    def items(self, node: yaml.Node) -> list[yaml.Node]:
        if not isinstance(node, yaml.SequenceNode):
            raise self.wrong(node, 'write a list here, each line beginning with "- "')
        return list(node.value)

    def text(self, node: yaml.Node) -> str:
        if not isinstance(node, yaml.ScalarNode) or not node.value.strip():
            raise self.wrong(node, "write a word or a number here")
        return str(node.value).strip()

    def true(self, node: yaml.Node) -> None:
        if self.text(node) != "true":
            raise self.wrong(node, "write true here, or leave the field out")

    def number(self, node: yaml.Node, least: int) -> int:
        text = self.text(node)
        if not re.fullmatch(r"[0-9]{1,6}", text) or int(text) < least:
            raise self.wrong(node, f'write a whole number from {least} here, found "{text}"')
        return int(text)

    def duration(self, node: yaml.Node) -> int:
        text = self.text(node)
        found = re.fullmatch(r"([0-9]{1,4}(?:\.[0-9]{1,4})?) ?(s|ms)", text)
        if not found:
            raise self.wrong(node, f'write a time with its unit here, such as 0.6 s, found "{text}"')
        return to_samples(float(found[1]) / (1000 if found[2] == "ms" else 1))

    def wrong(self, node: yaml.Node, what: str) -> RoomError:
        return RoomError(f"{self.name}:{node.start_mark.line + 1}: {what.removesuffix('.')}.")
