"""`coach rehearse`: lay a program out in time, for a person who answers at once and is never in pain."""

from __future__ import annotations

import argparse
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

from rich.console import Console
from rich.table import Table

from coach.audio.mixer import Layer, Mixer, beat
from coach.audio.wavs import WavWriter
from coach.cli.labels import clock, shown
from coach.cli.session_setup import Prepared, coach_voice, prepare, render_all, sentences
from coach.logbook.store import Home
from coach.loglines.kinds import SetBegun, SetEnded
from coach.session.agenda import Sounding
from coach.session.ideal import Rehearsal, rehearse
from coach.tempo.units import BLOCK, to_seconds
from coach.voice.cache import ClipVoice
from coach.words.phrases import Phrase, sentence


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE", help="program file, or a shipped one's id")
    parser.add_argument("--wav", type=Path, metavar="OUT.wav", help="write what the coach says and counts")
    parser.add_argument("--table", action="store_true", help="list every cue with its time")


def run(args: argparse.Namespace) -> int:
    """Print how long each set takes, and every cue if asked; write the sound if asked."""
    console = Console(markup=False)
    prepared = prepare(args.file)
    voice = coach_voice(Home(args.home), prepared.pack)
    render_all(voice, sentences(prepared), console, "Preparing the voice")

    def length(said: Phrase) -> int:
        return len(voice.clip(sentence(prepared.pack, said)))

    laid_out = rehearse(prepared.today, length)
    console.print(f"{prepared.program.title}: {clock(to_seconds(laid_out.end))} min with prompt answers.", markup=False)
    console.print(sets_table(prepared, laid_out))
    for note in crowded(prepared, laid_out):
        console.print(f"! {note}", markup=False, soft_wrap=True)
    if args.table:
        for sounding in laid_out.soundings:
            console.print(_line(prepared, sounding), markup=False, highlight=False, soft_wrap=True)
    if args.wav:
        write_wav(args.wav, voice, prepared, laid_out)
        console.print(f"{args.wav}: {clock(to_seconds(laid_out.end))} min of sound.", markup=False, soft_wrap=True)
    return 0


def sets_table(prepared: Prepared, laid_out: Rehearsal) -> Table:
    """Return one row per set: its start, its length and its time under tension."""
    names = {planned.exercise.id: planned.exercise.name for planned in prepared.today.exercises}
    table = Table("Begins", "Exercise", "Set", "Of", "Takes", "Under tension", box=None, pad_edge=False)
    begun: dict[int, tuple[int, SetBegun]] = {}
    totals: dict[str, float] = defaultdict(float)
    for record in laid_out.records:
        if isinstance(record.fact, SetBegun):
            begun[record.fact.set_id] = record.at, record.fact
        elif isinstance(record.fact, SetEnded):
            ended = record.fact
            at, opened = begun[ended.set_id]
            tension = ended.tension_s or 0.0
            totals[ended.exercise] += tension
            table.add_row(
                clock(to_seconds(at)),
                shown(names[ended.exercise]),
                f"{ended.set} {ended.side}".strip(),
                f"{ended.counted} {opened.unit}",
                f"{to_seconds(record.at - at):.0f} s",
                f"{tension:.0f} s",
            )
    for exercise, seconds in totals.items():
        table.add_row("", shown(names[exercise]), "all", "", "", f"{seconds:.0f} s", style="bold")
    return table


def crowded(prepared: Prepared, laid_out: Rehearsal) -> list[str]:
    """Report the counts that are still being said when the next cue begins."""
    spoken = [sounding for sounding in laid_out.soundings if sounding.phrase is not None]
    found = {}
    for sounding, after in pairwise(spoken):
        if sounding.phrase and sounding.at + sounding.length > after.at:
            over = to_seconds(sounding.at + sounding.length - after.at)
            found[sentence(prepared.pack, sounding.phrase)] = over
    return [f'"{text}" runs {over:.1f} s into the next cue; give its phase more time.' for text, over in found.items()]


def _line(prepared: Prepared, sounding: Sounding) -> str:
    at, length = to_seconds(sounding.at), to_seconds(sounding.length)
    what = sentence(prepared.pack, sounding.phrase) if sounding.phrase else f"({sounding.sound})"
    return f"{at:9.3f} s  {length:6.3f} s  {what}"


def write_wav(path: Path, voice: ClipVoice, prepared: Prepared, laid_out: Rehearsal) -> None:
    """Write the rehearsal's sound, whole or not at all."""
    mixer = Mixer()
    for sounding in laid_out.soundings:
        if sounding.phrase is not None:
            clip, layer = voice.clip(sentence(prepared.pack, sounding.phrase)), Layer.SPEECH
        else:
            clip, layer = beat(sounding.sound, sounding.length)
        mixer.place(clip, sounding.at, layer=layer, on_beat=True)
    with WavWriter(path) as writer:
        for at in range(0, laid_out.end, BLOCK):
            writer.write(mixer.render(at, BLOCK))
