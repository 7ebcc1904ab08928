from __future__ import annotations

import contextlib
import errno
import os
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import SpeechError
from coach.ports import Block, Voice
from coach.voice import cache
from coach.voice.cache import ClipVoice
from coach.voice.render import Renderer


class Stand:
    """A renderer without an engine: a clip has one sample per letter; it remembers the texts it was asked for."""

    def __init__(self, identity: str = "one voice") -> None:
        self.identity = identity
        self.asked: list[str] = []

    def each(self, texts: Iterable[str]) -> Iterator[tuple[str, Block]]:
        for text in texts:
            self.asked.append(text)
            yield text, np.full(len(text), 0.5, np.float32)


def kept(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


def test_a_prepared_sentence_has_a_clip_and_a_length(tmp_path: Path) -> None:
    voice: Voice = ClipVoice(tmp_path, Stand())
    assert isinstance(voice, ClipVoice)

    rendered = voice.prepare(["Hold.", "Lower slowly."])

    assert rendered == 2
    assert voice.clip("Hold.").dtype == np.float32
    np.testing.assert_allclose(voice.clip("Hold."), np.full(5, 0.5), atol=1 / 32767)
    assert voice.seconds("Lower slowly.") == 13 / 16_000


def test_white_space_makes_no_difference(tmp_path: Path) -> None:
    voice = ClipVoice(tmp_path, Stand())

    assert voice.prepare(["Lower  slowly.\n", "Lower slowly."]) == 1
    assert len(voice.clip(" Lower slowly. ")) == 13


def test_an_unprepared_sentence_is_an_error_that_names_it(tmp_path: Path) -> None:
    voice = ClipVoice(tmp_path, Stand())

    with pytest.raises(SpeechError, match=r'"Hold\." was not rendered before'):
        voice.clip("Hold.")


def test_kept_clips_start_no_engine(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Renderer("en-us")).prepare(["Hold.", "One"])
    voice = ClipVoice(tmp_path, Renderer("en-us", command=["/no/such/command"]))

    assert voice.prepare(["One", "Hold."]) == 0
    assert voice.seconds("One") > 0.1


def test_only_what_is_missing_is_rendered(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Stand()).prepare(["Hold."])
    stand = Stand()

    ClipVoice(tmp_path, stand).prepare(["Hold.", "One"])

    assert stand.asked == ["One"]


def test_a_second_prepare_keeps_the_first_ones_clips(tmp_path: Path) -> None:
    stand = Stand()
    voice = ClipVoice(tmp_path, stand)

    voice.prepare(["Hold."])
    voice.prepare(["One", "Hold."])

    assert stand.asked == ["Hold.", "One"]
    assert len(voice.clip("Hold.")) == 5


def test_another_voice_or_rate_or_engine_is_another_clip(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Stand("one voice")).prepare(["Hold."])
    stand = Stand("another voice")

    ClipVoice(tmp_path, stand).prepare(["Hold."])

    assert stand.asked == ["Hold."]
    assert len(kept(tmp_path)) == 2


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_a_damaged_clip_is_rendered_again(data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ClipVoice(folder, Stand()).prepare(["Lower slowly."])
        (file,) = kept(folder)
        whole = file.read_bytes()
        place = data.draw(st.integers(0, len(whole) - 1))
        damaged = data.draw(
            st.sampled_from(
                [whole[:place], whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :], whole + b"x", b""]
            )
        )
        file.write_bytes(damaged)
        stand = Stand()

        voice = ClipVoice(folder, stand)
        voice.prepare(["Lower slowly."])

        assert stand.asked == ["Lower slowly."]
        assert file.read_bytes() == whole
        assert len(voice.clip("Lower slowly.")) == 13


def test_a_kept_clip_is_a_sound_file_that_others_can_play(tmp_path: Path) -> None:
    import soundfile

    ClipVoice(tmp_path, Stand()).prepare(["Lower slowly."])

    sound, rate = soundfile.read(kept(tmp_path)[0])

    assert (rate, sound.shape) == (16_000, (13,))
    np.testing.assert_allclose(sound, 0.5, atol=1e-4)


def test_progress_is_reported_to_the_end(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Stand()).prepare(["One", "Two"])
    told: list[tuple[int, int]] = []

    ClipVoice(tmp_path, Stand()).prepare(["One", "Two", "Three", "Four"], lambda done, of: told.append((done, of)))

    assert told == [(2, 4), (3, 4), (4, 4)]


@pytest.mark.skipif(sys.platform == "win32", reason="no such permissions there")
def test_clips_are_readable_by_their_owner_only(tmp_path: Path) -> None:
    folder = tmp_path / "home" / "clips"

    ClipVoice(folder, Stand()).prepare(["One"])

    assert folder.stat().st_mode & 0o777 == 0o700
    assert kept(folder)[0].stat().st_mode & 0o777 == 0o600


def test_the_folder_stays_within_its_size_and_the_oldest_go_first(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Stand()).prepare(["a" * 1000, "b" * 1000, "c" * 1000])
    for age, text in enumerate("abc"):
        path = ClipVoice(tmp_path, Stand())._path(text * 1000)
        os.utime(path, (age, age))
    stand = Stand()

    ClipVoice(tmp_path, stand, most_bytes=7000).prepare(["d" * 1000])
    ClipVoice(tmp_path, stand).prepare(["c" * 1000, "b" * 1000, "a" * 1000])

    assert [text[0] for text in stand.asked] == ["d", "a"]


def test_a_clip_in_use_is_not_the_oldest(tmp_path: Path) -> None:
    ClipVoice(tmp_path, Stand()).prepare(["a" * 1000, "b" * 1000])
    for age, text in enumerate("ab"):
        os.utime(ClipVoice(tmp_path, Stand())._path(text * 1000), (age, age))
    ClipVoice(tmp_path, Stand()).prepare(["a" * 1000])
    stand = Stand()

    ClipVoice(tmp_path, stand, most_bytes=5000).prepare(["c" * 1000])
    ClipVoice(tmp_path, stand).prepare(["a" * 1000])

    assert [text[0] for text in stand.asked] == ["c"]


def test_what_this_session_needs_is_kept_even_above_the_size(tmp_path: Path) -> None:
    voice = ClipVoice(tmp_path, Stand(), most_bytes=10)

    voice.prepare(["One", "Two"])

    assert len(kept(tmp_path)) == 2


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, getattr(errno, "EDQUOT", errno.ENOSPC)])
def test_a_disk_that_takes_no_clips_leaves_them_in_memory_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    packed, asked = cache._packed, []

    def refuse(samples: Any) -> bytes:
        asked.append(len(samples))
        if len(asked) > 1:
            raise OSError(number, os.strerror(number))
        return packed(samples)

    monkeypatch.setattr(cache, "_packed", refuse)
    voice = ClipVoice(tmp_path, Stand())

    assert voice.prepare(["One", "Two.", "Three"]) == 3

    assert [len(voice.clip(text)) for text in ("One", "Two.", "Three")] == [3, 4, 5]
    assert voice.unkept == os.strerror(number)
    assert asked == [3, 4], "a disk that refused is not asked for each clip again"
    full = number in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
    assert len(kept(tmp_path)) == (0 if full else 1), "what room there is on a full disk belongs to the record"


def test_a_folder_that_is_a_file_leaves_them_in_memory(tmp_path: Path) -> None:
    (tmp_path / "clips").write_text("not a folder")
    voice = ClipVoice(tmp_path / "clips", Stand())

    voice.prepare(["One"])

    assert len(voice.clip("One")) == 3
    assert voice.unkept


def test_a_read_only_disk_still_gives_its_clips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    ClipVoice(tmp_path, Stand()).prepare(["One"])
    monkeypatch.setattr(os, "utime", refuse)
    stand = Stand()

    ClipVoice(tmp_path, stand).prepare(["One"])

    assert stand.asked == []


@pytest.mark.parametrize("interrupts", [KeyboardInterrupt(), OSError(errno.EIO, "I/O error")])
def test_an_interrupted_write_leaves_no_half_clip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, interrupts: BaseException
) -> None:
    def broken(*_: object) -> bytes:
        raise interrupts

    monkeypatch.setattr(cache, "_packed", broken)
    with contextlib.suppress(KeyboardInterrupt):
        ClipVoice(tmp_path, Stand()).prepare(["One"])

    assert kept(tmp_path) == []


def test_the_next_rendering_deletes_the_half_clip_of_a_killed_process(tmp_path: Path) -> None:
    for name, at in ((".new-killed", 0.0), (".new-now", time.time())):
        (tmp_path / name).write_bytes(b"half")
        os.utime(tmp_path / name, (at, at))

    ClipVoice(tmp_path, Stand()).prepare(["One"])

    assert [path.name for path in kept(tmp_path) if path.suffix != ".wav"] == [".new-now"]


def test_a_text_without_a_word_is_refused_before_anything_is_rendered(tmp_path: Path) -> None:
    stand = Stand()

    with pytest.raises(SpeechError, match="nothing to say"):
        ClipVoice(tmp_path, stand).prepare(["One", "..."])
    assert stand.asked == []


def test_the_folders_above_the_clips_are_their_owners_alone_too(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        ClipVoice(tmp_path / "home" / "clips", Stand()).prepare(["Hold."])
    finally:
        os.umask(before)

    assert [path.stat().st_mode & 0o777 for path in (tmp_path / "home", tmp_path / "home" / "clips")] == [0o700] * 2
