"""The sound check before the session: each side hears a word of the other; the room may bring cautions."""

from __future__ import annotations

from coach.loglines.hearing import SoundCheck
from coach.session.changed import changed
from coach.session.commands import HUSH, Command, Record, WakeAt
from coach.session.events import Event, On, RoomFacts
from coach.session.sets import go_on
from coach.session.state import Result, Session
from coach.session.wording import say

LOUDER = 10.0
"""Decibels by which the room may be louder than when the words were taught; above that the coach says so. Our own
choice."""

VOICES = 0.4
"""Share of the time with a voice in it above which somebody, or a radio, talks all the time. A person who only answers
speaks for 1-2 of the 20 s or more."""


def heard(session: Session, event: Event) -> Result:
    """ "Ready" was heard: say what may make hearing harder, and go on."""
    cautions = tuple(caution for caution in _cautions(event.room) if caution != "no_echo")  # the person heard the coach
    words = tuple(command for caution in cautions for command in say(f"check_{caution}"))
    commands = (*HUSH, _line(session, event, heard=True), *words)
    return session if session.today.screen else go_on(session, event.at), commands


def ask_again(session: Session, event: Event) -> Result:
    """ "Ready" was not heard: ask again, and each time name more that may be wrong."""
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
    """Nobody was heard: end the session."""
    return changed(session, end_why="not_heard"), (WakeAt(None), _line(session, event, heard=False))


def _cautions(room: RoomFacts | None) -> tuple[str, ...]:
    """Return what may make hearing harder: any of "no_echo", "louder", "voices"."""
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
