"""Turn a record into one line of JSON and back: values in the order of the fields, without names.

Unpacking checks every type and refuses a line that does not fit.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import cache
from math import isfinite
from types import NoneType
from typing import TypeVar, cast, get_args, get_type_hints

from coach.logbook.fields import UnfitField, taker

_Held = TypeVar("_Held")


def pack(value: object) -> str:
    """Return the JSON of a dataclass that holds numbers, texts, tuples and other such dataclasses."""
    return json.dumps(value, default=_values, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def unpack(known: type[_Held], text: str) -> _Held:
    """Return the `known` that `text` was packed from. Raises UnfitField if `text` does not fit."""
    try:
        return cast("_Held", _in_order(cast("type", known))(_JSON.decode(text)))
    except (ValueError, RecursionError):
        raise UnfitField("it is not JSON") from None


def _values(value: object) -> list[object]:
    if not is_dataclass(value):
        raise TypeError(type(value))
    return [getattr(value, field.name) for field in fields(value)]


@cache
def _in_order(known: type) -> Callable[[object], object]:
    """Return a function that makes a `known` of a list of values, or raises UnfitField."""
    hints = get_type_hints(known)
    takers = [taker(hints[field.name], _in_order) for field in fields(known)]
    nested = [
        (at, takers[at])
        for at, field in enumerate(fields(known))
        if not _SIMPLE.issuperset(get_args(hints[field.name]) or {hints[field.name]})
    ]
    seen: set[tuple[type, ...]] = set()
    """Lists of types that passed unchanged but for nested values: nothing else needs a check."""

    def take(value: object) -> object:
        if type(value) is not list:
            raise UnfitField("is not a list")
        types = tuple(map(type, value))
        if types in seen:
            for at, take in nested:
                value[at] = take(value[at])
            return known(*value)
        if len(value) != len(takers):
            raise UnfitField(f"is not a list of {len(takers)} values")
        taken = [take(one) for take, one in zip(takers, value, strict=True)]
        if all(taken[at] is value[at] for at in range(len(value)) if at not in dict(nested)):
            seen.add(types)
        return known(*taken)

    return take


_SIMPLE = frozenset((str, bool, int, float, NoneType))


def _finite(written: str) -> float:
    value = float(written)
    if not isfinite(value):
        raise ValueError(written)
    return value


def _refuse(word: str) -> None:
    raise ValueError(word)


_JSON = json.JSONDecoder(parse_float=_finite, parse_constant=_refuse)
