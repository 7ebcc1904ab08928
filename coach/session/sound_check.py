"""The check before the session: one word each way, and what the microphone tells of the room."""

from __future__ import annotations

from coach.loglines.hearing import SoundCheck
from coach.session.changed import changed
from coach.session.commands import HUSH, Command, Record, WakeAt
from coach.session.events import Event, On, RoomFacts
from coach.session.sets import go_on
from coach.session.state import Result, Session
from coach.session.wording import say

LOUDER = 10.0
"""Decibels over the room in which the words were taught from which it is said that the room has changed: so much less
lies between voice and noise. Our own choice."""

VOICES = 0.4
"""Share of the time with a voice in it from which somebody, or something, talks all the time. Who only answers speaks
for a second or two of the twenty and more that opening words and check take."""


def heard(session: Session, event: Event) -> Result:
    """ "Ready" has come: each hears the other. What may make that harder is said, and the session goes on."""
    cautions = tuple(caution for caution in _cautions(event.room) if caution != "no_echo")  # the person heard the coach
    words = tuple(command for caution in cautions for command in say(f"check_{caution}"))
    commands = (*HUSH, _line(session, event, heard=True), *words)
    session = changed(session, prompts=0)
    return session if session.today.screen else go_on(session, event.at), commands


def ask_again(session: Session, event: Event) -> Result:
    """No "ready" has come: ask again, and say what to look at, more of it each time."""
    session = changed(session, prompts=session.prompts + 1)
    commands = (*HUSH, *say("not_understood" if event.on is On.SPOKE else "nothing_heard"))
    found = _cautions(event.room)
    if event.on is On.SPOKE and "voices" in found:
        commands += say("check_voices")
    if session.prompts > 1:
        commands += say("check_speaker") if "no_echo" in found else ()
        commands += say("check_microphone" if session.prompts == 2 else "check_keys")
    return session, (*commands, *say("check_ready"))


def not_heard(session: Session, event: Event) -> Result:
    """Nobody could be heard: without that there is no session."""
    return changed(session, end_why="not_heard"), (WakeAt(None), _line(session, event, heard=False))


def _cautions(room: RoomFacts | None) -> tuple[str, ...]:
    """Return what speaks against being heard well: "no_echo", "louder", "voices"."""
    if room is None:
        return ()
    louder = room.floor is not None and room.taught is not None and room.floor - room.taught > LOUDER
    found = {"no_echo": room.echo is False, "louder": louder, "voices": room.voices > VOICES}
    return tuple(name for name, holds in found.items() if holds)


def _line(session: Session, event: Event, *, heard: bool) -> Command:
    room = event.room or RoomFacts()
    line = SoundCheck(
        heard=heard,
        ear=event.ear,
        askings=session.prompts + 1,
        level=room.level,
        floor=room.floor,
        room_taught=room.taught,
        echo=room.echo,
        voices=room.voices,
        cautions=_cautions(event.room),
    )
    return Record(event.at, line)
