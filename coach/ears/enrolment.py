"""A person's enrolment: takes of their words, as numbers, and the file that keeps them."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import numpy as np
import numpy.typing as npt

from coach.ears.augment import Augmented
from coach.ears.features import EMBEDDING_WIDTH, Frames
from coach.ears.learnt import SIZE, Learnt, LearntMatcher
from coach.ears.matching import Matcher, threshold
from coach.ears.room_noise import RoomNoise
from coach.ears.spectrum import BANDS, Spectra
from coach.ears.takes import AFTERWARDS, LONGEST_ROWS, Take
from coach.ears.word_report import WordReport, reports
from coach.errors import HearingError
from coach.logbook.files import LARGEST_TAUGHT, AbsentError, clear_errors, list_folder, read_file, sync_folder
from coach.tempo.units import to_samples

FORMAT = 3
"""Version of the file: 2 added the room and the verdict, 3 the spectra of each take."""
FILE = "enrolment.npz"
"""Name of the file in a person's folder."""
_PART = ".enrolment-"
"""Start of the name of an unfinished file."""
FARTHEST = 1e4
"""Largest number accepted in an embedding; real ones stay below 100."""
LOUDEST = 120.0
"""Largest number of decibels accepted in a spectrum."""
MOST_SAMPLES = to_samples(60.0)
"""Largest number of samples or of takes accepted: far more than real ones."""
NEEDED_WORDS = ("stop", "ready", "yes", "no")
"""Words that a hands-free session needs."""
RECOMMENDED_TAKES = 3
"""Takes per word; with fewer, a hoarse or breathless voice is soon too different."""


@dataclass(frozen=True, slots=True, eq=False)
class Enrolment:
    """The words that one person taught."""

    takes: Mapping[str, tuple[Take, ...]]
    """Reply id to its takes, one or more."""
    language: str = "en"
    wordings: Mapping[str, str] = field(default_factory=dict)
    """Reply id to the wording that was taught for it, if known."""
    source: str = ""
    """Source of the takes: "microphone", "files" or "synthesised"."""

    halts: frozenset[str] = frozenset({"stop"})
    """Reply ids that halt: they are reported sooner and at a lower score."""
    noise: RoomNoise | None = None
    """The noise of the person's room, if it was recorded."""
    verdict: str = ""
    """Value of the forecast's verdict (see forecast.py); empty if there is none or the words have changed since."""
    learnt: Learnt | None = None
    """What was learnt from the takes; None if they have changed since or cannot be learnt from."""

    @property
    def thresholds(self) -> dict[str, float]:
        """Reply id to the score from which it is heard."""
        return {word: threshold(word, self.halts) for word in self.takes}

    @property
    def room(self) -> float:
        """Level of the room's noise in dBFS: of its recording, or otherwise the median of all takes."""
        if self.noise is not None:
            return self.noise.level
        return float(np.median([take.room for takes in self.takes.values() for take in takes]))

    def matcher(self) -> Matcher | LearntMatcher:
        """Return the matcher of the words: by what was learnt of them, or otherwise by the takes themselves."""
        if self.learnt is not None and self.learnt.words == tuple(sorted(self.takes)):
            return LearntMatcher(self.learnt, self.takes, self.halts)
        return Matcher(self.takes, self.halts)

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Return the words of `words` that were not taught; they can only be given by key."""
        return tuple(word for word in words if word not in self.takes)

    def report(self) -> tuple[WordReport, ...]:
        """Return how well each word was taught, by leaving each take out in turn."""
        return reports(self.takes, self.halts)

    def save(self, folder: Path) -> Path:
        """Write the file into `folder`, whole or not at all, readable by its owner only.

        Raises HearingError if the file cannot be written.
        """
        arrays: dict[str, Any] = {
            "format": np.array(FORMAT),
            "language": np.array(self.language),
            "source": np.array(self.source),
            "verdict": np.array(self.verdict),
            "halts": np.array(sorted(self.halts), dtype=np.str_),
            "words": np.array(sorted(self.takes)),
            "wordings": np.array([self.wordings.get(word, "") for word in sorted(self.takes)]),
            "counts": np.array([len(self.takes[word]) for word in sorted(self.takes)]),
        }
        every = [take for word in sorted(self.takes) for take in self.takes[word]]
        for number, take in enumerate(every):
            arrays[f"frames_{number}"] = take.frames
            arrays[f"ends_{number}"] = take.ends
            arrays[f"rows_{number}"] = take.rows.astype(np.float16)
            if take.augmented:
                arrays[f"remade_{number}"] = np.concatenate([made.frames for made in take.augmented]).astype(np.float16)
                arrays[f"remade_levels_{number}"] = np.concatenate([made.levels for made in take.augmented])
                arrays[f"remade_ends_{number}"] = np.concatenate([made.ends for made in take.augmented])
                arrays[f"remade_counts_{number}"] = np.array([len(made.ends) for made in take.augmented])
        arrays["lengths"] = np.array([take.length for take in every])
        arrays["levels"] = np.array([(take.level, take.room) for take in every])
        if self.noise is not None:
            arrays["room_level"] = np.array(self.noise.level)
            arrays["room_frames"] = self.noise.frames
        if self.learnt is not None:
            arrays["learnt_words"] = np.array(self.learnt.words)
            arrays["learnt_weights"] = self.learnt.weights
            arrays["learnt_lengths"] = self.learnt.lengths
        path = folder / FILE
        try:
            _write(path, arrays)
        except OSError as error:
            raise HearingError(
                f"{path} cannot be written ({error.strerror or error}); free some space or choose another folder "
                "with --home."
            ) from error
        return path


class NoEnrolmentError(HearingError):
    """The person has taught no words yet."""


class UnusableEnrolmentError(HearingError):
    """The enrolment is damaged or of an earlier version: the words must be taught again."""


def load_enrolment(folder: Path) -> Enrolment:
    """Return the enrolment in a person's folder.

    Raises NoEnrolmentError, UnusableEnrolmentError, UnreadableError, or HearingError if a later version wrote it.
    """
    path = folder / FILE
    person = folder.parent.name if folder.name == "takes" else folder.name
    try:
        held = BytesIO(read_file(path, LARGEST_TAUGHT))
    except AbsentError as error:
        raise NoEnrolmentError(f"{person} has taught no words yet; run: coach enrol {person}") from error
    try:
        _check_size(held)
        held.seek(0)
        with np.load(held, allow_pickle=False) as data:
            found = int(data["format"])
            enrolment = _read(data) if found == FORMAT else None
    except Exception as error:  # a damaged archive raises errors of any layer
        raise UnusableEnrolmentError(f"{path} is damaged; teach the words again: coach enrol {person}") from error
    if enrolment is None and found > FORMAT:
        raise HearingError(
            f"{path} has format {found}, which a later version wrote, and this one reads {FORMAT}; use that version, "
            f"or delete what was taught: coach enrol {person} --forget"
        )
    if enrolment is None:
        raise UnusableEnrolmentError(
            f"{path} has format {found}, this version reads {FORMAT}; teach the words again: coach enrol {person}"
        )
    return enrolment


def forget_enrolment(folder: Path) -> bool:
    """Delete what a person taught; return whether there was anything. Raises RecordError."""
    path = folder / FILE
    try:
        there = path in list_folder(folder)
    except AbsentError:
        return False
    with clear_errors(path, "delete"):
        path.unlink(missing_ok=True)
        _sweep(folder)
    return there


def _sweep(folder: Path) -> None:
    """Delete unfinished files of processes that were killed while writing."""
    for part in folder.glob(f"{_PART}*"):
        part.unlink(missing_ok=True)


def _read(data: Any) -> Enrolment:  # noqa: ANN401  # numpy has no type for it
    words = [str(word) for word in data["words"]]
    lengths, levels = _whole(data, "lengths", 1), _real(data, "levels")
    takes: dict[str, tuple[Take, ...]] = {}
    number = 0
    for word, count in zip(words, _whole(data, "counts").tolist(), strict=True):
        made = []
        for _ in range(count):
            frames, ends = _embeddings(data, f"frames_{number}"), _whole(data, f"ends_{number}")
            if len(frames) != len(ends):
                raise ValueError(f"take {number}")
            level, room = levels[number].tolist()
            rows, augmented = _rows(data, f"rows_{number}"), _augmented(data, number)
            made.append(Take(frames, ends.astype(np.int32), int(lengths[number]), level, room, rows, augmented))
            number += 1
        if not made:
            raise ValueError(word)
        takes[word] = tuple(made)
    wordings = {word: str(text) for word, text in zip(words, data["wordings"], strict=True) if str(text)}
    halts = frozenset(str(word) for word in data["halts"])
    noise = None
    if "room_frames" in data:
        noise = RoomNoise(float(_real(data, "room_level")), _embeddings(data, "room_frames"))
    learnt = None
    if "learnt_weights" in data:
        weights = np.asarray(_real(data, "learnt_weights"), np.float32)
        lasts = _whole(data, "learnt_lengths", 1)
        learnt_words = tuple(str(word) for word in data["learnt_words"])
        if weights.shape != (SIZE + 1, len(learnt_words)) or lasts.shape != (len(learnt_words),):
            raise ValueError("learnt_weights")
        if learnt_words == tuple(sorted(takes)):  # otherwise words were forgotten since: see `learnt`
            learnt = Learnt(learnt_words, weights, lasts)
    Matcher(takes, halts)  # raises if a take holds nothing to compare
    return Enrolment(
        takes, str(data["language"]), wordings, str(data["source"]), halts, noise, str(data["verdict"]), learnt
    )


def _check_size(file: BytesIO) -> None:
    """Raise ValueError if the arrays need too much memory, or claim more data than the file holds."""
    with ZipFile(file) as archive:
        entries = archive.infolist()
        if sum(entry.file_size for entry in entries) > LARGEST_TAUGHT:
            raise ValueError(FILE)
        for entry in entries:
            with archive.open(entry) as part:
                version = np.lib.format.read_magic(part)
                if version != (1, 0):  # the version that we write
                    raise ValueError(entry.filename)
                shape, _, kind = np.lib.format.read_array_header_1_0(part)
            # numpy allocates the memory that a header claims before it reads; texts may be 0 bytes wide.
            if math.prod(shape) * max(1, kind.itemsize) > entry.file_size:
                raise ValueError(entry.filename)


def _whole(data: Any, name: str, low: int = 0) -> npt.NDArray[np.int64]:  # noqa: ANN401  # numpy has no type for it
    """Return a list of samples or of takes, each from `low` to MOST_SAMPLES."""
    found = data[name]
    if found.dtype.kind not in "iu" or found.ndim != 1 or np.any(found < low) or np.any(found > MOST_SAMPLES):
        raise ValueError(name)
    return np.asarray(found, np.int64)


def _real(data: Any, name: str) -> npt.NDArray[np.floating[Any]]:  # noqa: ANN401  # numpy has no type for it
    """Return an array of finite numbers."""
    found: npt.NDArray[np.floating[Any]] = data[name]
    if found.dtype.kind != "f" or not np.isfinite(found).all():
        raise ValueError(name)
    return found


def _augmented(data: Any, number: int) -> tuple[Augmented, ...]:  # noqa: ANN401  # numpy has no type for it
    if f"remade_{number}" not in data:
        return ()
    frames, levels = _embeddings(data, f"remade_{number}"), _real(data, f"remade_levels_{number}")
    ends, counts = _whole(data, f"remade_ends_{number}", -MOST_SAMPLES), _whole(data, f"remade_counts_{number}")
    if levels.ndim != 1 or not len(frames) == len(levels) == len(ends) == counts.sum():
        raise ValueError(f"remade_{number}")
    edges = np.cumsum(counts)[:-1]
    parts = zip(np.split(frames, edges), np.split(levels, edges), np.split(ends, edges), strict=True)
    return tuple(Augmented(heard, np.asarray(level, np.float32), at.astype(np.int32)) for heard, level, at in parts)


def _embeddings(data: Any, name: str) -> Frames:  # noqa: ANN401  # numpy has no type for it
    frames = _real(data, name)
    if frames.ndim != 2 or frames.shape[1] != EMBEDDING_WIDTH or np.any(np.abs(frames) > FARTHEST):
        raise ValueError(name)
    return np.asarray(frames, np.float32)


def _rows(data: Any, name: str) -> Spectra:  # noqa: ANN401  # numpy has no type for it
    rows = _real(data, name)
    if rows.ndim != 2 or rows.shape[1] != BANDS or not AFTERWARDS < len(rows) <= LONGEST_ROWS:
        raise ValueError(name)
    if np.any(np.abs(rows) > LOUDEST):
        raise ValueError(name)
    return np.asarray(rows, np.float32)


def _write(path: Path, arrays: dict[str, Any]) -> None:
    _sweep(path.parent)
    handle, name = tempfile.mkstemp(prefix=_PART, dir=path.parent)  # readable by the owner only
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez_compressed(file, **arrays)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        sync_folder(path.parent)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
