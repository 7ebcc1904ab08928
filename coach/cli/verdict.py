"""Say in plain words what a forecast means."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table

from coach.cli.labels import Labels
from coach.ears.cohort import cohort
from coach.ears.enrolment import RECOMMENDED_TAKES, Enrolment
from coach.ears.features import EMBEDDING_STEP
from coach.ears.forecast import Forecast, WordForecast
from coach.ears.teaching import reworded
from coach.tempo.units import RATE, to_seconds
from coach.words.phrases import VoicePack


def show_forecast(foretold: Forecast, enrolment: Enrolment, pack: VoicePack, person: str, console: Console) -> None:
    """Print how well each word should be heard, what is missing, the verdict, and the evidence for it."""
    labels = Labels(pack.screens)
    table = Table(title=labels("enrol_title"), title_justify="left")
    for key in ("enrol_word", "enrol_takes", "enrol_heard", "enrol_expected", "enrol_false", "enrol_nearest"):
        table.add_column(labels(key))
    for word in foretold.words:
        table.add_row(
            wording(pack, word.word),
            str(word.takes),
            str(word.heard),
            f"{100 * word.expected:.0f}",
            an_hour(word.false_an_hour),
            wording(pack, word.rival),
        )
    console.print(table)
    for line in verdict_lines(foretold, enrolment, pack, person):
        say(console, line)


def verdict_lines(foretold: Forecast, enrolment: Enrolment, pack: VoicePack, person: str) -> Iterator[str]:
    """Yield what is missing, how well halts should be heard, the verdict with its reasons, and the evidence for it."""
    labels = Labels(pack.screens)
    by_key = enrolment.missing(tuple(pack.replies))
    if by_key:
        yield labels("enrol_missing", words=listed(pack, by_key))
    for word in foretold.words:
        if word.word in enrolment.halts:
            yield _in_words(word, pack, labels)
    yield labels("forecast_room", n=f"{foretold.clearance:.0f}")
    yield labels(f"verdict_{foretold.verdict}")
    for reason in foretold.because:
        words = listed(pack, reason.words)
        yield "- " + labels(f"forecast_{reason.key}", words=words, n=RECOMMENDED_TAKES, person=person)
    minutes = to_seconds(len(cohort().frames) * EMBEDDING_STEP, RATE) / 60
    yield labels("forecast_basis", minutes=f"{minutes:.0f}")


def tell_verdict(enrolment: Enrolment, pack: VoicePack, person: str, console: Console) -> None:
    """Print the verdict stored in an enrolment, before a session."""
    labels = Labels(pack.screens)
    key = f"verdict_{enrolment.verdict or 'unknown'}"
    say(console, labels(key, person=person))
    changed = reworded(enrolment, pack.replies)
    if changed:
        words = ", ".join(enrolment.wordings[word] for word in changed)
        say(console, "! " + labels("enrol_reworded", words=words, now=listed(pack, changed), person=person))


def an_hour(rate: float) -> str:
    """Return a rate of false alarms per hour, as precisely as it is known.

    >>> an_hour(0.3), an_hour(2.6)
    ('< 1', '3')
    """
    return "< 1" if rate < 1 else f"{rate:.0f}"


def wording(pack: VoicePack, word: str) -> str:
    """Return the word that is said for a reply id."""
    return pack.replies[word].word if word in pack.replies else word


def listed(pack: VoicePack, words: Sequence[str]) -> str:
    """Return the words that are said for several reply ids, separated by commas."""
    return ", ".join(wording(pack, word) for word in words)


def say(console: Console, text: str) -> None:
    """Print one line unchanged: not wrapped, no markup."""
    console.print(text, markup=False, highlight=False, soft_wrap=True)


def _in_words(word: WordForecast, pack: VoicePack, labels: Labels) -> str:
    return labels(
        "forecast_word",
        word=wording(pack, word.word),
        heard=word.heard,
        takes=word.takes,
        n=f"{100 * word.expected:.0f}",
        false=an_hour(word.false_an_hour),
    )
