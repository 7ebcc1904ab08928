"""The virtual room for the demo and for `coach start --room`: a patient with a voice of their own."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path

from rich.console import Console

from coach.audio.patient import Patient, read_script
from coach.audio.room import VirtualRoom
from coach.cli.labels import Labels
from coach.cli.session_setup import render_all
from coach.ears.enrolment import Enrolment, load_enrolment
from coach.ears.teaching import enrol_synthetic, reworded
from coach.errors import HearingError
from coach.logbook.store import Home, Person
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.voice.cache import ClipVoice
from coach.voice.render import Renderer
from coach.words.phrases import Phrase, VoicePack

PATIENT = ("+m3", 150)
"""The simulated patient's variant of the engine's voice, and words a minute."""

ANSWERS_AFTER = to_samples(0.8)
"""Samples from the end of the coach's words to the patient's answer."""

TAKES = (("+m3", 140), ("+m3", 155), ("+m3", 170))
"""Variant and speed of each synthesised take of a taught word: the same patient, not always equally fast."""


def patient_voice(home: Home, pack: VoicePack, variant: str, rate: int) -> ClipVoice:
    """Return a patient's voice: a variant of the coach's, at `rate` words a minute."""
    return ClipVoice(home.clips, Renderer(pack.speech.voice + variant, rate))


def furnish(script: str, pack: VoicePack, home: Home, console: Console, *, wav: Path | None = None) -> VirtualRoom:
    """Return a room with the patient of `script`; everything that the patient may say is rendered."""
    read = read_script(script)
    voice = patient_voice(home, pack, *PATIENT)
    spoken = {words.text: _wording(pack, words.text) for words in read.spoken if words.text}
    render_all(voice, spoken.values(), console, Labels(pack.screens)("preparing_room"))

    def speaker(text: str) -> Block:
        return voice.clip(spoken.get(text, text))

    return VirtualRoom(patient=Patient(read), speaker=speaker, wav=wav)


def _wording(pack: VoicePack, text: str) -> str:
    reply = pack.replies.get(text)
    return reply.word if reply else text


def teach_patient(person: Person, pack: VoicePack, home: Home, console: Console) -> Enrolment:
    """Return the words that the simulated patient taught; the first time, synthesise and learn them."""
    enrolment: Enrolment | None = None
    with suppress(HearingError):
        enrolment = load_enrolment(person.takes)
    if enrolment is None or reworded(enrolment, pack.replies):
        voices = [patient_voice(home, pack, *take) for take in TAKES]
        words = [reply.word for reply in pack.replies.values()]
        for voice in voices:
            render_all(voice, words, console, Labels(pack.screens)("teaching_words"))

        @cache
        def render(word: str, variant: int) -> Block:
            return voices[variant].clip(word)

        person.takes.mkdir(mode=0o700, exist_ok=True)
        enrolment = enrol_synthetic(render, pack.replies, count=len(TAKES), language=pack.language).enrolment
        enrolment.save(person.takes)
    return enrolment


def answering(
    room: VirtualRoom, say: Callable[[Phrase], Block], pack: VoicePack, home: Home, console: Console
) -> Callable[[Phrase], Block]:
    """Return a `say` that also makes the patient answer with the word asked for: one to be taught, or "ready"."""
    words = [reply.word for reply in pack.replies.values()]
    voices = [patient_voice(home, pack, *take) for take in TAKES]
    for voice in voices:
        render_all(voice, words, console, Labels(pack.screens)("preparing_room"))
    asked: list[str] = []

    def said(words_of_coach: Phrase) -> Block:
        clip = say(words_of_coach)
        values = dict(words_of_coach.values)
        if words_of_coach.key == "enrol_word":
            asked[:] = [str(values["word"])]
        elif words_of_coach.key == "check_ready":
            asked[:] = [pack.replies["ready"].word]
        elif words_of_coach.key not in ("enrol_again", "enrol_once_more"):
            return clip
        voice = voices[len(asked) % len(voices)]
        asked.append("")
        room.speak(voice.clip(asked[0]), room.now + len(clip) + ANSWERS_AFTER)
        return clip

    return said
