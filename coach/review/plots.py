"""Draw plots as SVG in black, white and grey: marks differ in form, never in colour alone.

The plotting library draws scales, axes and grid; the marks are ours, because its own differ in colour only.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Any

import leather
from leather import theme
from leather.shapes import Shape

from coach.review.blocks import Drawing, Marks, Plot, Scale
from coach.review.markup import Markup

WIDTH = 720
"""Width of a plot in its own units; the page scales it."""

INK, SOFT, PAPER = "#1c2329", "#7a828a", "#ffffff"
"""Contrast of the first two on the third: 15.7 : 1 and 3.9 : 1 (a mark needs 3 : 1, WCAG 2.2, 1.4.11)."""

theme.background_color = PAPER
theme.margin = 0.012
theme.tick_color = "#e4e6e8"
theme.zero_color = SOFT
theme.label_color = "#4a525a"
theme.tick_font_family = theme.axis_title_font_family = "inherit"
theme.tick_font_size = theme.axis_title_font_size = 13
theme.axis_title_color = "#4a525a"

LETTER = 7.5
"""Approximate width of a label's letter, in units."""


def svg(drawing: Drawing) -> Markup:
    """Return the plots of a drawing; a screen reader reads its title and description."""
    longest = max(len(name) for plot in drawing.plots for name in plot.y.names)
    height = sum(plot.height for plot in drawing.plots)
    titled = any(plot.y.title for plot in drawing.plots)
    margin = LETTER * longest + 12 + (theme.axis_title_font_char_height + theme.axis_title_gap if titled else 0)
    root = ET.Element("svg", viewBox=f"0 0 {WIDTH} {height}", role="img")
    root.set("aria-label", f"{drawing.title}. {drawing.description}")
    top = 0
    for plot in drawing.plots:
        group = _chart(plot, margin).to_svg_group(WIDTH, plot.height)
        group.set("transform", f"translate(0 {top})")
        root.append(group)
        top += plot.height
    return Markup(ET.tostring(root, encoding="unicode"))


def _chart(plot: Plot, margin: float) -> Any:  # noqa: ANN401  # the library has no types
    chart = leather.Chart()
    for scale, place in ((plot.x, "x"), (plot.y, "y")):
        getattr(chart, f"set_{place}_scale")(_Exact(scale))
        getattr(chart, f"set_{place}_axis")(_Axis(scale, margin))
    for mark in plot.marks:
        chart.add_series(leather.Series([(0, 0)]), _Drawn(mark))
    return chart


class _Axis(leather.Axis):  # type: ignore[misc]  # the library has no types
    """An axis with our own ticks; plots one above the other have the same left edge."""

    def __init__(self, scale: Scale, margin: float) -> None:
        super().__init__(list(scale.ticks), lambda _value, index, _count: scale.names[index], scale.title or None)
        self._margin = margin

    def estimate_label_margin(self, scale: object, orient: str) -> float:
        """Return the space for labels and title; on the left it is the same for all plots of a drawing."""
        if orient == "left":
            return self._margin
        return float(super().estimate_label_margin(scale, orient))


def legend_mark(form: str) -> Markup:
    """Return the mark alone, for the legend, where text beside it says its meaning."""
    root = ET.Element("svg", viewBox="0 0 28 16", width="28", height="16")
    root.set("aria-hidden", "true")
    point = (2.0, 8.0, 26.0) if form in ("limit", "end") else (14.0, 2.0, 14.0)
    if form not in (*_COLUMNS, "limit", "end", "span"):
        point = (14.0, 8.0, 8.0)
    wide = 22 if form in _COLUMNS else 1
    root.extend(FORMS[form](point, lambda at: 14 + (at - 14) * wide, lambda at: at))
    return Markup(ET.tostring(root, encoding="unicode"))


class _Exact(leather.Linear):  # type: ignore[misc]  # the library has no types
    """A scale with exactly the given ends."""

    def __init__(self, scale: Scale) -> None:
        super().__init__(scale.low, scale.high)
        self._low, self._length = scale.low, (scale.high - scale.low) or 1.0

    def contains(self, _value: float) -> bool:
        return True

    def project(self, value: float, range_min: float, range_max: float) -> float:
        at = float(range_min) + (float(range_max) - float(range_min)) * (float(value) - self._low) / self._length
        return round(at, 1)


class _Drawn(Shape):  # type: ignore[misc]  # the library has no types
    """Draws the marks of one kind."""

    def __init__(self, mark: Marks) -> None:
        self._mark = mark

    def validate_series(self, _series: object) -> None:
        """Accept any series: it only sets the kind of the axes."""

    def legend_to_svg(self, _series: object, _palette: object) -> list[object]:
        """Return nothing: the legend is text on the page."""
        return []

    def to_svg(self, width: Any, height: Any, x: Any, y: Any, _series: object, _palette: object) -> ET.Element:  # noqa: ANN401
        group = ET.Element("g")
        for point in self._mark.points:
            parts = FORMS[self._mark.form](
                point, lambda at: x.project(at, 0, width), lambda at: y.project(at, height, 0)
            )
            group.extend(parts)
        return group


# -- the forms of marks -----------------------------------------------------------------------------------------------

Coordinate = Callable[[float], float]
Form = Callable[[tuple[float, ...], Coordinate, Coordinate], list[ET.Element]]


def _element(name: str, **given: object) -> ET.Element:
    held = {key.rstrip("_").replace("_", "-"): _short(value) for key, value in given.items()}
    return ET.Element(name, held)


def _short(value: object) -> str:
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)


def _column(fill: str, stroke: str, half: float) -> Form:
    """Return a column from the point's third number up to its second, `half` wide to each side in units of x."""

    def draw(point: tuple[float, ...], x: Coordinate, y: Coordinate) -> list[ET.Element]:
        top, bottom = sorted((y(point[1]), y(point[2])))
        left, right = x(point[0] - half), x(point[0] + half)
        return [
            _element("rect", x=left, y=top, width=right - left, height=bottom - top, fill=fill, stroke=stroke,
                     stroke_width=1.5)
        ]  # fmt: skip

    return draw


def _disc(fill: str, radius: float) -> Form:
    def draw(point: tuple[float, ...], x: Coordinate, y: Coordinate) -> list[ET.Element]:
        return [_element("circle", cx=x(point[0]), cy=y(point[1]), r=radius, fill=fill, stroke=INK, stroke_width=1.5)]

    return draw


def _path(shape: str, fill: str = "none") -> Form:
    """Return a mark drawn by an SVG path around its point."""

    def draw(point: tuple[float, ...], x: Coordinate, y: Coordinate) -> list[ET.Element]:
        move = f"translate({_short(x(point[0]))} {_short(y(point[1]))})"
        return [_element("path", d=shape, transform=move, fill=fill, stroke=INK, stroke_width=1.8)]

    return draw


def _span(point: tuple[float, ...], x: Coordinate, y: Coordinate) -> list[ET.Element]:
    """Return a vertical line from the point's second number to its third."""
    at = x(point[0])
    return [_element("line", x1=at, x2=at, y1=y(point[1]), y2=y(point[2]), stroke=SOFT, stroke_width=3.0)]


def _step(dashes: str) -> Form:
    """Return a horizontal line from the point's first number to its third, at the height of its second."""

    def draw(point: tuple[float, ...], x: Coordinate, y: Coordinate) -> list[ET.Element]:
        at = y(point[1])
        line = _element("line", x1=x(point[0]), x2=x(point[2]), y1=at, y2=at, stroke=INK, stroke_width=1.5)
        if dashes:
            line.set("stroke-dasharray", dashes)
        return [line]

    return draw


FORMS: dict[str, Form] = {
    "due": _column(PAPER, INK, 0.4),
    "done": _column(SOFT, INK, 0.22),
    "low": _column(INK, INK, 0.32),
    "middle": _column("#b4bac0", INK, 0.32),
    "top": _column(PAPER, INK, 0.32),
    "before": _path("M-5 4 L0 -5 L5 4 Z", PAPER),
    "during": _disc(PAPER, 6.0),
    "after": _disc(INK, 2.8),
    "worse": _path("M-4.5 -4.5 L4.5 4.5 M-4.5 4.5 L4.5 -4.5"),
    "same": _path("M-4 0 L4 0"),
    "span": _span,
    "limit": _step("6 4"),
    "end": _step(""),
    "asked": _path("M-7 0 L7 0"),
    "set": _disc(INK, 3.0),
}
"""The drawing of each kind of mark; marks of one plot differ in form or in darkness."""

_COLUMNS = ("due", "done", "low", "middle", "top")
