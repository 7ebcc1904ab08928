"""Turn a batch of texts into sound files, in a process of its own. Only this module uses pyttsx3.

Run as `python child.py FOLDER [--bundled]`. It reads FOLDER/batch.json (`voice`, `rate`, `pitch`, `texts`), writes
FOLDER/<index>.wav, and reports in lines of FOLDER/done.jsonl: `{"ready": voice}` when the engine answers, `{"done":
index}` or `{"failed": index, "why": text}` for a text, `{"engine": why}` or `{"voices": [ids]}` if no text can be said.
It reports in files, because pyttsx3 prints on standard output and a pipe has no deadline on some systems.

With --phonemes it speaks nothing and writes the IPA of each text to FOLDER/phonemes.json.

It imports nothing from the coach, so it starts quickly, and a crash in the engine's library ends only this process.
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
    """The attributes of pyttsx3's voice that we use."""

    id: str
    languages: list[str | bytes]


class _Engine(Protocol):
    """The methods of pyttsx3's engine that we use."""

    def getProperty(self, name: str) -> object: ...  # noqa: N802
    def setProperty(self, name: str, value: str | float) -> None: ...  # noqa: N802
    def save_to_file(self, text: str, filename: str) -> None: ...
    def runAndWait(self) -> None: ...  # noqa: N802
    def connect(self, topic: str, cb: Callable[..., None]) -> object: ...


_POLLS = 100_000
"""Reads of a property before we give up: over a second, while a change takes about a millisecond."""
_TRIES = 5
"""Attempts at one text; a second is rare, because we wait until the engine is idle."""
_HEADER = 44
"""Bytes of a WAV file without sound."""
_SYNCHRONOUS, _UTF8, _IPA = 2, 1, 2
"""Constants of the speech library: synchronous output, UTF-8 text, phonemes as IPA."""
_LIBRARIES = ("libespeak-ng.so.1", "libespeak.so.1")


def main() -> int:
    """Render the batch in the folder named on the command line."""
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
            # The engine applies properties at once only after it has spoken.
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
            if os.getppid() != parent:  # the parent was killed: nobody reads the result
                return 1
            try:
                speaker.say(text, folder / f"{index}.wav")
            except Exception as why:  # noqa: BLE001 - see above
                tell(failed=index, why=f"{type(why).__name__}: {why}")
            else:
                tell(done=index)
    return 0


def _phonemes(voice: str, texts: list[str]) -> list[str]:
    """Return the IPA of each text, always from the library installed by pip: it is the same on every machine."""
    library = _linux_library(bundled=True)
    library.espeak_TextToPhonemes.restype = ctypes.c_char_p
    library.espeak_Initialize(_SYNCHRONOUS, 0, None, 0)
    if library.espeak_SetVoiceByName(voice.encode()) != 0:
        raise LookupError(voice)
    found = []
    for text in texts:
        rest = ctypes.c_char_p(text.encode())
        clauses = []
        while rest.value:  # each call takes one clause and moves the pointer past it
            clauses.append(library.espeak_TextToPhonemes(ctypes.byref(rest), _UTF8, _IPA).decode())
        found.append(" | ".join(clauses))
    return found


def _linux_library(*, bundled: bool) -> ctypes.CDLL:
    """Load the speech library, the system's or the one installed by pip, so that pyttsx3 finds it; return it."""
    if not bundled:
        for name in _LIBRARIES:
            with contextlib.suppress(OSError):
                return ctypes.CDLL(name)
    import espeakng_loader

    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    # pyttsx3 asks for this name first, and the loader then finds the library already loaded.
    # Not RTLD_GLOBAL: another library with the same inner names would take its functions.
    return ctypes.CDLL(espeakng_loader.get_library_path())


class _Speaker:
    """The engine, one text per run: of two queued texts it would write only the last."""

    def __init__(self, library: ctypes.CDLL | None) -> None:
        import pyttsx3

        self.engine: _Engine = pyttsx3.init()
        self._library = library
        self._cut = False
        self.engine.connect("finished-utterance", self._finished)

    def say(self, text: str, path: Path) -> None:
        """Write the sound of `text` to `path`. Raises RuntimeError if the engine fails."""
        for _ in range(_TRIES):
            self._settle()
            self._cut = False
            self.engine.save_to_file(text, str(path))
            self.engine.runAndWait()
            if not self._cut and path.is_file() and path.stat().st_size > _HEADER:
                return
        raise RuntimeError("nothing was written")

    def _settle(self) -> None:
        # espeak cuts off a run that begins before the previous one has ended.
        if self._library:
            next((True for _ in range(_POLLS) if not self._library.espeak_IsPlaying()), False)

    def _finished(self, name: str | None = None, completed: bool = True) -> None:  # noqa: ARG002 - pyttsx3's names
        self._cut = self._cut or not completed


def _set(engine: _Engine, name: str, value: str | int) -> bool:
    """Set a property and wait until the engine applies it, after the call returns. False: it did not."""
    engine.setProperty(name, value)
    # None: this engine has no such property (pitch on macOS and Windows)
    return any(engine.getProperty(name) in (value, None) for _ in range(_POLLS))


def _voice(engine: _Engine, wanted: str) -> str | None:
    """Return the engine's id for `wanted`: an id, its last part, or a language; a variant ("+f3") stays attached."""
    base, plus, variant = wanted.lower().partition("+")
    voices = _voices(engine)
    by_name = [voice.id for voice in voices if f"/{voice.id.lower()}".endswith(f"/{base}")]
    tagged = [(voice.id, tag) for voice in voices for tag in _tags(voice)]
    by_language = [voice for voice, tag in tagged if tag == base]
    if not any("/" in voice.id for voice in voices):
        # Other engines name their voices differently; any voice of the language will do.
        by_language += [voice for voice, tag in tagged if tag[:2] == base[:2]]
        plus = variant = ""
    found = by_name or by_language
    return found[0] + plus + variant if found else None


def _voices(engine: _Engine) -> list[_Voice]:
    return cast("list[_Voice]", engine.getProperty("voices"))


def _tags(voice: _Voice) -> list[str]:
    """Return a voice's languages in the form "en-us"; engines give text or bytes, "_" or "-", some a length byte."""
    tags = [tag.decode("utf-8", "ignore") if isinstance(tag, bytes) else str(tag) for tag in voice.languages or ()]
    return ["".join(c for c in tag.lower().replace("_", "-") if c.isalnum() or c == "-") for tag in tags]


if __name__ == "__main__":
    sys.exit(main())
