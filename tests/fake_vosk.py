"""A fake of the module `vosk` that hears what a test scripts, with the traps of the real one."""

from __future__ import annotations

import json
from dataclasses import dataclass, field


class ProcessEndedError(BaseException):
    """The real library would have crashed the process here; nothing in the coach may catch this."""


@dataclass(frozen=True)
class Said:
    """The scripted results of one recogniser."""

    partials: tuple[tuple[int, str], ...] = ()
    """(samples heard, partial result from then on)."""
    final: str = ""
    confidence: float = 1.0
    ends_at: int | None = None
    """Samples after which the recogniser itself ends the utterance, with `final`."""


@dataclass
class FakeVosk:
    """Placed in sys.modules as "vosk"."""

    vocabulary: frozenset[str]
    says: list[Said] = field(default_factory=list)
    """What the recognisers will hear, one after the other; afterwards nothing."""
    grammars: list[list[str]] = field(default_factory=list)
    """The word lists of all recognisers made."""
    log_level: int | None = None
    loaded: list[str] = field(default_factory=list)
    broken: bool = False
    """Whether no model loads."""

    def SetLogLevel(self, level: int) -> None:  # noqa: N802
        self.log_level = level

    def Model(self, model_path: str | None = None, model_name: str | None = None, lang: str | None = None) -> FakeModel:  # noqa: N802
        if model_path is None:
            raise ProcessEndedError(f"to the network for {model_name or lang}")
        model_path.encode("utf-8")  # a Path has no encode: AttributeError, as in the real one
        if self.broken:
            raise Exception("Failed to create a model")  # noqa: TRY002  as the real one does
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
