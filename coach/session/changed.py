"""Copy a frozen value with some fields changed: faster than dataclasses.replace, because every event does it."""

from __future__ import annotations

from typing import TYPE_CHECKING

__all__ = ["changed"]

if TYPE_CHECKING:
    from dataclasses import replace as changed  # a type checker then knows the fields
else:

    def changed(value, **changes):  # noqa: ANN001, ANN003, ANN201 - typed above
        """Return a copy of `value`, a frozen dataclass without slots, with `changes`."""
        new = object.__new__(type(value))
        fields = new.__dict__
        fields.update(value.__dict__)
        fields.update(changes)
        return new
