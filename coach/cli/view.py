"""Draw a session while it runs: a calm screen in a terminal, one line per change anywhere else."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from time import monotonic
from typing import Self

from rich.cells import cell_len, set_cell_size
from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.text import Text

from coach.cli.labels import Labels, clock, shown
from coach.cli.printed_session import summary
from coach.cli.signals import told
from coach.cli.snapshot_words import (
    NOTICES,
    alarm,
    alarm_head,
    alarm_text,
    beside_count,
    heard_word,
    set_of,
    side_of,
    time_left,
)
from coach.snapshot import Snapshot
from coach.tempo.units import RATE, to_seconds
from coach.words.replies import KEYS

__all__ = ["Screen", "View", "changes", "summary"]

TEN = next(key for key, reply in KEYS.items() if reply == "n10")

TERMINAL_GONE = (OSError, SystemExit)
"""Errors of writing to a terminal that is gone; on a closed pipe, rich raises SystemExit."""

REDRAW = 0.1
"""Shortest time between two drawings, in seconds."""

WIDEST = 96
"""Most columns used; longer lines are hard to read from afar."""

CAPTION_LINES = 3
"""Lines reserved for what is said, so that nothing below it jumps."""

SAY_LINES = 2
"""Lines reserved for the words that may be said now."""

_DIGITS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
}
"""Digits of five rows, to be read across a room; a dot is two columns wide."""

_ROWS = 5


@dataclass(frozen=True, slots=True)
class _Signs:
    """Symbols that the terminal can show."""

    full: str
    empty: str
    rule: str
    dot: str
    block: str


_PLAIN = _Signs(full="#", empty=".", rule="-", dot="|", block="#")
_LINES = _Signs(full="━", empty="┄", rule="─", dot="·", block="█")


class View:
    """Shows snapshots of a session; a context manager. On a terminal it redraws, elsewhere it prints changes."""

    def __init__(
        self, screens: Mapping[str, str], console: Console | None = None, now: Callable[[], float] = monotonic
    ) -> None:
        self._labels = Labels(screens)
        self._console = console or Console(markup=False)
        self._now = now
        self._drawn = float("-inf")
        self._last: Snapshot | None = None
        self._live: Live | None = None
        self._open = ExitStack()

    def __enter__(self) -> Self:
        if self._console.is_terminal:
            self._live = Live(console=self._console, auto_refresh=False, transient=True, vertical_overflow="crop")
            self._open.enter_context(told().screen(self._live.stop, self._live.start))
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()
        with suppress(*TERMINAL_GONE):
            if self._live is not None:
                if self._last is not None:
                    self._draw(self._last)
                self._live.stop()
        self._live = None

    def show(self, snapshot: Snapshot) -> None:
        """Show a moment. Cheap to call at every block: a terminal is redrawn at most ten times a second.

        If the terminal is gone, the session goes on and nothing is shown.
        """
        with suppress(*TERMINAL_GONE):
            if self._live is None:
                for text in changes(self._last, snapshot, self._labels):
                    self._console.print(text, soft_wrap=True)
            elif self._now() - self._drawn >= REDRAW:
                self._draw(snapshot)
        self._last = snapshot

    def _draw(self, snapshot: Snapshot) -> None:
        if self._live is not None:
            self._live.update(Screen(snapshot, self._labels), refresh=True)
            self._drawn = self._now()


@dataclass(frozen=True, slots=True)
class Screen:
    """The screen of one moment, as wide as there is room; colour alone never carries a meaning."""

    snapshot: Snapshot
    labels: Labels

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        now, labels = self.snapshot, self.labels
        width = min(options.max_width, WIDEST)
        signs = _PLAIN if options.ascii_only else _LINES
        yield _ends(shown(now.title), shown(now.person), width, "bold")
        yield Text(signs.rule * width, style="dim")
        yield _ends(labels.word("state", now.state), time_left(now, labels), width, "bold cyan")
        yield _fitted(Text(shown(now.exercise), style="bold"), width)
        yield _fitted(Text(f"  {signs.dot}  ".join(_place(now, labels))), width)
        kind = alarm(now)
        notice = f"! {alarm_head(kind, labels)}. {alarm_text(kind, labels)}" if kind in NOTICES else ""
        yield _fitted(Text(notice, style="bold"), width)
        stands_still = kind and not notice
        yield from _alarm(kind, labels, width, console) if stands_still else _count(now, labels, width, signs)
        yield _progress(now, width, signs)
        yield from _caption(now, labels, width, console)
        yield from _listening(now, labels, width, signs, console)
        if now.keys:
            keys = f"  {signs.dot}  ".join(f"{key}: {does}" for key, does in _without_numbers(now.keys))
            yield _fitted(Text(f"{labels('keys')}  {keys}", style="dim"), width)


def changes(before: Snapshot | None, now: Snapshot, labels: Labels) -> list[Text]:
    """Return a line for each thing that a listener would notice between two moments: state, count, words."""
    old = before or Snapshot(at=0, state="")
    found: list[tuple[str, str]] = []
    if now.state != old.state:
        found.append((labels("state"), labels.word("state", now.state)))
    if (now.exercise, now.set, now.side) != (old.exercise, old.set, old.side) and now.exercise:
        found.append((labels("exercise"), ", ".join((shown(now.exercise), *_place(now, labels)))))
    if now.said and now.said != old.said:
        found.append((labels("now"), shown(now.said)))
    told = now.unit != "seconds" or now.count % 5 == 0  # a hold's seconds would flood a log
    if (now.count, now.set, now.exercise) != (old.count, old.set, old.exercise) and now.count and told:
        found.append((labels("count"), f"{now.count} {beside_count(now, labels)}"))
    if (now.heard_at, now.heard_ear) != (old.heard_at, old.heard_ear) and now.heard_ear:
        found.append((labels("heard"), _heard(now, labels)))
    kind = alarm(now)
    if kind and kind != alarm(old):
        found.append(("!", f"{alarm_head(kind, labels)}. {alarm_text(kind, labels)}"))
    column = max(len(labels(key)) for key in ("state", "exercise", "now", "count", "heard"))
    at = clock(to_seconds(now.at, RATE))
    return [Text(f"{at:>6}  {what:<{column}}  {text}") for what, text in found]


def _count(snapshot: Snapshot, labels: Labels, width: int, signs: _Signs) -> list[Text]:
    """Return rows with the number that matters now: the count, or the seconds of rest left."""
    if snapshot.rest_left is not None:
        number, beside = max(0, round(snapshot.rest_left)), labels("seconds_of_rest")
    elif snapshot.count:
        number, beside = snapshot.count, beside_count(snapshot, labels)
    else:
        return [Text() for _ in range(_ROWS)]
    rows = []
    for row in range(_ROWS):
        dots = " ".join(_DIGITS[digit][row] for digit in str(number))
        rows.append(Text("  " + "".join(2 * (signs.block if dot == "#" else " ") for dot in dots), style="bold"))
    rows[-1].append(f"   {beside}")
    return [_fitted(text, width) for text in rows]


def _progress(snapshot: Snapshot, width: int, signs: _Signs) -> Text:
    if not snapshot.phase:
        return Text()
    seconds = f"{max(0.0, snapshot.phase_left):4.1f} s"
    name = shown(snapshot.phase)
    room = max(4, min(40, width - len(name) - len(seconds) - 6))
    full = round(room * min(1.0, max(0.0, snapshot.phase_done)))
    bar = signs.full * full + signs.empty * (room - full)
    return _fitted(Text(f"  {name}  {bar}  {seconds}"), width)


def _alarm(kind: str, labels: Labels, width: int, console: Console) -> list[Text]:
    """Return an alarm and what to do, in place of the number: a band that stands out even without colour."""
    head = _fitted(Text(f" !! {alarm_head(kind, labels)}".ljust(width), style="bold reverse"), width)
    text = _rows(Text(alarm_text(kind, labels), style="bold"), width - 4, _ROWS - 2, console)
    return [head, *(_fitted(Text(" !  ").append(row), width) for row in text), Text()]


def _caption(snapshot: Snapshot, labels: Labels, width: int, console: Console) -> list[Text]:
    said = _rows(Text(shown(snapshot.said), style="bold"), width - 2, CAPTION_LINES, console)
    return [Text(labels("now"), style="dim"), *(_fitted(Text("  ").append(row), width) for row in said)]


def _listening(snapshot: Snapshot, labels: Labels, width: int, signs: _Signs, console: Console) -> list[Text]:
    full = round(8 * min(1.0, max(0.0, snapshot.mic)))
    names = [labels(key) for key in ("listening_for", "heard", "microphone")]
    column = max(len(name) for name in names) + 2
    say = Text(", ".join(shown(word) for word in snapshot.may_say))
    values = [
        *_rows(say, width - column, SAY_LINES, console),
        Text(_heard(snapshot, labels)),
        Text(signs.full * full + signs.empty * (8 - full)),
    ]
    heads = [names[0], *[""] * (SAY_LINES - 1), *names[1:]]
    return [
        _fitted(Text.assemble((head.ljust(column), "dim"), value), width)
        for head, value in zip(heads, values, strict=True)
    ]


def _rows(text: Text, width: int, rows: int, console: Console) -> list[Text]:
    """Return `text` wrapped into a fixed number of rows; three dots stand for what does not fit."""
    wrapped = list(text.wrap(console, max(10, width)))
    if len(wrapped) > rows:
        wrapped = wrapped[:rows]
        wrapped[-1] = Text(f"{wrapped[-1].plain} ...", style=text.style)
        wrapped[-1] = _fitted(wrapped[-1], max(10, width))
    return [*wrapped, *(Text() for _ in range(rows - len(wrapped)))]


def _without_numbers(keys: tuple[tuple[str, str], ...]) -> list[tuple[str, str]]:
    """Return the keys, with the number keys as one: a line has no room for eleven."""
    digits = [(key, does) for key, does in keys if key.isdigit()]
    others = [one for one in keys if one not in digits and not (digits and one[0] == TEN)]
    return (
        [*others, (f"{digits[0][0]}-{digits[-1][0]}, {TEN}", f"{digits[0][1]} - {dict(keys)[TEN]}")]
        if digits
        else others
    )


def _heard(now: Snapshot, labels: Labels) -> str:
    return f"{heard_word(now, labels)} ({labels.word('ear', now.heard_ear)})" if now.heard_ear else ""


def _place(now: Snapshot, labels: Labels) -> list[str]:
    return [part for part in (set_of(now, labels), side_of(now, labels)) if part]


def _ends(left: str, right: str, width: int, left_style: str) -> Text:
    """Return a line with `left` at its left end and `right` at its right; `left` is cut if both do not fit."""
    room = max(0, width - cell_len(right) - 2)
    kept = left if cell_len(left) <= room else set_cell_size(left, max(0, room - 3)) + "..."
    gap = max(1, width - cell_len(kept) - cell_len(right))
    return _fitted(Text.assemble((kept, left_style), " " * gap, right), width)


def _fitted(text: Text, width: int) -> Text:
    """Return `text` on one line of at most `width` columns; a cut is marked."""
    text.no_wrap = True
    if text.cell_len > width:
        text.truncate(max(0, width - 3))
        text.append("...")
    return text
