"""A moment of a session as the page shows it."""

from __future__ import annotations

from typing import Any

from coach.cli.labels import Labels
from coach.cli.snapshot_words import alarm, alarm_head, alarm_text, beside_count, heard_word, set_of, side_of, time_left
from coach.snapshot import Snapshot

HALTS = " "
"""The key that halts."""


def session_screen(now: Snapshot, labels: Labels, serial: int, lang: str) -> dict[str, Any]:
    """Return the screen of a moment in the form of `page/screens.py`: JSON with every word that it shows."""
    return {
        "kind": "session",
        "serial": serial,
        "lang": lang,
        "title": now.title,
        "person": now.person,
        "state": now.state,
        "state_words": labels.word("state", now.state),
        "said": now.said,
        "exercise": now.exercise,
        "place": set_of(now, labels),
        "side": side_of(now, labels),
        "count": {"n": now.count, "beside": beside_count(now, labels)} if now.count else None,
        "phase": _phase(now),
        "rest": _rest(now, labels),
        "may_say": list(now.may_say),
        "keys": _keys(now, labels),
        "heard": {
            "words": heard_word(now, labels),
            "ear": labels.word("ear", now.heard_ear),
            "at": now.heard_at,
        } if now.heard_ear else None,
        "mic": round(now.mic, 2),
        "alarm": _alarm(now, labels),
        "time_left": time_left(now, labels),
    }  # fmt: skip


def _phase(now: Snapshot) -> dict[str, Any] | None:
    if not now.phase:
        return None
    return {
        "name": now.phase,
        "left": round(now.phase_left, 2),
        "length": round(now.phase_length, 2),
        "done": round(now.phase_done, 3),
        "from": round(now.phase_from, 3),
        "to": round(now.phase_to, 3),
    }


def _rest(now: Snapshot, labels: Labels) -> dict[str, Any] | None:
    if now.rest_left is None:
        return None
    return {"left": round(now.rest_left), "of": round(now.rest_of), "beside": labels("seconds_of_rest")}


def _keys(now: Snapshot, labels: Labels) -> list[dict[str, Any]]:
    """Return what a press does now. Numbers are listed one by one, since each is a button on the page."""
    space = labels("key_space")
    return [
        {"key": HALTS if key == space else key, "name": key, "does": does, "halts": key == space}
        for key, does in now.keys
    ]


def _alarm(now: Snapshot, labels: Labels) -> dict[str, str] | None:
    kind = alarm(now)
    return {"kind": kind, "head": alarm_head(kind, labels), "text": alarm_text(kind, labels)} if kind else None
