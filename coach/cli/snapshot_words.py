"""Put a moment of a session into words, the same for the terminal and the page."""

from __future__ import annotations

from collections.abc import Callable

from coach.cli.labels import Labels, shown
from coach.snapshot import Snapshot

ALARMS: tuple[tuple[str, Callable[[Snapshot], bool]], ...] = (
    ("sound", lambda now: {"speaker_gone", "microphone_gone"} <= {*now.warnings}),
    ("mute", lambda now: now.state == "mute" or "speaker_gone" in now.warnings),
    ("deaf", lambda now: now.state == "deaf" or "microphone_gone" in now.warnings),
    ("halted", lambda now: now.state == "halted"),
    ("unclear", lambda now: now.unanswered > 0 and now.heard_ear == "activity"),
    ("unanswered", lambda now: now.unanswered > 0),
    ("paused", lambda now: now.state == "paused"),
    ("no_echo", lambda now: "no_echo" in now.warnings),
    ("unwritten", lambda now: "record_unwritten" in now.warnings),
)
"""Alarms, the most urgent first: the end of a key "alarm_..." of screens.yaml, and the condition."""


NOTICES = frozenset({"no_echo", "unwritten"})
"""Alarms during which the work goes on, so that the count stays in sight."""


def alarm(now: Snapshot) -> str:
    """Return the most urgent alarm, a name of ALARMS; empty if there is none."""
    return next((kind for kind, holds in ALARMS if holds(now)), "")


def alarm_head(kind: str, labels: Labels) -> str:
    """Return an alarm in a few words."""
    return labels(f"alarm_{kind}")


def alarm_text(kind: str, labels: Labels) -> str:
    """Return what to do about an alarm."""
    return labels(f"alarm_{kind}_text")


def set_of(now: Snapshot, labels: Labels) -> str:
    """Return the set and the number of sets; empty outside an exercise."""
    return f"{labels('set')} {now.set} {labels('of')} {now.sets}" if now.set else ""


def side_of(now: Snapshot, labels: Labels) -> str:
    """Return the side that works; empty if both do."""
    return labels.word("side", now.side) if now.side else ""


def beside_count(now: Snapshot, labels: Labels) -> str:
    """Return the text beside the count, such as "of 12 reps"."""
    return f"{labels('of')} {now.of} {labels.word('unit', now.unit)}".rstrip()


def heard_word(now: Snapshot, labels: Labels) -> str:
    """Return the last word heard, or that it was not understood; empty if nothing was heard yet."""
    if not now.heard_ear:
        return ""
    return f'"{shown(now.heard)}"' if now.heard else labels("not_understood")


def time_left(now: Snapshot, labels: Labels) -> str:
    """Return about how long the session still takes."""
    if now.time_left is None:
        return ""
    minutes = round(now.time_left / 60)
    return labels("about_minutes_left", minutes=minutes) if minutes else labels("under_a_minute_left")
