"""How something slow tells how far it is: a download, a rendering, a learning, a reading of many files."""

from __future__ import annotations

from collections.abc import Callable

HowFar = Callable[[int, int], None]
"""Told how much is done, and of how much; 0: not known."""
