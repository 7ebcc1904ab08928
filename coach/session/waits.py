"""How long a session waits for somebody, and how often it asks."""

from __future__ import annotations

from coach.session.state import State

WINDOW = {
    State.CHECKING: 8.0,
    State.SCREENING: 8.0,
    State.SCREEN_CHECK: 8.0,
    State.WAITING: 25.0,
    State.STILL: 10.0,
    State.ASKING: 8.0,
    State.CONFIRMING: 6.0,
    State.HALTED: 8.0,
    State.RECOVERING: 40.0,
    State.PAUSED: 60.0,
}
"""Seconds from the end of what was said to the next prompt. People answer within a second (Stivers 2009); the rest is
for those who must first put something down. Our own choice, to be tuned with users."""

PROMPTS = {
    State.CHECKING: 4,
    State.SCREENING: 3,
    State.SCREEN_CHECK: 3,
    State.WAITING: 4,
    State.STILL: 2,
    State.ASKING: 3,
    State.CONFIRMING: 2,
    State.HALTED: 3,
    State.RECOVERING: 4,
    State.PAUSED: 5,
}
"""How often something is asked before silence is taken as nobody being there."""

SOFT_CONFIRM = 2.5
"""Seconds in which a number that can add no work may be denied, before it is taken."""

DEVICE_PATIENCE = 120.0
"""Seconds that a session waits for a lost microphone or speaker before it ends."""

CLOSING_PATIENCE = 90.0
"""Seconds after which a session ends even if its last words did not come to an end."""
