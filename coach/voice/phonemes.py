"""Look up how wordings are pronounced: IPA from the speech library installed by pip, in a separate process."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from coach.errors import SpeechError

_DEADLINE = 30.0
"""Seconds the process may take before it is killed."""


def phonemes(voice: str, texts: Iterable[str]) -> dict[str, str]:
    """Return each text with its IPA in the language of `voice` ("en-us"); "|" separates clauses.

    Raises SpeechError if the library is missing (it is installed on Linux only) or lacks the voice.
    """
    wanted = list(dict.fromkeys(texts))
    if sys.platform != "linux":
        raise SpeechError("The pronunciation of words is available on Linux only; run this command there.")
    with tempfile.TemporaryDirectory(prefix="coach-") as name:
        folder = Path(name)
        (folder / "batch.json").write_text(json.dumps({"voice": voice, "texts": wanted}), encoding="utf-8")
        command = [sys.executable, "-P", str(Path(__file__).with_name("child.py")), name, "--phonemes"]
        try:
            subprocess.run(command, check=True, capture_output=True, timeout=_DEADLINE)  # noqa: S603 - our own file
            found = json.loads((folder / "phonemes.json").read_text(encoding="utf-8"))
        except (subprocess.SubprocessError, OSError, ValueError) as error:
            raise SpeechError(
                f'The speech library does not tell how "{voice}" is pronounced; check the voice in speech.yaml, '
                "and install espeakng-loader with pip."
            ) from error
    return dict(zip(wanted, found, strict=True))
