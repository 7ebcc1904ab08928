from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import VoicePackError
from coach.voice.pack import REPLY_IDS, halt_word_in, halt_words, languages, load_pack
from coach.words.phrases import ReplyWords, Speech, VoicePack, phrase, sentence


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize("language", languages())
def test_every_shipped_pack_loads_and_reads_aloud_its_numbers(language: str) -> None:
    pack = load_pack(language)

    assert len(pack.numbers) > 100
    assert set(pack.replies) == REPLY_IDS


def test_the_shipped_folder_holds_english() -> None:
    assert "en" in languages()


def test_a_loaded_pack_makes_sentences(voices: Path) -> None:
    pack = load_pack("en", voices)

    assert sentence(pack, phrase("rest", seconds=45)) == "Rest now, for forty-five seconds."


def test_numbers_are_words_up_to_a_hundred_and_thirty(voices: Path) -> None:
    numbers = load_pack("en", voices).numbers

    assert (numbers[0], numbers[10], numbers[21], numbers[100], numbers[130]) == (
        "zero",
        "ten",
        "twenty-one",
        "one hundred",
        "one hundred and thirty",
    )
    assert len(numbers) == 131


def test_a_pack_that_was_changed_since_is_read_as_it_is_now(voices: Path) -> None:
    file = voices / "en" / "phrases.yaml"
    load_pack("en", voices)
    file.write_text(file.read_text("utf-8").replace("Rest now", "Pause now"), "utf-8")

    assert load_pack("en", voices).phrases["rest"].startswith("Pause now")


def test_yes_and_no_stay_words(voices: Path) -> None:
    replies = load_pack("en", voices).replies

    assert (replies["yes"].word, replies["no"].word) == ("yes", "no")


def test_no_taught_word_rhymes_with_ready(voices: Path) -> None:
    taught = {reply: words.word for reply, words in load_pack("en", voices).replies.items()}

    assert [reply for reply, word in taught.items() if word.endswith(("eady", "eddy"))] == ["ready"]


def test_a_missing_pack_is_one_sentence_that_lists_the_others(voices: Path) -> None:
    with pytest.raises(VoicePackError) as told:
        load_pack("xx", voices)

    assert str(told.value) == 'There is no voice pack "xx"; there are: en.'


def test_a_home_without_packs_is_told(tmp_path: Path) -> None:
    with pytest.raises(VoicePackError, match="there are: none"):
        load_pack("en", tmp_path / "nothing")


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("replies", "  slower:", "  slowr:", r'en/replies.yaml:\d+: unknown "slowr"; did you mean "slower"\?'),
        ("replies", "  ready: {word: ready", "  # {word: ready", r"en/replies.yaml:\d+: lacks ready; add"),
        ("replies", "  n1: {word: one}", "  n1: {wrd: one}", r'unknown "wrd"; did you mean "word"\?'),
        ("replies", "  n1: {word: one}", "  n1: {also: [one]}", r"lacks word"),
        ("replies", "  n1: {word: one}", "  n1: one", r"expected lines of `key: value`"),
        ("replies", "  n1: {word: one}", "  n1: {word: two}", r'"two" already means "n1"'),
        ("replies", "  n1: {word: one}", '  n1: {word: "?"}', r"has no word in it"),
        ("replies", "  n1: {word: one}", "  n1: {word: one}\n  n1: {word: uno}", r'"n1" is here twice'),
        ("replies", "halts: [stop]", "halts: [stpo]", r'unknown reply "stpo"; did you mean "stop"\?'),
        ("replies", "halts: [stop]", "halts: [pain]", r"stop must be among the halts"),
        ("replies", "halts: [stop]", "halts: stop", r"expected a list"),
        ("replies", "halts: [stop]", "halts: [stop", r"en/replies.yaml:\d+: a bracket is open"),
        ("replies", "decoys: [", "decoys: [stop, ", r'the decoy "stop" means "stop"; take it out'),
        ("numbers", "seven,", "", r"en/numbers.yaml:\d+"),
        ("numbers", "twenty-two,", "twenty-one,", r'"twenty-one" stands for 21 and 22'),
        ("speech", "rate: 160", "rate: fast", r'found "fast"; write a number from 80 to 300 \(words a minute\)'),
        ("speech", "rate: 160", "rate: 9000", r'found "9000"'),
        ("speech", "pause: 0.3", "pause: .nan", r'found "\.nan"'),
        ("speech", "pause: 0.3", "", r"lacks pause"),
        ("speech", "voice: en-us", "voice:", r"expected a text"),
        ("phrases", "ready: Say ready", "ready: Say stop", r'phrase "ready" contains "stop", which halts the session'),
        ("phrases", "{seconds}", "{seconds", r"broken braces"),
        ("phrases", "{seconds}", "{}", r"is not a name"),
        ("phrases", "{seconds}", "{seconds.real}", r"is not a name"),
        ("phrases", "{seconds}", "{seconds:03}", r'"\{seconds:03\}"; write \{seconds\} or \{seconds:counted\}'),
        ("phrases", "ready: Say ready when you are.", "ready:", r"en/phrases.yaml:1: expected a text"),
    ],
)
def test_a_fault_is_named_with_its_file_and_what_to_write(
    voices: Path, file: str, old: str, new: str, message: str
) -> None:
    if (file, new) == ("numbers", ""):
        (voices / "en" / "numbers.yaml").write_text("[zero, one]\n", encoding="utf-8")
    else:
        edit(voices / "en" / f"{file}.yaml", old, new)

    with pytest.raises(VoicePackError, match=message) as told:
        load_pack("en", voices)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda file: file.unlink(), r'Voice pack "en" lacks speech.yaml'),
        (lambda file: file.write_bytes(b""), r"en/speech.yaml is empty"),
        (lambda file: file.write_bytes(b"voice: \xff\xfe"), r"save it as UTF-8"),
        (lambda file: file.write_bytes(b"voice: \x07"), r"en/speech.yaml is not YAML"),
        (lambda file: file.write_bytes(b"- a\n- b\n"), r"expected lines of `key: value`"),
    ],
)
def test_an_unusable_file_is_one_sentence(voices: Path, spoil: Callable[[Path], object], message: str) -> None:
    spoil(voices / "en" / "speech.yaml")

    with pytest.raises(VoicePackError, match=message):
        load_pack("en", voices)


def test_another_language_needs_the_same_phrases(voices: Path) -> None:
    shutil.copytree(voices / "en", voices / "zz")
    (voices / "zz" / "phrases.yaml").write_text("ready: Sag bereit.\nrep: '{count}'\n", encoding="utf-8")

    with pytest.raises(VoicePackError, match=r"zz/phrases.yaml:1: lacks rest"):
        load_pack("zz", voices)


def test_another_language_may_not_ask_for_values_that_are_not_given(voices: Path) -> None:
    shutil.copytree(voices / "en", voices / "zz")
    edit(voices / "zz" / "phrases.yaml", "{seconds}", "{minutes}")

    with pytest.raises(VoicePackError, match=r'"rest" has no value \{minutes\}; it may use: seconds'):
        load_pack("zz", voices)


def pack_that_halts_at(*wordings: str) -> VoicePack:
    replies = {"stop": ReplyWords(wordings[0], wordings[1:])}
    return VoicePack("en", {}, (), replies, frozenset({"stop"}), Speech("en-us", 160, 0.3))


WORD = st.text(alphabet="abcdeßéжшя", min_size=1, max_size=6)


@settings(deadline=None)
@given(before=st.lists(WORD), after=st.lists(WORD), mark=st.sampled_from([" ", ", ", "! ", " - ", "\n"]))
def test_a_halt_word_is_found_wherever_it_is(before: list[str], after: list[str], mark: str) -> None:
    pack = pack_that_halts_at("stop", "hold it")

    assert halt_word_in(pack, mark.join([*before, "STOP", *after])) == "stop"
    assert halt_word_in(pack, " ".join([*before, "hold", "it", *after])) == "hold it"


@settings(deadline=None)
@given(texts=st.lists(WORD), glue=WORD)
def test_a_halt_word_inside_another_word_is_no_halt_word(texts: list[str], glue: str) -> None:
    pack = pack_that_halts_at("stop", "hold it")

    assert halt_word_in(pack, " ".join([*texts, f"{glue}stop", f"stop{glue}", "hold", "still"])) == ""


def test_all_wordings_of_a_halt_are_halt_words(voices: Path) -> None:
    assert {"stop", "halt"} <= halt_words(load_pack("en", voices)).keys()


def test_a_number_is_counted_aloud_in_counting_words_if_a_language_has_them(voices: Path) -> None:
    edit(voices / "en" / "phrases.yaml", 'rep: "{count}"', 'rep: "{count:counted}, {count}"')
    english = load_pack("en", voices)
    korean = load_pack("ko")

    assert sentence(english, phrase("rep", count=3)) == "Three, three"  # one kind of numbers is both
    assert sentence(korean, phrase("count", n=3)) == "자, 셋."
    assert "삼점" in sentence(korean, phrase("read_back_pain", n=3))
    assert sentence(korean, phrase("count", n=120)) == "자, 백이십."  # beyond what is counted aloud


def test_no_korean_phrase_holds_a_halt_word_even_inside_another_word() -> None:
    pack = load_pack("ko")

    assert [(key, word) for key, text in pack.phrases.items() for word in halt_words(pack) if word in text] == []


def test_pain_is_answered_in_both_korean_kinds_of_numbers() -> None:
    pack = load_pack("ko")

    for number in range(1, 11):
        reply = pack.replies[f"n{number}"]
        assert {pack.numbers[number], pack.counted[number]} <= {reply.word, *reply.also}


def test_the_files_of_every_pack_have_their_keys_in_the_order_of_the_english() -> None:
    english = load_pack("en")

    for language in languages():
        pack = load_pack(language)
        assert list(pack.phrases) == list(english.phrases)
        assert list(pack.screens) == list(english.screens)
        assert list(pack.replies) == list(english.replies)
