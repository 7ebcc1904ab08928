"""A stand-in for the module `vosk` that hears what a test writes down, and that has the real one's traps."""

from __future__ import annotations

import json
from dataclasses import dataclass, field


class ProcessEndedError(BaseException):
    """The real library would have ended the process here: nothing in the coach may catch this."""


@dataclass(frozen=True)
class Said:
    """What one recogniser makes of what it is given."""

    partials: tuple[tuple[int, str], ...] = ()
    """(samples heard, text that is seen from then on)."""
    final: str = ""
    confidence: float = 1.0
    ends_at: int | None = None
    """Samples after which the recogniser finds by itself that the utterance is over, with `final`."""


@dataclass
class FakeVosk:
    """Put into sys.modules as "vosk"."""

    vocabulary: frozenset[str]
    says: list[Said] = field(default_factory=list)
    """What the recognisers will hear, one after the other; nothing when it is used up."""
    grammars: list[list[str]] = field(default_factory=list)
    """The lists of the recognisers that were made."""
    log_level: int | None = None
    loaded: list[str] = field(default_factory=list)
    broken: bool = False
    """True: no model loads."""

    def SetLogLevel(self, level: int) -> None:  # noqa: N802
        self.log_level = level

    def Model(self, model_path: str | None = None, model_name: str | None = None, lang: str | None = None) -> FakeModel:  # noqa: N802
        if model_path is None:
            raise ProcessEndedError(f"to the network for {model_name or lang}")
        model_path.encode("utf-8")  # a Path has none: AttributeError, as from the real one
        if self.broken:
            raise Exception("Failed to create a model")  # noqa: TRY002  it raises nothing narrower
        self.loaded.append(model_path)
        return FakeModel(self.vocabulary)

    def KaldiRecognizer(self, model: FakeModel, rate: float, grammar: str) -> FakeRecogniser:  # noqa: N802
        assert isinstance(model, FakeModel)
        assert rate == 16_000.0
        words = json.loads(grammar)
        if not words:
            raise ProcessEndedError("an empty list crashes at the first sound")
        self.grammars.append(words)
        return FakeRecogniser(self.says.pop(0) if self.says else Said())


@dataclass(frozen=True)
class FakeModel:
    vocabulary: frozenset[str]

    def vosk_model_find_word(self, word: str) -> int:
        return 7 if word in self.vocabulary else -1


class FakeRecogniser:
    def __init__(self, said: Said) -> None:
        self.said = said
        self.heard = 0
        self.unread = False
        self.over = False

    def SetWords(self, on: bool) -> None:  # noqa: N802
        assert on

    def SetGrammar(self, grammar: str) -> None:  # noqa: N802
        if self.heard:
            raise ProcessEndedError(f"a new list in the middle of an utterance: {grammar}")

    def AcceptWaveform(self, sound: bytes) -> int:  # noqa: N802
        assert type(sound) is bytes
        assert not self.unread, "Result() was not read"
        self.heard += len(sound) // 2
        ends = self.said.ends_at
        if ends is not None and self.heard >= ends and not self.over:
            self.unread = self.over = True
            return 1
        return 0

    def Result(self) -> str:  # noqa: N802
        self.unread = False
        return self._final()

    def PartialResult(self) -> str:  # noqa: N802
        seen = [text for at, text in self.said.partials if self.heard >= at]
        return json.dumps({"partial": seen[-1] if seen and not self.over else ""})

    def FinalResult(self) -> str:  # noqa: N802
        return json.dumps({"text": ""}) if self.over else self._final()

    def _final(self) -> str:
        words = [{"word": word, "conf": self.said.confidence} for word in self.said.final.split()]
        return json.dumps({"text": self.said.final, **({"result": words} if words else {})})
