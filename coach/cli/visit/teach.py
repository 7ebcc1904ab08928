"""Teach the person's words by voice, with the page beside it."""

from __future__ import annotations

from dataclasses import replace

from coach.cli.labels import Labels
from coach.cli.session_setup import coach_voice
from coach.cli.taught_words import is_learnt, judged, learnt, prompts, save, talk_of, taught_by
from coach.cli.verdict import verdict_lines
from coach.cli.visit.desk import OVER, Desk, StoppedError
from coach.cli.visit.people import called
from coach.cli.visit.sound import VisitSound
from coach.ears.enrolment import Enrolment
from coach.ears.room_noise import ROOM_SECONDS
from coach.ears.spoken import LessonStep, MicLevel, enrol_spoken, wanted
from coach.ears.takes import TakeMaker
from coach.logbook.store import Home, Person
from coach.page.screens import Choice, Meter, Progress, Step, StepLine
from coach.ports import Block
from coach.voice.cache import ClipVoice
from coach.words.phrases import Phrase, VoicePack, phrase, sentence

LOWEST = -60.0
"""Level in dBFS at which the meter is empty; it is full at 0."""


def words_of(desk: Desk, home: Home, person: Person, sound: VisitSound) -> Enrolment | None:
    """Return what the person taught; if that is not finished, offer to teach. None: they answer by key."""
    enrolment = taught_by(person, desk.pack)
    if enrolment is not None and enrolment.verdict:
        return enrolment
    labels = desk.labels
    begun = enrolment is not None and bool(enrolment.takes)
    step = Step(
        "teach",
        labels("page_teach", name=called(person)),
        labels("page_teach_lead_begun" if begun else "page_teach_lead"),
        lines=(StepLine(labels("page_teach_how")), StepLine(labels("page_teach_keys"))),
        choices=(
            Choice("teach", labels("page_teach_on" if begun else "page_teach_now"), weight="main"),
            Choice("keys", labels("page_teach_later")),
            Choice(OVER, labels("page_over"), weight="small"),
        ),
    )
    if desk.ask(step).id == "keys":
        return enrolment
    return lesson(desk, home, person, sound)


def lesson(desk: Desk, home: Home, person: Person, sound: VisitSound) -> Enrolment | None:
    """Teach the missing words, learn them and show the verdict; return what is kept."""
    pack = desk.pack
    start = taught_by(person, pack) or Enrolment({}, pack.language, {}, "", pack.halts)
    voice = coach_voice(home, pack)
    maker = TakeMaker()
    try:
        made = _taught(desk, home, person, sound, start, maker)
    except StoppedError:
        return taught_by(person, pack)
    if not made.takes:
        return None
    try:
        made = _learnt(desk, made, maker.room_sound, voice)
    except StoppedError:
        return taught_by(person, pack)
    save(made, home, person.id)
    desk.show(Step("judging", desk.labels("page_learning"), lines=(StepLine(desk.labels("enrol_checking")),)))
    foretold, made = judged(made)
    save(made, home, person.id)
    lines = tuple(StepLine(text) for text in verdict_lines(foretold, made, pack, person.id))
    on = Choice("on", desk.labels("page_on"), weight="main")
    desk.ask(Step("taught", desk.labels("page_taught"), lines=lines, choices=(on,)))
    return made


def _taught(desk: Desk, home: Home, person: Person, sound: VisitSound, start: Enrolment, maker: TakeMaker) -> Enrolment:
    pack, labels = desk.pack, desk.labels
    words = wanted(start, pack.replies)
    voice = coach_voice(home, pack)
    stop = (Choice("stop", labels("page_teach_stop")),)
    desk.render(voice, prompts(pack, words), Step("preparing", labels("page_preparing"), choices=stop))
    screen = _Lesson(desk, pack, labels, stop)

    def say(said: Phrase) -> Block:
        text = sentence(pack, said)
        screen.says(text)
        return voice.clip(text)

    device, say_there = sound.lesson(pack, say)

    def keep(made: Enrolment) -> None:
        if made.takes:  # a room without takes is not worth keeping
            save(made, home, person.id)

    return enrol_spoken(device, say_there, pack.replies, words, start=start, keep=keep, tell=screen.tell, maker=maker)


def _learnt(desk: Desk, made: Enrolment, room: Block | None, voice: ClipVoice) -> Enrolment:
    if is_learnt(made):
        return made
    labels = desk.labels
    stop = (Choice("stop", labels("page_learning_later"), weight="small"),)
    step = Step("learning", labels("page_learning"), labels("page_learning_lead"), choices=stop)
    desk.render(voice, talk_of(desk.pack), step)

    def tell(done: int, of: int) -> None:
        desk.watch(replace(step, progress=Progress(labels("page_learning"), done, of)))

    return learnt(made, room, voice, desk.pack, tell)


class _Lesson:
    """The lesson as the page shows it: the coach's words, the word to say, the level, the progress."""

    def __init__(self, desk: Desk, pack: VoicePack, labels: Labels, stop: tuple[Choice, ...]) -> None:
        self._desk = desk
        self._pack = pack
        self._labels = labels
        self._stop = stop
        self._said = ""
        self._news: LessonStep | None = None
        self._listening = MicLevel(LOWEST)

    def says(self, text: str) -> None:
        """Take what the coach says now."""
        self._said = text
        self._draw()

    def tell(self, news: LessonStep | MicLevel) -> None:
        """Take how far the lesson is."""
        if isinstance(news, MicLevel):
            self._listening = news
        else:
            self._news = news
        self._draw()

    def _draw(self) -> None:
        labels, news = self._labels, self._news
        head, lines, progress = labels("page_lesson_room"), [StepLine(self._said, "said")], None
        if self._listening.room is not None:
            progress = Progress(labels("page_lesson_room"), round(self._listening.room), round(ROOM_SECONDS))
        elif news is not None:
            word = self._pack.replies[news.word].word
            head = labels("page_lesson_word", word=word)
            lines.append(
                StepLine(labels("page_lesson_take", n=news.take, of=news.of), "good" if news.take else "plain")
            )
            if news.fault is not None:
                lines.append(StepLine(sentence(self._pack, phrase(f"enrol_{news.fault}")), "bad"))
            progress = Progress(labels("page_lesson_words"), news.words_done, news.words)
        level = min(1.0, max(0.0, 1 - self._listening.level / LOWEST))
        meter = Meter(labels("page_word_microphone"), round(level, 2))
        self._desk.watch(Step("lesson", head, lines=tuple(lines), meter=meter, progress=progress, choices=self._stop))
