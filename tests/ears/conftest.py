"""Synthesised speech for the ears: one person's words in four tempos, and another person's sentences."""

from __future__ import annotations

import numpy as np
import pytest
from heard_rooms import REPLIES, SENTENCES, SPOKEN_AT, TAUGHT_AT, Voice

from coach.ears.enrolment import Enrolment
from coach.ears.takes import TakeMaker
from coach.ears.teaching import enrol_synthetic
from coach.ports import Block
from coach.voice.render import Renderer


@pytest.fixture(scope="session")
def voice() -> Voice:
    """Return the person's voice: a word at a number of words a minute."""
    texts = [reply.word for reply in REPLIES.values()]
    clips = {rate: Renderer("en-us+m3", rate).render(texts) for rate in (*TAUGHT_AT, SPOKEN_AT)}

    def say(word: str, rate: int = SPOKEN_AT) -> Block:
        return clips[rate][word]

    return say


@pytest.fixture(scope="session")
def other_speech() -> Block:
    """Return some seconds of somebody else."""
    clips = Renderer("en-us+f4", 165).render(SENTENCES)
    return np.concatenate([clips[text] for text in SENTENCES])


@pytest.fixture(scope="session")
def maker() -> TakeMaker:
    return TakeMaker()


@pytest.fixture(scope="session")
def enrolment(voice: Voice, maker: TakeMaker) -> Enrolment:
    return enrol_synthetic(lambda word, variant: voice(word, TAUGHT_AT[variant]), REPLIES, maker=maker).enrolment
