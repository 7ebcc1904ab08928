"""How long does it take to have a program's whole wording ready, and how does it begin, beside plain scripts?

    python tests/bench/render_time.py [PROGRAM ...]      (all shipped programs if none is named)

"before it" is the silence before the first audible sample: by so much a plain script's cue is late, and by how much
differs from text to text. "sound" counts the files with any sound, whole or not. "loudness" is the range over the
clips. Nothing here fails on a figure.
"""

from __future__ import annotations

import argparse
import ctypes
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from coach import program_files
from coach.ports import Block
from coach.session.plan import plan
from coach.session.repertoire import repertoire
from coach.tempo.units import RATE
from coach.voice import shape
from coach.voice.cache import ClipVoice
from coach.voice.pack import halt_words, load_pack
from coach.voice.render import Renderer
from coach.words.phrases import Speech, VoicePack, sentence

HEAD = f"{'':32}{'texts':>6}{'sound':>8}{'seconds':>9}{'CPU':>7}{'before it, ms':>18}{'loudness, dB':>15}"
PLAIN_TEXTS = 60
"""Texts the plain scripts are timed on; that is enough to see what they do."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("programs", nargs="*", help="program files or ids of shipped ones")
    parser.add_argument("--child", nargs=3, metavar=("WAY", "PROGRAM", "FOLDER"), help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        way, program, folder = args.child
        WAYS.get(way, partial(coach, pack_of(program).speech))(wording(program), Path(folder))
        return
    programs = args.programs or sorted(program_files.shipped())
    print("\nthe coach: two engine processes, checked, trimmed, evened (cold); kept clips (warm)")
    print(HEAD)
    for program in programs:
        with tempfile.TemporaryDirectory() as folder:
            for way in ("cold", "warm"):
                run(f"{program}, {way}", way, program, Path(folder), len(wording(program)))
    print(f"\nplain scripts, the first {PLAIN_TEXTS} texts of {programs[0]}")
    print(HEAD)
    for way, label in (
        ("queued", "one engine, all queued, one run"),
        ("one_run_each", "one engine, one run a text"),
        ("process_each", "a new process a text"),
    ):
        with tempfile.TemporaryDirectory() as folder:
            run(label, way, programs[0], Path(folder), min(PLAIN_TEXTS, len(wording(programs[0]))))
    print("\nseconds and CPU seconds of a whole process: its start, imports and the reading of the program included\n")


def run(label: str, way: str, program: str, folder: Path, texts: int) -> None:
    began, used = time.perf_counter(), os.times()
    subprocess.run(
        [sys.executable, __file__, "--child", way, program, str(folder)], check=True, stdout=subprocess.DEVNULL
    )
    seconds, after = time.perf_counter() - began, os.times()
    cpu = after.children_user + after.children_system - used.children_user - used.children_system
    sounds = [sound for sound in map(read, folder.rglob("*.wav")) if len(sound) and np.abs(sound).max() > 0.01]
    before = [1000 * np.argmax(np.abs(sound) >= shape.AUDIBLE * np.abs(sound).max()) / RATE for sound in sounds]
    loud = [20 * np.log10(shape.loudness(sound)) for sound in sounds]
    print(
        f"{label:32}{texts:>6}{len(sounds):>8}{seconds:>9.2f}{cpu:>7.2f}"
        f"{np.median(before):>9.1f} to {max(before):<5.1f}{min(loud):>7.1f} to {max(loud):.1f}"
    )


def wording(name: str) -> list[str]:
    """Return every sentence of a first session of the program, in the order in which they are prepared."""
    program = program_files.open_program(name, lambda language: halt_words(load_pack(language)))
    pack = load_pack(program.language)
    today = plan(program, (), date(2027, 1, 11))
    return list(dict.fromkeys(sentence(pack, said) for said in repertoire(today)))


def read(path: Path) -> Block:
    import soundfile
    import soxr

    try:
        sound, rate = soundfile.read(path, dtype="float32")
    except soundfile.LibsndfileError:
        return np.zeros(0, np.float32)
    return np.asarray(soxr.resample(sound, rate, RATE) if len(sound) else sound, np.float32)


def pack_of(name: str) -> VoicePack:
    return load_pack(program_files.open_program(name, lambda language: halt_words(load_pack(language))).language)


def coach(speech: Speech, texts: list[str], folder: Path) -> None:
    voice = ClipVoice(folder, Renderer(speech.voice, speech.rate))
    voice.prepare(texts)
    voice.clip(texts[0])


def plain_engine() -> Any:
    import espeakng_loader

    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path())
    import pyttsx3

    return pyttsx3.init()


def queued(texts: Iterable[str], folder: Path) -> None:
    engine = plain_engine()
    engine.setProperty("rate", 160)
    for number, text in enumerate(texts):
        engine.save_to_file(text, str(folder / f"{number}.wav"))
    engine.runAndWait()


def one_run_each(texts: Iterable[str], folder: Path) -> None:
    engine = plain_engine()
    engine.setProperty("rate", 160)
    for number, text in enumerate(texts):
        engine.save_to_file(text, str(folder / f"{number}.wav"))
        engine.runAndWait()


def process_each(texts: list[str], folder: Path) -> None:
    here = Path(__file__).resolve().parent
    code = "import sys; sys.path.insert(0, sys.argv[1]); import render_time, pathlib; "
    code += "render_time.one_run_each([sys.argv[2]], pathlib.Path(sys.argv[3]))"
    for number, text in enumerate(texts):
        (folder / str(number)).mkdir()
        subprocess.run([sys.executable, "-c", code, str(here), text, str(folder / str(number))], check=True)


def first(way: Callable[[list[str], Path], None]) -> Callable[[list[str], Path], None]:
    return lambda texts, folder: way(texts[:PLAIN_TEXTS], folder)


WAYS: dict[str, Callable[[list[str], Path], None]] = {
    "queued": first(queued),
    "one_run_each": first(one_run_each),
    "process_each": first(process_each),
}

if __name__ == "__main__":
    main()
