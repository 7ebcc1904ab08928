"""How exact is the beat of the real stream, beside plain scripts with a loop and a deadline?

    python tests/bench/stream_beat.py [--seconds 60]

All play a tick a second on a private PulseAudio; a recorder on the sink's monitor hears them. The error of a beat is
its distance from the straight line through all beats, in the sound server's clock. Nothing here fails on a figure.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from pulse import NoPulseError, pulse_server

from coach.audio.sounds import tick
from coach.tempo.units import BLOCK, RATE, to_samples

WAYS = {"stream": "the coach's stream", "write": "loop, deadline, write()", "play": "loop, deadline, play()"}
"""The ways to play, by what they are called in the table."""

LEAD = 2
"""Seconds before the first tick: the stream has begun by then."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=int, default=60, help="how many beats (default 60)")
    parser.add_argument("--child", choices=tuple(WAYS), help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        {"stream": _stream, "write": _write, "play": _play}[args.child](args.seconds)
        return 0
    try:
        with pulse_server() as env:
            rows = [(way, *_measure(way, args.seconds, env)) for way in WAYS]
    except NoPulseError as error:
        print(f"stream_beat: not measured, {error}")
        return 0
    print(f"beat error in ms over {args.seconds} beats of 1 s, PulseAudio null sink")
    print(f"{'':26}{'heard':>7}{'p50':>9}{'p99':>9}{'max':>9}   remarks")
    for way, beats, errors, remarks in rows:
        p50, p99, most = (f"{value:9.3f}" for value in (*np.percentile(errors, [50, 99]), errors.max()))
        print(f"{WAYS[way]:26}{len(beats):>7}{p50}{p99}{most}   {remarks}")
    ours, best = np.percentile(rows[0][2], 99), min(np.percentile(errors, 99) for _, _, errors, _ in rows[1:])
    print(f"p99: the better of the plain scripts is {best / max(ours, 500 / RATE):.0f} times as far off the beat")
    return 0


def _measure(way: str, seconds: int, env: dict[str, str]) -> tuple[np.ndarray, np.ndarray, str]:
    with tempfile.TemporaryFile() as sound:
        recorder = subprocess.Popen(
            ["parec", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=1", "--device=spk.monitor"],
            env=env,
            stdout=sound,
        )
        try:
            child = [sys.executable, __file__, "--child", way, "--seconds", str(seconds)]
            said = subprocess.run(child, env=env, check=True, capture_output=True, text=True, timeout=2 * seconds + 60)
        finally:
            recorder.terminate()
            recorder.wait(10)
        sound.seek(0)
        heard = np.frombuffer(sound.read(), dtype="<i2").astype(np.float64) / 32768
    beats = find_beats(heard)
    number = np.rint((beats - beats[0]) / RATE)  # a beat that was swallowed leaves its number free
    line = np.polyfit(number, beats, 1)
    return beats, np.abs(beats - np.polyval(line, number)) / RATE * 1000, said.stdout.strip()


def find_beats(heard: np.ndarray) -> np.ndarray:
    """Return the samples at which ticks begin: peaks of the correlation with the tick, half a second apart or more."""
    size = 1 << (len(heard) + len(tick())).bit_length()
    match = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(tick(), size)), size)[: len(heard)]
    found = []
    threshold = match.max() / 2
    at = 0
    while at < len(match):
        above = np.flatnonzero(match[at:] > threshold)
        if not len(above):
            break
        first = at + above[0]
        found.append(first + int(match[first : first + len(tick())].argmax()))
        at = first + to_samples(0.5)
    return np.array(found)


def _stream(seconds: int) -> None:
    from coach.audio.mixer import Layer, Mixer
    from coach.audio.stream import Stream

    stream, mixer = Stream(), Mixer()
    for beat in range(seconds):
        mixer.place(tick(), (LEAD + beat) * RATE, layer=Layer.TICK)
    stream.open(mixer.render)
    at = silent = 0
    while at < (LEAD + seconds + 1) * RATE:
        captured = stream.read(1.0)
        if captured is None:
            silent += 1
        else:
            at = captured.at + BLOCK
    stream.close()
    print(f"xruns {stream.xruns}, seconds without a frame {silent}")


def _write(seconds: int) -> None:
    """Play as a careful plain script does: one open stream, a blocking write at each second."""
    import sounddevice

    with sounddevice.OutputStream(samplerate=RATE, channels=1, dtype="float32", latency="low") as stream:
        start = time.monotonic() + LEAD
        for beat in range(seconds):
            time.sleep(max(0.0, start + beat - time.monotonic()))
            stream.write(tick().reshape(-1, 1))
        time.sleep(1.0)


def _play(seconds: int) -> None:
    """Play as the first lines of the library's manual do."""
    import sounddevice

    start = time.monotonic() + LEAD
    for beat in range(seconds):
        time.sleep(max(0.0, start + beat - time.monotonic()))
        sounddevice.play(tick(), RATE)
    sounddevice.wait()
    time.sleep(1.0)


if __name__ == "__main__":
    raise SystemExit(main())
