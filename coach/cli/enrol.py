"""`coach enrol`: teach the coach the words of one person."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from coach.audio.wavs import read_sound
from coach.cli.labels import Labels
from coach.cli.lesson_screen import LessonScreen
from coach.cli.session_setup import coach_voice, render_all
from coach.cli.taught_words import is_learnt, judged, learnt, prompts, save, talk_of
from coach.cli.verdict import listed, say, show_forecast
from coach.ears.enrolment import Enrolment, NoEnrolmentError, UnusableEnrolmentError, forget_enrolment, load_enrolment
from coach.ears.spoken import enrol_spoken, wanted
from coach.ears.takes import TakeMaker
from coach.ears.teaching import check_words, enrol_folder
from coach.engine import within
from coach.errors import CoachError, HearingError, UnknownPersonError
from coach.logbook.store import Home
from coach.ports import Block
from coach.voice.cache import ClipVoice
from coach.voice.pack import load_pack
from coach.words.phrases import Phrase, VoicePack, sentence


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="id of the person: small letters, digits, - and _")
    parser.add_argument("--takes", type=Path, metavar="DIR", help="recordings WORD_NN.wav or .flac, not the microphone")
    parser.add_argument("--words", metavar="W1,W2", help="only these words")
    parser.add_argument("--room-only", action="store_true", help="listen to the room again, teach no words")
    parser.add_argument("--keys-only", action="store_true", help="add the person without words: they answer by key")
    parser.add_argument("--forget", action="store_true", help="delete what the person taught, with --words only those")
    parser.add_argument("--device", metavar="NAME", help="part of a device's name; see coach devices")
    parser.add_argument("--language", default="en", help="language of the words (default: en)")


def run(args: argparse.Namespace) -> int:
    """Teach the words; at the end print how well each should be heard in this room, and the verdict."""
    console = Console(markup=False)
    pack = load_pack(args.language)
    labels = Labels(pack.screens)
    home = Home(args.home)
    words = check_words([word for word in (args.words or "").split(",") if word.strip()], pack.replies)
    if args.forget:
        _forget(home.person(args.person).takes, words, pack, args.person, console)
        return 0
    if args.keys_only:
        home.add_person(args.person)
        say(console, labels("enrol_keys_only", person=args.person))
        return 0
    before = _before(home, args.person, pack, console)
    if args.takes:
        taught = enrol_folder(args.takes, pack.replies, read_sound, words=words, start=before, language=pack.language,
                              halts=pack.halts)  # fmt: skip
        for refused in taught.refused:
            say(console, "! " + labels("enrol_refused", name=refused.name, because=refused.because))
        enrolment = taught.enrolment
        room = None
    else:
        maker = TakeMaker()
        enrolment = _by_voice(args, home, pack, words, before, maker, console)
        room = maker.room_sound
    if not enrolment.takes:
        return 0
    enrolment = _learnt(enrolment, room, coach_voice(home, pack), pack, console)
    save(enrolment, home, args.person)
    with console.status(labels("enrol_checking")):
        foretold, enrolment = judged(enrolment)
    save(enrolment, home, args.person)
    show_forecast(foretold, enrolment, pack, args.person, console)
    return 0


def _forget(folder: Path, words: Sequence[str], pack: VoicePack, person: str, console: Console) -> None:
    """Delete what was taught: all of it, the room included, or only `words`."""
    labels = Labels(pack.screens)
    if words:
        there = load_enrolment(folder)
        rest = {word: takes for word, takes in there.takes.items() if word not in words}
        if rest:
            replace(there, takes=rest, verdict="", learnt=None).save(folder)
            say(console, labels("enrol_words_forgotten", words=listed(pack, words)))
            return
    there_was = forget_enrolment(folder)
    say(console, labels("enrol_forgotten" if there_was else "enrol_nothing_to_forget", person=person))


def _by_voice(
    args: argparse.Namespace,
    home: Home,
    pack: VoicePack,
    words: Sequence[str],
    before: Enrolment,
    maker: TakeMaker,
    console: Console,
) -> Enrolment:
    from coach.audio.stream import Stream

    labels = Labels(pack.screens)
    if args.room_only and not before.takes:
        raise HearingError(f"{args.person} has taught no words yet; run: coach enrol {args.person}")
    lesson = {} if args.room_only else wanted(before, pack.replies, words)
    device = Stream(args.device, within=within)
    voice = coach_voice(home, pack)
    render_all(voice, prompts(pack, lesson), console, labels("preparing_voice"))

    def clip(said: Phrase) -> Block:
        return voice.clip(sentence(pack, said))

    def keep(made: Enrolment) -> None:
        if made.takes:  # a room without takes is not worth keeping
            save(made, home, args.person)

    try:
        with LessonScreen(pack, console) as screen:
            return enrol_spoken(device, clip, pack.replies, lesson, start=before, keep=keep, tell=screen.tell,
                                maker=maker)  # fmt: skip
    except KeyboardInterrupt:
        say(console, labels("enrol_kept", command=f"coach enrol {args.person}"))
        raise


def _learnt(enrolment: Enrolment, room: Block | None, voice: ClipVoice, pack: VoicePack, console: Console) -> Enrolment:
    """Learn the words, with a bar while it takes."""
    if is_learnt(enrolment):
        return enrolment
    labels = Labels(pack.screens)
    render_all(voice, talk_of(pack), console, labels("preparing_voice"))
    with Progress(TextColumn(labels("enrol_learning")), BarColumn(), console=console, transient=True) as bar:
        task = bar.add_task("", total=None)
        return learnt(enrolment, room, voice, pack, lambda done, of: bar.update(task, completed=done, total=of))


def _before(home: Home, person: str, pack: VoicePack, console: Console) -> Enrolment:
    """Return what the person has taught in this language so far; an empty enrolment if that is nothing."""
    nothing = Enrolment({}, pack.language, {}, "", pack.halts)
    home.check_new_id(person)
    try:
        there = load_enrolment(home.person(person).takes)
    except (UnknownPersonError, NoEnrolmentError):
        return nothing
    except UnusableEnrolmentError as problem:
        say(console, "! " + Labels(pack.screens)("enrol_again_anew", problem=f"{problem}."))
        return nothing
    if there.language != pack.language:
        raise CoachError(
            f'{person} taught words in "{there.language}"; forget them first: coach enrol {person} --forget, '
            f"or give --language {there.language}."
        )
    return there
