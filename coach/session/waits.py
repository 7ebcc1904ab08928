"""How long a session waits for an answer, and how often it asks."""

from __future__ import annotations

from coach.session.state import State

WINDOW = {
    State.CHECKING: 8.0,
    State.SCREENING: 8.0,
    State.SCREEN_CHECK: 8.0,
    State.RATING: 10.0,
    State.WAITING: 25.0,
    State.STILL: 10.0,
    State.ASKING: 8.0,
    State.CONFIRMING: 6.0,
    State.HALTED: 8.0,
    State.RECOVERING: 40.0,
    State.PAUSED: 60.0,
}
"""Seconds from the end of the words to the next prompt. People answer within 1 s (Stivers 2009); the rest leaves time
to put something down. Our own choice, to be tuned with users."""

PROMPTS = {
    State.CHECKING: 4,
    State.SCREENING: 3,
    State.SCREEN_CHECK: 3,
    State.RATING: 2,
    State.WAITING: 4,
    State.STILL: 2,
    State.ASKING: 3,
    State.CONFIRMING: 2,
    State.HALTED: 3,
    State.RECOVERING: 4,
    State.PAUSED: 5,
}
"""How often the coach asks before it takes silence to mean that nobody is there. Our own choice."""

SOFT_CONFIRM = 2.5
"""Seconds in which the person may deny a number that can add no work; then it counts."""

DEVICE_PATIENCE = 120.0
"""Seconds that a session waits for a lost microphone or speaker; then it ends."""

CLOSING_PATIENCE = 90.0
"""Seconds after which a session ends, even if its last words are not over."""
