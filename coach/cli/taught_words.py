"""Teach words, from the terminal or the page: what is said, what is learnt, how well it will work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from coach.ears.enrolment import Enrolment, NoEnrolmentError, load_enrolment
from coach.ears.forecast import Forecast, forecast
from coach.ears.spoken import PHRASES
from coach.ears.teaching import learn_words
from coach.errors import CoachError
from coach.logbook.files import clear_errors, make_folder
from coach.logbook.store import Home, Person
from coach.ports import Block
from coach.progress import HowFar
from coach.voice.cache import ClipVoice
from coach.words.phrases import VoicePack, phrase, sentence

TALK = 40
"""Phrases of the coach that serve as background talk in learning: a minute of sound or more."""


def taught_by(person: Person, pack: VoicePack) -> Enrolment | None:
    """Return the words that a person taught, or None. Raises CoachError if they are of another language."""
    try:
        enrolment = load_enrolment(person.takes)
    except NoEnrolmentError:
        return None
    if enrolment.language != pack.language:
        raise CoachError(
            f'{person.id} taught words in "{enrolment.language}" and this program is in "{pack.language}"; '
            f"teach them again: coach enrol {person.id} --forget, then coach enrol {person.id} "
            f"--language {pack.language}"
        )
    return enrolment


def prompts(pack: VoicePack, lesson: Mapping[str, int]) -> list[str]:
    """Return everything that the coach may say in a lesson of those words."""
    spoken = [phrase(key) for key in PHRASES if key != "enrol_word"]
    spoken += [phrase("enrol_word", word=pack.replies[word].word) for word in lesson]
    return [sentence(pack, each) for each in spoken]


def talk_of(pack: VoicePack) -> list[str]:
    """Return the phrases of the coach that serve as background talk in learning."""
    return [text for key, text in sorted(pack.phrases.items()) if "{" not in text][:TALK]


def is_learnt(enrolment: Enrolment) -> bool:
    """Tell whether all takes have been learnt."""
    return enrolment.learnt is not None and all(take.sound is None for own in enrolment.takes.values() for take in own)


def learnt(enrolment: Enrolment, room: Block | None, voice: ClipVoice, pack: VoicePack, tell: HowFar) -> Enrolment:
    """Learn the words from the new takes, augmented with noise, this room's sound and the coach's talk.

    `talk_of(pack)` must have been rendered.
    """
    talk = np.concatenate([voice.clip(text) for text in talk_of(pack)])
    return learn_words(enrolment, room=room, talk=talk, tell=tell)


def save(enrolment: Enrolment, home: Home, person_id: str) -> None:
    """Save what a person taught; add the person to this home if they are new."""
    known = home.person(person_id) if person_id in home.people() else home.add_person(person_id)
    with clear_errors(known.takes, "write"):
        make_folder(known.takes)
    enrolment.save(known.takes)


def judged(enrolment: Enrolment) -> tuple[Forecast, Enrolment]:
    """Return the forecast for the words, and the enrolment with its verdict."""
    foretold = forecast(enrolment)
    return foretold, replace(enrolment, verdict=foretold.verdict)
