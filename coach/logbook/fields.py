"""Turn a line's class into the fields in the file, and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, fields, is_dataclass
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from coach.loglines.kinds import KINDS, Fact

_Take = Callable[[object], object]


class UnfitField(Exception):  # noqa: N818 - it names a value, and never leaves the logbook
    """A field is missing or has the wrong type; the text names it."""


def plain(value: Any) -> Any:  # noqa: ANN401 - JSON is any of these
    """Return `value` as JSON would give it back: dataclasses as dicts, tuples as lists, text as valid UTF-8."""
    if value is None or type(value) in (int, bool):  # the most frequent case first: files are long
        return value
    if isinstance(value, float):
        return value if isfinite(value) else None  # JSON has no NaN; readers then report the line
    if isinstance(value, str):
        return str(value).encode("utf-8", "replace").decode("utf-8")
    if is_dataclass(value) and not isinstance(value, type):
        return plain({_key(name): held for name, held in asdict(value).items()})
    if isinstance(value, Mapping):
        return {plain(key): plain(held) for key, held in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(held) for held in value]
    return value


def fact(kind: str, held: Mapping[str, Any]) -> Fact:
    """Return the line of `kind` as its class, without fields that the class does not have.

    Raises UnfitField if a field is missing or has the wrong type.
    """
    known = KINDS.get(kind)
    if known is None:
        raise UnfitField(f'the kind "{kind}" is not known')
    return cast("Fact", _build(known, held))


def fields_of(it: Fact) -> dict[str, Any]:
    """Return the fields of a line that do not hold their default, as JSON values by their names in the file."""
    held = ((field, getattr(it, field.name)) for field in fields(it))
    return {_key(field.name): plain(value) for field, value in held if value != field.default}


def _key(name: str) -> str:
    return name.removesuffix("_")


def _build(known: type, held: Mapping[str, Any]) -> object:
    values: dict[str, object] = {}
    for key, (name, take, optional) in _takers(known).items():
        if key in held:
            try:
                values[name] = take(held[key])
            except UnfitField as unfit:
                raise UnfitField(f'its "{key}" {unfit}') from None
        elif not optional:
            raise UnfitField(f'it lacks "{key}"')
    return known(**values)


@cache
def _takers(known: type) -> dict[str, tuple[str, _Take, bool]]:
    """Return for each key in the file: the attribute, the function that takes its value, whether it may be missing."""
    hints = get_type_hints(known)
    return {
        _key(field.name): (field.name, taker(hints[field.name]), field.default is not MISSING)
        for field in fields(known)
    }


def taker(hint: object, nested: Callable[[type], _Take] | None = None) -> _Take:
    """Return a function that converts a JSON value to the type `hint`, or raises UnfitField.

    `nested` returns such a function for a dataclass; without it the class is read from an object by its keys.
    """
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return _any_of([taker(one, nested) for one in inner], inner, str(hint))
    if origin is Literal:
        return _one_of(inner)
    if origin is tuple and inner[-1] is Ellipsis:
        return _each(taker(inner[0], nested))
    if origin is tuple:
        return _row_of([taker(one, nested) for one in inner])
    if is_dataclass(hint):
        return (nested or _nested)(cast("type", hint))
    return _simple(cast("type", hint))


def _any_of(takers: list[_Take], hints: tuple[object, ...], wanted: str) -> _Take:
    as_they_are = _AS_THEY_ARE.intersection(hints) - ({int, bool} if float in hints else set())

    def take(value: object) -> object:
        if type(value) in as_they_are:
            return value
        for one in takers:
            try:
                return one(value)
            except UnfitField:
                continue
        raise UnfitField(f"is {_short(value)}, not {wanted}")

    return take


def _one_of(words: tuple[Any, ...]) -> _Take:
    def take(value: object) -> object:
        if isinstance(value, str) and value in words:
            return str(value)
        raise UnfitField(f"is {_short(value)}, not one of {', '.join(words)}")

    return take


def _each(inner: _Take) -> _Take:
    def take(value: object) -> object:
        if not isinstance(value, (list, tuple)):
            raise UnfitField(f"is {_short(value)}, not a list")
        return tuple(map(inner, value))

    return take


def _row_of(takers: list[_Take]) -> _Take:
    def take(value: object) -> object:
        if not isinstance(value, (list, tuple)) or len(value) != len(takers):
            raise UnfitField(f"is {_short(value)}, not a list of {len(takers)}")
        return tuple(take(one) for take, one in zip(takers, value, strict=True))

    return take


def _nested(known: type) -> _Take:
    def take(value: object) -> object:
        if isinstance(value, known):
            return value
        if not isinstance(value, Mapping):
            raise UnfitField(f"is {_short(value)}, not an object")
        return _build(known, value)

    return take


_AS_THEY_ARE = frozenset((str, bool, int, NoneType))
"""Types whose JSON values need no conversion; they are tried first, since files are long."""


def _simple(hint: type) -> _Take:
    as_it_is = hint if hint in _AS_THEY_ARE else None

    def take(value: object) -> object:
        if type(value) is as_it_is:
            return value
        if hint is str and isinstance(value, str):
            return str(value)
        if hint is bool and isinstance(value, bool):
            return value
        if hint is NoneType and value is None:
            return None
        if hint is int and isinstance(value, int) and not isinstance(value, bool):
            return value
        if hint is float and isinstance(value, (int, float)) and not isinstance(value, bool) and _finite(value):
            return float(value)
        raise UnfitField(f"is {_short(value)}, not {hint.__name__}")

    return take


def _finite(value: float) -> bool:
    try:
        return isfinite(value)
    except OverflowError:  # an int beyond any float
        return False


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."
