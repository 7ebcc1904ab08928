"""Fixtures that several folders of tests share, such as one whole session of a made-up person as it is written."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from budget import draws
from hypothesis import settings
from once import once

if TYPE_CHECKING:  # it loads the whole package, for the tests that use it only
    from in_the_room import Furnished

# every core runs tests, so threads of the linear algebra would only wait for each other; set before numpy loads
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# a shared machine stalls at times, so no test has a time limit
settings.register_profile("coach", deadline=None, max_examples=draws(40, 100))
settings.load_profile("coach")

Told = list[tuple[str, int, dict[str, Any]]]

SECOND = 16_000

SHORT = round(0.8 * SECOND)
"""Longest sentence of the coach, in samples: enough for the microphone to hear the coach and miss its echo."""


@pytest.fixture(scope="session")
def told() -> Told:
    """Return (kind, sample, fields) of a session: two sets, one cut short by a halt, one with a missed rep."""
    heel = {"exercise": "heel_lowering", "level": "one_foot", "side": "left"}
    first = heel | {"set_id": 1, "set": 1, "kind": "reps", "planned_low": 10, "planned_high": 12}
    second = first | {"set_id": 2, "set": 2}
    tempo = {"unit": "reps", "tension_planned_s": 84.0}
    plan = {
        "exercise": "heel_lowering", "level": "one_foot", "sets": 3, "because": "level of the last session",
        "name": "Heel raise with slow lowering", "kind": "reps", "low": 10, "high": 15, "target": 12, "unit": "reps",
        "sides": "affected only",
    }  # fmt: skip
    begun = {
        "session": "", "person": "mira", "program": "steadier_ankle", "title": "Steadier ankle, weeks 1-4",
        "digest": "5f" * 32, "written_by": "clinic physiotherapist", "language": "en", "plan": [plan],
        "ears": ["taught", "activity", "keys"], "voice": "espeak en", "device": "virtual room", "rate": SECOND,
        "app_version": "0.1.0",
    }  # fmt: skip
    pain = {"question": "pain", "ear": "taught", "read_back": True}
    rows: list[tuple[str, float, dict[str, Any]]] = [
        ("session_begun", 0, begun),
        ("heard", 9, {"ear": "taught", "word": "no", "score": 0.9, "began": 140_000, "ended": 144_000, "used": True}),
        ("answered", 9, {"question": "screen.new_injury", "value": False, "ear": "taught", "read_back": False,
                         "attempts": 2}),
        ("screen_confirmed", 14, {"ear": "taught"}),
        ("set_begun", 40, first | tempo),
        ("set_ended", 125, first | {"counted": 12, "tension_s": 84.0, "why": "done"}),
        ("answered", 130, {"question": "reps", "value": False, "ear": "taught", "read_back": False, "attempts": 1,
                           "set_id": 1}),
        ("answered", 134, {"question": "missed", "value": 2, "ear": "taught", "read_back": True, "attempts": 1,
                           "set_id": 1}),
        ("answered", 140, pain | {"value": 3, "attempts": 1, "set_id": 1}),
        ("unanswered", 150, {"question": "effort", "prompts": 3, "set_id": 1}),
        ("set_begun", 200, second | tempo),
        ("held", 210, heel | {"set": 2, "set_id": 2}),
        ("ready", 215, {"ear": "taught", "set_id": 2}),
        ("resumed", 216, {"set_id": 2}),
        ("heard", 240, {"ear": "taught", "word": "stop", "score": 0.8, "began": 3_830_000, "ended": 3_836_000,
                        "used": True}),
        ("heard", 240, {"ear": "keys", "word": "stop", "score": 1.0, "began": 3_840_000, "ended": 3_840_000,
                        "used": False}),
        ("halted", 240, heel | {"state": "working", "set": 2, "set_id": 2, "rep": 6, "phase": "lower",
                                "ear": "taught"}),
        ("halt_why", 246, {"why": "unsteady", "ear": "taught", "state": "halted"}),
        ("set_ended", 246, second | {"counted": 5, "tension_s": 38.5, "why": "halted_unsteady"}),
        ("eased", 246, {"exercise": "heel_lowering", "what": "level", "from": "one_foot", "to": "two_feet",
                        "because": "limits.unsteady"}),
        ("answered", 255, pain | {"value": 5, "attempts": 1, "set_id": 2}),
        ("device", 260, {"what": "mic_lost"}),
        ("device", 262, {"what": "mic_back"}),
        ("note", 263, {"text": "a cushion was in the way", "by": "caregiver"}),
        ("exercise_ended", 270, {"exercise": "heel_lowering", "why": "unsteady"}),
        ("session_ended", 280, {"why": "unsteady", "next_in_days": 2, "because": "limits.unsteady: end_session"}),
    ]  # fmt: skip
    return [(kind, round(at * SECOND), fields) for kind, at, fields in rows]


@pytest.fixture
def ticking() -> Callable[[], datetime]:
    """Return a clock that advances a second with each call."""
    at = datetime(2027, 1, 11, 9, 30, tzinfo=UTC) - timedelta(seconds=1)

    def now() -> datetime:
        nonlocal at
        at += timedelta(seconds=1)
        return at

    return now


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Furnished:
    """Return a home with the clips of the short program and a person who taught their words, made once per run."""
    from in_the_room import furnish_home, prepared

    def furnish(home: Path) -> None:
        furnish_home(home, prepared(), longest=SHORT)

    return furnish_home(once(tmp_path_factory, "furnished", furnish), prepared())


@pytest.fixture
def learns_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let lessons learn from few augmented takes and little talk, for tests of everything around the learning."""
    from lesson_room import learn_little

    learn_little(monkeypatch)


@pytest.fixture
def room_home(furnished: Furnished, tmp_path: Path) -> Path:
    """Return a home of the test's own with the same clips and the same person, without sessions."""
    home = tmp_path / "home"
    shutil.copytree(furnished.home.clips, home / "clips", copy_function=os.link)
    shutil.copytree(furnished.home.root / "people", home / "people", ignore=shutil.ignore_patterns("*.jsonl"))
    return home
