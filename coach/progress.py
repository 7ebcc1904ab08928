"""Progress of slow work: a download, a rendering, learning, reading many files."""

from __future__ import annotations

from collections.abc import Callable

HowFar = Callable[[int, int], None]
"""Receives the amount done and the total; a total of 0 means unknown."""
