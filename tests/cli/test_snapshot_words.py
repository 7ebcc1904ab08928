"""Which alarms there are, and which comes first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.cli.labels import Labels
from coach.cli.snapshot_words import ALARMS, alarm, alarm_head, alarm_text
from coach.session.state import State
from coach.snapshot import Snapshot
from coach.voice.pack import languages, load_pack

CALM = Snapshot(at=0, state="working", heard="ready", heard_ear="taught")


@pytest.mark.parametrize(
    ("moment", "kind"),
    [
        (CALM, ""),
        (replace(CALM, state="mute"), "mute"),
        (replace(CALM, state="closing", warnings=("speaker_gone",)), "mute"),
        (replace(CALM, state="deaf"), "deaf"),
        (replace(CALM, state="mute", warnings=("microphone_gone", "speaker_gone")), "sound"),
        (replace(CALM, state="deaf", warnings=("microphone_gone", "speaker_gone")), "sound"),
        (replace(CALM, warnings=("microphone_gone", "no_echo")), "deaf"),
        (replace(CALM, state="halted"), "halted"),
        (replace(CALM, state="waiting", unanswered=1), "unanswered"),
        (replace(CALM, state="waiting", unanswered=2, heard="", heard_ear="activity"), "unclear"),
        (replace(CALM, state="paused"), "paused"),
        (replace(CALM, state="checking", warnings=("no_echo",)), "no_echo"),
        (replace(CALM, state="halted", warnings=("microphone_gone",)), "deaf"),
    ],
)
def test_the_most_urgent_thing_is_the_one_that_is_shown(moment: Snapshot, kind: str) -> None:
    assert alarm(moment) == kind


@pytest.mark.parametrize("state", [state for state in State if state not in ("mute", "deaf", "halted", "paused")])
def test_only_states_that_wait_for_help_are_alarms_by_themselves(state: State) -> None:
    assert alarm(replace(CALM, state=str(state))) == ""


@pytest.mark.parametrize("language", languages())
def test_every_alarm_has_its_words_in_every_language(language: str) -> None:
    labels = Labels(load_pack(language).screens)

    assert all(alarm_head(kind, labels) and alarm_text(kind, labels) for kind, _ in ALARMS)
