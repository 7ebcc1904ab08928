from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from broken import BROKEN, broken, opened_up, without_privilege
from heard_rooms import as_version
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.ears.enrolment import FILE, NEEDED_WORDS, Enrolment, UnusableEnrolmentError, forget_enrolment, load_enrolment
from coach.ears.matching import HALT_THRESHOLD, THRESHOLD
from coach.ears.room_noise import RoomNoise
from coach.ears.spectrum import BANDS
from coach.ears.takes import Take
from coach.errors import HearingError
from coach.logbook.files import UnreadableError


def made_up(*words: str) -> Enrolment:
    """Return an enrolment of random numbers: enough for the file."""
    rng = np.random.default_rng(0)
    ends = np.arange(1, 15, dtype=np.int32) * 1280

    def take() -> Take:
        frames, rows = rng.normal(size=(14, 96)), rng.uniform(-60, -10, (27, BANDS))
        return Take(frames.astype(np.float32), ends, 8000, -20.0, -60.0, rows.astype(np.float32))

    takes = {word: (take(), take()) for word in words}
    noise = RoomNoise(-61.5, rng.normal(size=(20, 96)).astype(np.float32))
    wordings = {word: f"say {word}" for word in words}
    return Enrolment(takes, "en", wordings, "files", noise=noise, verdict="within_reach")


def same(one: Enrolment, other: Enrolment) -> bool:
    takes = zip(
        (take for word in sorted(one.takes) for take in one.takes[word]),
        (take for word in sorted(other.takes) for take in other.takes[word]),
        strict=True,
    )
    assert one.noise is not None
    assert other.noise is not None
    return (one.language, one.wordings, one.source, one.halts, one.verdict, one.noise.level, set(one.takes)) == (
        other.language, other.wordings, other.source, other.halts, other.verdict, other.noise.level, set(other.takes)
    ) and np.array_equal(one.noise.frames, other.noise.frames) and all(
        np.array_equal(a.frames, b.frames) and np.array_equal(a.ends, b.ends)
        and (a.length, a.level, a.room) == (b.length, b.level, b.room) for a, b in takes
    )  # fmt: skip


def test_an_enrolment_comes_back_from_its_file_as_it_was(tmp_path: Path) -> None:
    enrolment = made_up("stop", "ready", "n3")

    enrolment.save(tmp_path)

    assert same(enrolment, load_enrolment(tmp_path))


@pytest.mark.skipif(sys.platform == "win32", reason="other permissions there")
def test_the_file_is_for_its_owner_only_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = made_up("stop").save(tmp_path)

    assert path.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_a_file_of_real_takes_holds_numbers_and_no_sound(tmp_path: Path, enrolment: Enrolment) -> None:
    path = enrolment.save(tmp_path)
    with np.load(path, allow_pickle=False) as data:
        largest = max(data[name].size for name in data.files)

    frames = max(len(take.frames) for takes in enrolment.takes.values() for take in takes)
    assert largest == frames * 96


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_damaged_file_is_one_sentence_or_reads_as_it_was(tmp_path: Path, data: st.DataObject) -> None:
    enrolment = made_up("stop")
    path = enrolment.save(tmp_path)
    raw = bytearray(path.read_bytes())
    if data.draw(st.booleans()):
        raw = raw[: data.draw(st.integers(0, len(raw) - 1))]
    else:
        raw[data.draw(st.integers(0, len(raw) - 1))] ^= data.draw(st.integers(1, 255))
    path.write_bytes(bytes(raw))

    found: Enrolment | None = None
    with suppress(HearingError):
        found = load_enrolment(tmp_path)

    assert found is None or same(enrolment, found)


@pytest.mark.parametrize(
    ("version", "error", "says"),
    [(1, UnusableEnrolmentError, "format 1, .* teach the words again"), (99, HearingError, "format 99, .* --forget")],
)
def test_a_file_of_another_version_says_what_to_do(
    tmp_path: Path, version: int, error: type[HearingError], says: str
) -> None:
    as_version(made_up("stop").save(tmp_path), version)

    with pytest.raises(HearingError, match=says) as raised:
        load_enrolment(tmp_path)

    assert raised.type is error


def test_nothing_taught_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "mira" / "takes").mkdir(parents=True)

    with pytest.raises(HearingError, match="mira has taught no words yet; run: coach enrol mira"):
        load_enrolment(tmp_path / "mira" / "takes")


def test_a_refusing_disk_leaves_the_old_file_and_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = made_up("stop")
    old.save(tmp_path)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(HearingError, match=r"No space left on device.*--home"):
        made_up("ready").save(tmp_path)

    assert same(old, load_enrolment(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_half_written_files_of_a_killed_process_are_removed_by_the_next_save_and_by_forgetting(
    tmp_path: Path,
) -> None:
    left = tmp_path / ".enrolment-k1lled"
    left.write_bytes(b"half")
    made_up("stop").save(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]

    left.write_bytes(b"half")
    forget_enrolment(tmp_path)

    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("how", BROKEN)
@pytest.mark.parametrize("place", [FILE, "."])
def test_an_unreadable_enrolment_counts_neither_as_damaged_nor_as_missing(how: str, place: str, tmp_path: Path) -> None:
    takes = tmp_path / "mira" / "takes"
    takes.mkdir(parents=True)
    made_up("stop").save(takes)
    if place == "." and how == "folder":
        pytest.skip("a folder there is what belongs there")
    broken((takes / place).resolve(), how)

    with without_privilege(), pytest.raises(UnreadableError, match=r"Cannot read .*takes") as found:
        load_enrolment(takes)
    opened_up(tmp_path)
    assert "teach" not in str(found.value)


def test_an_enrolment_that_cannot_be_deleted_is_reported(tmp_path: Path) -> None:
    takes = tmp_path / "takes"
    takes.mkdir()
    made_up("stop").save(takes)
    broken(takes, "shut")

    with without_privilege(), pytest.raises(UnreadableError, match="Cannot read"):
        forget_enrolment(takes)
    opened_up(tmp_path)
    assert forget_enrolment(takes)
    assert not forget_enrolment(tmp_path / "none")


def test_forgetting_deletes_the_file(tmp_path: Path) -> None:
    made_up("stop").save(tmp_path)

    assert forget_enrolment(tmp_path)
    assert not forget_enrolment(tmp_path)
    assert not list(tmp_path.iterdir())


def test_words_that_were_not_taught_are_named() -> None:
    assert made_up("stop", "yes").missing(NEEDED_WORDS) == ("ready", "no")


def test_a_halt_word_needs_less_than_others() -> None:
    assert made_up("stop", "yes").thresholds == {"stop": HALT_THRESHOLD, "yes": THRESHOLD}
    assert HALT_THRESHOLD < THRESHOLD
