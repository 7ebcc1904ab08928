"""`coach enrol`: teach the coach the words of one person."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.table import Table

from coach.audio.wavs import read_sound
from coach.cli.labels import Labels
from coach.cli.parts import coach_voice, render_all
from coach.ears.enrolment import FILE, NEEDED, RECOMMENDED_TAKES, Enrolment, forget_enrolment, load_enrolment
from coach.ears.spoken import PHRASES, Step, enrol_spoken
from coach.ears.teaching import Teaching, check_words, enrol_folder
from coach.errors import CoachError
from coach.logbook.store import Home
from coach.ports import Block
from coach.voice.pack import load_pack
from coach.words.phrases import Phrase, VoicePack, phrase, sentence


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="id of the person: small letters, digits, - and _")
    parser.add_argument("--takes", type=Path, metavar="DIR", help="recordings WORD_NN.wav or .flac, not the microphone")
    parser.add_argument("--words", metavar="W1,W2", help="only these words; they are taught anew")
    parser.add_argument("--keys-only", action="store_true", help="add the person without words: they answer by key")
    parser.add_argument("--forget", action="store_true", help="delete what the person taught")
    parser.add_argument("--device", metavar="NAME", help="part of a device's name; see coach devices")
    parser.add_argument("--language", default="en", help="language of the words (default: en)")


def run(args: argparse.Namespace) -> int:
    """Teach, and end with how well each word is heard and whether that is enough to be hands-free."""
    console = Console()
    pack = load_pack(args.language)
    labels = Labels(pack.screens)
    home = Home(args.home)
    if args.forget:
        there = forget_enrolment(home.person(args.person).takes)
        console.print(labels("enrol_forgotten" if there else "enrol_nothing_to_forget", person=args.person))
        return 0
    words = check_words([word for word in (args.words or "").split(",") if word.strip()], pack.replies)
    if args.keys_only:
        _person_folder(home, args.person)
        console.print(labels("enrol_keys_only", person=args.person))
        return 0
    before = _before(home, args.person, pack)
    if args.takes:
        taught = enrol_folder(args.takes, pack.replies, read_sound, words=words, language=pack.language,
                              halts=pack.halts)  # fmt: skip
        enrolment = merged(before, taught.enrolment)
        enrolment.save(_person_folder(home, args.person))
    else:
        taught = Teaching(_by_voice(args, home, pack, words, before, console))
        enrolment = taught.enrolment
    show(taught, enrolment, pack, console)
    return 0


def merged(before: Enrolment, new: Enrolment) -> Enrolment:
    """Return `before` with the words of `new` in the place of its own."""
    return replace(new, takes={**before.takes, **new.takes}, wordings={**before.wordings, **new.wordings})


def show(taught: Teaching, enrolment: Enrolment, pack: VoicePack, console: Console) -> None:
    """Print what was refused, how each word is heard, and whether that will do."""
    labels = Labels(pack.screens)
    for refused in taught.refused:
        say(console, "! " + labels("enrol_refused", name=refused.name, because=refused.because))
    table = Table(title=labels("enrol_title"), title_justify="left")
    for key in ("enrol_word", "enrol_takes", "enrol_heard", "enrol_nearest"):
        table.add_column(labels(key))
    reports = enrolment.report()
    for report in reports:
        nearest = f"{_wording(pack, report.nearest)} {report.nearest_score:.2f}" if report.nearest else ""
        table.add_row(_wording(pack, report.word), str(report.takes), f"{report.heard} ({report.own:.2f})", nearest)
    console.print(table)
    few = [report.word for report in reports if report.takes < RECOMMENDED_TAKES]
    weak = [report.word for report in reports if report.takes > 1 and report.heard < report.takes]
    missing = enrolment.missing(tuple(pack.replies))
    for key, listed in (("enrol_missing", missing), ("enrol_few", few), ("enrol_weak", weak)):
        if listed:
            say(console, labels(key, n=RECOMMENDED_TAKES, words=_list(pack, listed)))
    doubtful = [word for word in NEEDED if word in missing or word in few or word in weak]
    if doubtful:
        say(console, labels("enrol_unsafe", words=_list(pack, doubtful)))
    else:
        heard, takes = (sum(getattr(report, name) for report in reports) for name in ("heard", "takes"))
        say(console, labels("enrol_safe", heard=heard, takes=takes))
    say(console, labels("enrol_checked"))


def _by_voice(
    args: argparse.Namespace, home: Home, pack: VoicePack, words: Sequence[str], before: Enrolment, console: Console
) -> Enrolment:
    from coach.audio.stream import Stream

    labels = Labels(pack.screens)
    wanted = words or [*(w for w in NEEDED if w not in before.takes),
                       *(w for w in pack.replies if w not in before.takes and w not in NEEDED)]  # fmt: skip
    if not wanted:
        say(console, labels("enrol_all_taught"))
        return before
    device = Stream(args.device)
    voice = coach_voice(home, pack)
    spoken = [phrase(key) for key in PHRASES if key != "enrol_word"]
    spoken += [phrase("enrol_word", word=pack.replies[word].word) for word in wanted]
    render_all(voice, [sentence(pack, each) for each in spoken], console, labels("preparing_voice"))
    folder = _person_folder(home, args.person)

    def tell(step: Step) -> None:
        text = labels("enrol_step", word=_wording(pack, step.word), take=step.take, of=step.of, n=step.words_done + 1,
                      words=step.words)  # fmt: skip
        say(console, text if step.fault is None else f"{text} ! {sentence(pack, phrase(f'enrol_{step.fault}'))}")

    def clip(said: Phrase) -> Block:
        return voice.clip(sentence(pack, said))

    def keep(made: Enrolment) -> None:
        made.save(folder)

    try:
        return enrol_spoken(device, clip, pack.replies, wanted, start=before, keep=keep, tell=tell)
    except KeyboardInterrupt:
        say(console, labels("enrol_kept", command=f"coach enrol {args.person}"))
        raise


def _before(home: Home, person: str, pack: VoicePack) -> Enrolment:
    """Return what the person taught already in this language, or nothing."""
    nothing = Enrolment({}, pack.language, {}, "microphone", pack.halts)
    home.check_id(person)
    if person not in home.people() or not (home.person(person).takes / FILE).exists():
        return nothing
    there = load_enrolment(home.person(person).takes)
    if there.language != pack.language:
        raise CoachError(
            f'{person} taught words in "{there.language}"; forget them first: coach enrol {person} --forget, '
            f"or give --language {there.language}."
        )
    return there


def _person_folder(home: Home, person: str) -> Path:
    """Return the folder for the person's takes, made if it is not there."""
    known = home.person(person) if person in home.people() else home.add_person(person)
    known.takes.mkdir(mode=0o700, exist_ok=True)
    return known.takes


def _wording(pack: VoicePack, word: str) -> str:
    return pack.replies[word].word if word in pack.replies else word


def _list(pack: VoicePack, words: Sequence[str]) -> str:
    return ", ".join(_wording(pack, word) for word in words)


def say(console: Console, text: str) -> None:
    """Print one line as it stands."""
    console.print(text, markup=False, highlight=False, soft_wrap=True)
