"""Turn texts into clips before they are needed, in separate processes, each phrase within a deadline.

The engine runs in `child.py`; this module watches it. A child that hangs or dies is replaced by another that goes on at
the failed phrase. Every file of a child is checked. A phrase that fails twice is an error that names it.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from coach.errors import RecordError, SpeechError, did_you_mean
from coach.logbook import files
from coach.ports import Block
from coach.progress import HowFar
from coach.voice import shape

LONGEST_TEXT = 1000
"""Characters of one phrase at most: over a minute of speech."""

_PREFIX = "coach-"
"""Prefix of the name of a child's working folder."""
_LOCKED = os.name != "nt"
"""Whether working folders are locked on this system."""
_LEFT = 3600.0
"""Seconds after which an unlocked working folder counts as abandoned; rendering takes about one minute."""
_OTHER_PLACES = ("/dev/shm", "/var/tmp")  # noqa: S108  in them we make a private folder
"""Where children work if the system's temporary folder is full or not writable."""
_ROOM_EACH = 256 * 1024
"""Bytes of a phrase's file: 6 s of sound."""
_ROOM = 16 * 1024 * 1024
"""Bytes of all files at most: each is deleted once it is read, and a child is never far ahead."""
_ATTEMPTS = 2
_START_DEADLINE = 30.0
"""Seconds for a child to start and speak for the first time: a slow disk, a virus scanner."""
_LOOK_EVERY = 0.01
"""Seconds between two looks at a child's work; a phrase takes about as long."""
_WORTH_TWO = 40
"""Phrases from which a second child saves more time than its start costs."""


def clean(text: str) -> str:
    """Return `text` for the engine: each run of control characters and white space becomes one space.

    Raises SpeechError if the text holds no word or is too long.
    """
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if not any(map(str.isalnum, plain)):
        raise SpeechError(f'There is nothing to say in "{plain}"; write a word or leave it out.')
    if len(plain) > LONGEST_TEXT:
        raise SpeechError(f'"{plain[:40]}..." is too long to be said at once; split it below {LONGEST_TEXT} letters.')
    return plain


class Renderer:
    """A voice at a speed that turns texts into clips."""

    def __init__(
        self,
        voice: str,
        rate: int = 160,
        pitch: int | None = None,
        *,
        deadline: float = 10.0,
        children: int = 2,
        command: Sequence[str] | None = None,
    ) -> None:
        """Set the voice; no process starts before the first text.

        `voice`: the engine's id or a language, "en-us"; with espeak a variant may follow, "en-us+m3" (m1-m8, f1, f4
        sound the same every time; f2, f3, f5 have breath noise, which varies).
        `rate`: words a minute, 80 to 300. `pitch`: 0 to 99, where the engine has it. `deadline`: seconds a phrase may
        take. `children`: processes at most. `command`: runs instead of the engine's own process (for tests).
        """
        if not 80 <= rate <= 300:
            raise SpeechError(f"A speech rate of {rate} words a minute is not usable; choose 80 to 300.")
        if pitch is not None and not 0 <= pitch <= 99:
            raise SpeechError(f"A pitch of {pitch} is not usable; choose 0 to 99.")
        self.voice = voice
        self.rate = rate
        self.pitch = pitch
        self._deadline = deadline
        self._children = min(children, os.cpu_count() or 1)
        self._command = tuple(command or (sys.executable, "-P", str(Path(__file__).with_name("child.py"))))
        self._bundled = False

    @property
    def identity(self) -> str:
        """Everything a clip depends on besides its text: voice, rate, pitch, engine and clip format."""
        return f"{self.voice}|{self.rate}|{self.pitch}|{_engine()}|{shape.CLIP_FORMAT}"

    def render(self, texts: Iterable[str], progress: HowFar | None = None) -> dict[str, Block]:
        """Return the clip of each text. Raises SpeechError, see `each`."""
        wanted = list(dict.fromkeys(texts))
        clips: dict[str, Block] = {}
        for text, clip in self.each(wanted):
            clips[text] = clip
            if progress:
                progress(len(clips), len(wanted))
        return clips

    def each(self, texts: Iterable[str]) -> Iterator[tuple[str, Block]]:
        """Yield each distinct text with its clip (mono, 16 kHz, float32, from the first audible sample), once rendered.

        Raises SpeechError if there is no engine or no such voice, or a text is empty or fails twice.
        """
        wanted = {text: clean(text) for text in texts}
        if not wanted:
            return
        lanes = self._children if len(wanted) >= _WORTH_TWO else 1
        jobs = [_Job(text, plain) for text, plain in wanted.items()]
        tidy_up()
        try:
            with _workplace(min(_ROOM, len(jobs) * _ROOM_EACH)) as folder:
                yield from self._run([jobs[lane::lanes] for lane in range(lanes)], folder)
        except OSError as refused:
            raise SpeechError(
                f"Speech cannot be rendered in {' or '.join(map(str, _places()))} ({refused.strerror or refused}); "
                "free some space there or set TMPDIR to another folder."
            ) from refused

    def _run(self, lanes: list[list[_Job]], folder: Path) -> Iterator[tuple[str, Block]]:
        """Process the lanes in parallel; the lane of a text does not depend on the children's speed."""
        children: list[_Child] = []
        serial = iter(range(1_000_000))
        try:
            # Appended one by one, so that `finally` ends the first child if the second cannot start.
            children.extend(self._start(jobs, folder / str(next(serial))) for jobs in lanes)
            while children:
                news = False
                for place, child in enumerate(children):
                    for job, clip in self._collect(child):
                        news = True
                        yield job.text, clip
                    if child.over:
                        rest = self._after(child)
                        children[place] = self._start(rest, folder / str(next(serial))) if rest else child
                children = [child for child in children if not child.over]
                if children and not news:
                    children[0].rest(_LOOK_EVERY)
        finally:
            for child in children:
                child.end()

    def _start(self, jobs: list[_Job], folder: Path) -> _Child:
        folder.mkdir()
        batch = {"voice": self.voice, "rate": self.rate, "pitch": self.pitch, "texts": [job.plain for job in jobs]}
        (folder / "batch.json").write_text(json.dumps(batch), encoding="utf-8")
        command = [*self._command, str(folder), *(["--bundled"] if self._bundled else [])]
        return _Child(command, jobs, folder, self._deadline, bundled=self._bundled)

    def _collect(self, child: _Child) -> Iterator[tuple[_Job, Block]]:
        """Yield the clips the child has finished since the last call, checked and shaped."""
        for line in child.lines():
            if "voices" in line:
                known = sorted({voice.split("/")[-1] for voice in line["voices"]})
                raise SpeechError(f'The speech engine has no voice "{self.voice}"; {did_you_mean(self.voice, known)}')
            if "failed" in line:
                self._failed(child.jobs[line["failed"]], str(line["why"]))
            elif "done" in line:
                job = child.jobs[line["done"]]
                try:
                    clip = self._shaped(child.folder / f"{line['done']}.wav", job.plain)
                except shape.UnusableError as why:
                    self._failed(job, str(why))
                else:
                    job.done = True
                    yield job, clip

    def _shaped(self, path: Path, text: str) -> Block:
        import soundfile

        try:
            sound, rate = soundfile.read(path, dtype="float32")
        except (OSError, RuntimeError) as unreadable:  # soundfile's own errors are RuntimeErrors
            raise shape.UnusableError("no readable sound file") from unreadable
        path.unlink()
        return shape.shape(np.asarray(sound, np.float32), rate, text, self.rate)

    def _after(self, child: _Child) -> list[_Job]:
        """Return the texts that an ended child has not rendered."""
        rest = [job for job in child.jobs if not job.done]
        if not child.ready:
            # It never spoke. On Linux the system's library may be at fault; try the one installed by pip.
            if child.bundled or sys.platform != "linux":
                raise SpeechError(_no_engine(child.why))
            self._bundled = True
        elif child.current:
            self._failed(child.current, child.why)
        return rest

    def _failed(self, job: _Job, why: str) -> None:
        job.failures += 1
        if job.failures >= _ATTEMPTS:
            start = job.plain if len(job.plain) <= 60 else f"{job.plain[:57]}..."
            raise SpeechError(f'The speech engine failed at "{start}" ({why}); say it in other words.')


def _places() -> list[Path]:
    """Return the folders in which children may work, best first: the system's temporary one, memory, the disk."""
    places = []
    with contextlib.suppress(OSError):  # raised if no temporary folder is writable
        places.append(tempfile.gettempdir())
    return [*map(Path, dict.fromkeys([*places, *_OTHER_PLACES]))]


@contextlib.contextmanager
def _workplace(room: int) -> Iterator[Path]:
    """Give a private folder with space for `room` bytes, locked while in use. Raises OSError if there is none."""
    refused: OSError = FileNotFoundError(2, "there is no such folder")
    for place in _places():
        with contextlib.ExitStack() as stack:
            try:
                made = tempfile.TemporaryDirectory(prefix=_PREFIX, dir=place, ignore_cleanup_errors=True)
                folder = Path(stack.enter_context(made))
                stack.enter_context(files.locked_folder(folder))
                trial = folder / "trial"
                trial.write_bytes(bytes(room))
                trial.unlink()
            except OSError as error:
                refused = error
                continue
            yield folder
            return
    raise refused


def tidy_up() -> None:
    """Delete the working folders of killed processes: they hold the words of somebody's program."""
    for left in [left for place in _places() for left in place.glob(f"{_PREFIX}*")]:
        with contextlib.suppress(OSError, RecordError):
            status = left.lstat()
            mine = stat.S_ISDIR(status.st_mode) and status.st_uid == (os.getuid() if hasattr(os, "getuid") else 0)
            if not mine or not (left / "0" / "batch.json").is_file():
                continue
            with files.locked_folder(left) as nobody_there:
                if nobody_there and (_LOCKED or time.time() - status.st_mtime > _LEFT):
                    shutil.rmtree(left)


class _Job:
    """A text on its way to a clip."""

    def __init__(self, text: str, plain: str) -> None:
        self.text = text
        self.plain = plain
        self.failures = 0
        self.done = False


class _Child:
    """One process at work on one batch."""

    def __init__(
        self, command: Sequence[str], jobs: list[_Job], folder: Path, deadline: float, *, bundled: bool
    ) -> None:
        self.jobs = jobs
        self.folder = folder
        self.bundled = bundled
        self.ready = False
        self.over = False
        self.why = ""
        self._deadline = deadline
        self._reported = 0
        self._read = 0
        self._news_at = time.monotonic()
        with (folder / "errors.txt").open("wb") as errors:
            self._process = subprocess.Popen(  # noqa: S603 - our own file, or what a test gives
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,  # pyttsx3 prints there
                stderr=errors,
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )

    @property
    def current(self) -> _Job | None:
        """The phrase in work, or None if all are reported."""
        return self.jobs[self._reported] if self._reported < len(self.jobs) else None

    def lines(self) -> list[dict[str, Any]]:
        """Return its reports since the last call; then `over` is true if it ended, or hung and was killed."""
        status = self._process.poll()  # before reading, so that an ended child's last report is not missed
        news = self._news()
        for line in news:
            self.ready = self.ready or "ready" in line
            self.why = str(line.get("engine", ""))
            self._reported += "done" in line or "failed" in line
        if news:
            self._news_at = time.monotonic()
        limit = self._deadline if self.ready else _START_DEADLINE
        if status is not None:
            self.why = self.why or self._last_error() or f"its process ended with status {status}"
            self.over = True
        elif time.monotonic() - self._news_at > limit:
            self.why = f"no answer within {limit:g} s"
            self.end()
            self.over = True
        return news

    def rest(self, seconds: float) -> None:
        """Wait `seconds`, or until the child ends."""
        try:
            self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return

    def end(self) -> None:
        """Kill the child if it still runs."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()

    def _news(self) -> list[dict[str, Any]]:
        try:
            with (self.folder / "done.jsonl").open("rb") as done:
                done.seek(self._read)
                new = done.read()
        except FileNotFoundError:
            return []
        whole = new[: new.rfind(b"\n") + 1]  # an unfinished line is read next time
        self._read += len(whole)
        return [json.loads(line) for line in whole.splitlines()]

    def _last_error(self) -> str:
        lines = (self.folder / "errors.txt").read_text(encoding="utf-8", errors="replace").strip().splitlines()
        return lines[-1].strip() if lines else ""


@cache
def _engine() -> str:
    parts = [sys.platform]
    for package in ("pyttsx3", "espeakng-loader"):
        try:
            parts.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            continue
    return ", ".join(parts)


def _no_engine(why: str) -> str:
    what = (
        "install the package espeak-ng, or espeakng-loader with pip" if sys.platform == "linux" else "install a voice"
    )
    return f"The speech engine does not start ({why}); {what}."
