"""The speech engine's own process: turn a batch of texts into sound files. The only user of pyttsx3.

Run as `python child.py FOLDER [--bundled]`. It reads FOLDER/batch.json (`voice`, `rate`, `pitch`, `texts`), writes
FOLDER/<index>.wav, and after each a line into FOLDER/done.jsonl: `{"ready": voice}` when the engine answers, `{"done":
index}` or `{"failed": index, "why": text}` for a text, `{"engine": why}` or `{"voices": [ids]}` when nothing can be
said at all. Files, because pyttsx3 prints on standard output and because a pipe has no deadline on every system.

With --phonemes it speaks nothing and writes FOLDER/phonemes.json instead: the IPA of each text.

It imports nothing of the coach, so that it starts quickly and a crash in the engine's library costs only this process.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, cast


class _Voice(Protocol):
    """What pyttsx3 tells of a voice."""

    id: str
    languages: list[str | bytes]


class _Engine(Protocol):
    """What we use of pyttsx3's engine."""

    def getProperty(self, name: str) -> object: ...  # noqa: N802
    def setProperty(self, name: str, value: str | float) -> None: ...  # noqa: N802
    def save_to_file(self, text: str, filename: str) -> None: ...
    def runAndWait(self) -> None: ...  # noqa: N802
    def connect(self, topic: str, cb: Callable[..., None]) -> object: ...


_POLLS = 100_000
"""Reads of a property before we give up: above a second, where a change takes about a millisecond."""
_TRIES = 5
"""Times a text is said at most; a second time is rare, since we wait for the engine to be idle."""
_HEADER = 44
"""Bytes of a WAV file without sound."""
_SYNCHRONOUS, _UTF8, _IPA = 2, 1, 2
"""The speech library's own numbers: how it would speak, what text is, what phonemes are to be written in."""
_LIBRARIES = ("libespeak-ng.so.1", "libespeak.so.1")


def main() -> int:
    """Say the batch of the folder named on the command line."""
    folder, parent = Path(sys.argv[1]), os.getppid()
    batch = json.loads((folder / "batch.json").read_text(encoding="utf-8"))
    if "--phonemes" in sys.argv:
        told = json.dumps(_phonemes(batch["voice"], batch["texts"]))
        (folder / "phonemes.json").write_text(told, encoding="utf-8")
        return 0
    with (folder / "done.jsonl").open("a", encoding="utf-8") as done:

        def tell(**line: object) -> None:
            done.write(json.dumps(line) + "\n")
            done.flush()

        try:
            speaker = _Speaker(_linux_library(bundled="--bundled" in sys.argv) if sys.platform == "linux" else None)
            # Only an engine that has spoken takes properties at once.
            speaker.say("one", folder / "trial.wav")
            engine = speaker.engine
        except Exception as why:  # noqa: BLE001 - whatever the engine raises, the parent puts it into a sentence
            tell(engine=f"{type(why).__name__}: {why}")
            return 1
        voice = _voice(engine, batch["voice"])
        if voice is None or not _set(engine, "voice", voice):
            tell(voices=[found.id for found in _voices(engine)])
            return 1
        wanted = {"rate": batch["rate"], "pitch": batch["pitch"]}
        refused = [name for name, value in wanted.items() if value is not None and not _set(engine, name, value)]
        if refused:
            tell(engine=f"it refuses {' and '.join(f'{name} {wanted[name]}' for name in refused)}")
            return 1
        tell(ready=voice)
        for index, text in enumerate(batch["texts"]):
            if os.getppid() != parent:  # killed: nobody waits for this any more
                return 1
            try:
                speaker.say(text, folder / f"{index}.wav")
            except Exception as why:  # noqa: BLE001 - see above
                tell(failed=index, why=f"{type(why).__name__}: {why}")
            else:
                tell(done=index)
    return 0


def _phonemes(voice: str, texts: list[str]) -> list[str]:
    """Return the IPA of each text; always of the library that came with pip, so that it is the same everywhere."""
    library = _linux_library(bundled=True)
    library.espeak_TextToPhonemes.restype = ctypes.c_char_p
    library.espeak_Initialize(_SYNCHRONOUS, 0, None, 0)
    if library.espeak_SetVoiceByName(voice.encode()) != 0:
        raise LookupError(voice)
    found = []
    for text in texts:
        rest = ctypes.c_char_p(text.encode())
        clauses = []
        while rest.value:  # it takes a clause at a time, and moves the pointer behind it
            clauses.append(library.espeak_TextToPhonemes(ctypes.byref(rest), _UTF8, _IPA).decode())
        found.append(" | ".join(clauses))
    return found


def _linux_library(*, bundled: bool) -> ctypes.CDLL:
    """See to it that the speech library can be found, and return it: the system's, or the one that came with pip."""
    if not bundled:
        for name in _LIBRARIES:
            with contextlib.suppress(OSError):
                return ctypes.CDLL(name)
    import espeakng_loader

    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    # Its library's own name is the first that pyttsx3 asks for, so that the loader then finds it already there.
    # Not RTLD_GLOBAL: another library with the same inner names would take its functions.
    return ctypes.CDLL(espeakng_loader.get_library_path())


class _Speaker:
    """The engine, one text a run: of two queued ones only the last is written."""

    def __init__(self, library: ctypes.CDLL | None) -> None:
        import pyttsx3

        self.engine: _Engine = pyttsx3.init()
        self._library = library
        self._cut = False
        self.engine.connect("finished-utterance", self._finished)

    def say(self, text: str, path: Path) -> None:
        """Write the sound of `text`; raises RuntimeError if the engine will not."""
        for _ in range(_TRIES):
            self._settle()
            self._cut = False
            self.engine.save_to_file(text, str(path))
            self.engine.runAndWait()
            if not self._cut and path.is_file() and path.stat().st_size > _HEADER:
                return
        raise RuntimeError("nothing was written")

    def _settle(self) -> None:
        # A run that begins before espeak is done with the one before is cut off, at once or in the middle of it.
        if self._library:
            next((True for _ in range(_POLLS) if not self._library.espeak_IsPlaying()), False)

    def _finished(self, name: str | None = None, completed: bool = True) -> None:  # noqa: ARG002 - pyttsx3's names
        self._cut = self._cut or not completed


def _set(engine: _Engine, name: str, value: str | int) -> bool:
    """Set a property and see it arrive: the engine takes it later than the call returns. False: it did not."""
    engine.setProperty(name, value)
    # None: this engine has no such property (pitch on macOS and Windows)
    return any(engine.getProperty(name) in (value, None) for _ in range(_POLLS))


def _voice(engine: _Engine, wanted: str) -> str | None:
    """Return the engine's id for `wanted`: an id, its last part, or a language; "+f3" and the like stay attached."""
    base, plus, variant = wanted.lower().partition("+")
    voices = _voices(engine)
    by_name = [voice.id for voice in voices if f"/{voice.id.lower()}".endswith(f"/{base}")]
    tagged = [(voice.id, tag) for voice in voices for tag in _tags(voice)]
    by_language = [voice for voice, tag in tagged if tag == base]
    if not any("/" in voice.id for voice in voices):
        # Not espeak: voices have names of their own, and one of the same language is better than none.
        by_language += [voice for voice, tag in tagged if tag[:2] == base[:2]]
        plus = variant = ""
    found = by_name or by_language
    return found[0] + plus + variant if found else None


def _voices(engine: _Engine) -> list[_Voice]:
    return cast("list[_Voice]", engine.getProperty("voices"))


def _tags(voice: _Voice) -> list[str]:
    """Return the languages of a voice as "en-us"; the engines give text or bytes, "_" or "-", some with a length."""
    tags = [tag.decode("utf-8", "ignore") if isinstance(tag, bytes) else str(tag) for tag in voice.languages or ()]
    return ["".join(c for c in tag.lower().replace("_", "-") if c.isalnum() or c == "-") for tag in tags]


if __name__ == "__main__":
    sys.exit(main())
