"""Does the real stream work on devices of every kind, and else say what is wrong? On a private PulseAudio.

    python tests/bench/device_kinds.py [--only u8,...] [--ticks 10]

A row a kind. The coach's stream plays a tick a second and hears it back; then a synthetic person says "stop".
"arrives": how like what came back is to the tick that was sent (1.00: the same), p50. "off, ms": how far the ticks came
from equal distances. "lost": reads without sound. "lines": what C code wrote to the error output. "plainly": what
comes of one stream at 16 kHz, mono, opened as a plain script does. Nothing here fails on a figure.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from pulse import ANSWER, PLAIN, NoPulseError, feed_noise, pulse_server, without_pulse

Env = dict[str, str]

LONGEST = 60
"""Seconds that one row may take."""

LEAD = 2
"""Seconds before the first tick: the stream has begun by then."""

ALIKE = 0.5
"""Least correlation with the sent tick that counts as a tick; noise reaches 0.2 at most."""

WORD_FOR = 4
"""Seconds to wait for the word."""


@dataclass(frozen=True)
class Kind:
    """A kind of device."""

    name: str
    spk: str = PLAIN
    modules: tuple[str, ...] = ()
    """Loaded beside it."""
    alsa: str | None = None
    """Devices in ALSA's words, instead of the sound server's."""
    rate: int = 0
    """The only one that is not refused; 0: any. It is refused before the sound library, which would convert."""
    channels: int = 0
    """Likewise."""
    says_into: str = "spk"
    """Sink whose monitor is the microphone."""
    before: Callable[[Env], None] = lambda _: None
    """What happens between choosing the device and opening it."""
    device: str = ""


def pactl(env: Env, *words: str) -> None:
    subprocess.run(["pactl", *words], env=env, check=False, capture_output=True, timeout=ANSWER)


def server(env: Env, what: signal.Signals) -> None:
    os.kill(int((Path(env["PULSE_RUNTIME_PATH"]) / "pid").read_text()), what)


PULSE = "type pulse"
KINDS: dict[str, Kind] = {
    "plain": Kind("16 kHz, mono, 16 bit"),
    "u8": Kind("16 kHz, mono, 8 bit", "rate=16000 channels=1 format=u8"),
    "8k": Kind("8 kHz, mono", "rate=8000 channels=1 format=s16le"),
    "44k": Kind("44.1 kHz, stereo", "rate=44100 channels=2 format=s16le"),
    "48k": Kind("48 kHz, stereo", "rate=48000 channels=2 format=s16le"),
    "96k": Kind("96 kHz, stereo, 24 bit", "rate=96000 channels=2 format=s24le"),
    "float": Kind("48 kHz, stereo, float", "rate=48000 channels=2 format=float32le"),
    "surround": Kind("48 kHz, six channels", "rate=48000 channels=6 format=s16le"),
    "44k_only": Kind("refuses all but 44.1 kHz", "rate=44100 channels=1 format=s16le", rate=44_100),
    "48k_only": Kind("refuses all but 48 kHz", "rate=48000 channels=1 format=s16le", rate=48_000),
    "8k_only": Kind("refuses all but 8 kHz", "rate=8000 channels=1 format=s16le", rate=8_000),
    "stereo_only": Kind("refuses mono, 48 kHz only", "rate=48000 channels=2 format=s16le", rate=48_000, channels=2),
    "six_only": Kind("refuses all but six channels", "rate=16000 channels=6 format=s16le", channels=6),
    "remapped": Kind(
        "microphone is the right channel of two",
        "rate=48000 channels=2 format=s16le",
        ("module-remap-source source_name=right master=spk.monitor master_channel_map=front-right channel_map=mono",),
    ),
    "apart": Kind(
        "microphone 8 kHz, speaker 48 kHz, apart",
        "rate=48000 channels=2 format=s16le",
        ("module-null-sink sink_name=far rate=8000 channels=1",),
        says_into="far",
    ),
    "no_mic": Kind("no microphone", alsa=f"pcm.!default {{ type asym playback.pcm {{ {PULSE} }} }}"),
    "no_speaker": Kind("no speaker", alsa=f"pcm.!default {{ type asym capture.pcm {{ {PULSE} }} }}"),
    "nothing": Kind("no device at all", alsa=""),
    "no_clock": Kind("device that waits for no clock", alsa="pcm.!default { type null }"),
    "server_away": Kind("sound server away", alsa='pcm.!default { type pulse server "unix:/nowhere" }'),
    "unknown": Kind("a name that nothing has", device="bluetooth"),
    "vanished": Kind(
        "both gone between choosing and opening", before=lambda env: pactl(env, "unload-module", "module-null-sink")
    ),
    "stands": Kind("sound server stands still before opening", before=lambda env: server(env, signal.SIGSTOP)),
}
"""Id to what it is."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default=",".join(KINDS), help="ids of kinds, with commas")
    parser.add_argument("--ticks", type=int, default=10, help="ticks a row (default 10)")
    parser.add_argument("--child", nargs=2, metavar=("KIND", "HOME"), help=argparse.SUPPRESS)
    parser.add_argument("--plain", metavar="KIND", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        _child(KINDS[args.child[0]], Path(args.child[1]), args.ticks)
        return 0
    if args.plain:
        _plain(KINDS[args.plain])
        return 0
    from in_the_room import furnish_home
    from soundfile import write

    from coach.tempo.units import RATE

    with tempfile.TemporaryDirectory() as folder:
        stop = Path(folder) / "stop.wav"
        furnished = furnish_home(Path(folder) / "home")
        write(stop, np.concatenate([np.zeros(RATE // 5, np.float32), furnished.said["stop"]]), RATE)
        heads = f"{'arrives':>8}{'off, ms':>9}{'ticks':>7}{'lost':>6}{'word':>6}{'lines':>7}"
        print(f"{'device':42}{heads}  how, or what is said", flush=True)
        for name in args.only.split(","):
            try:
                print(_row(name, args, Path(folder) / "home", stop), flush=True)
            except NoPulseError as error:
                print(f"device_kinds: not measured, {error}")
                return 0
    return 0


def _row(name: str, args: argparse.Namespace, home: Path, stop: Path) -> str:
    kind = KINDS[name]
    with pulse_server(kind.spk) as env, contextlib.ExitStack() as stack:
        for module in kind.modules:
            pactl(env, "load-module", *module.split())
        if kind.says_into != "spk":
            feed_noise(kind.says_into, env, stack)
            pactl(env, "set-default-source", f"{kind.says_into}.monitor")
        if any("remap-source" in module for module in kind.modules):
            pactl(env, "set-default-source", "right")
        theirs = env if kind.alsa is None else without_pulse(env, kind.alsa)
        found = _run(["--child", name, str(home), "--ticks", str(args.ticks)], kind, theirs, stop)
        server(env, signal.SIGCONT)
        plain = _run(["--plain", name], kind, theirs, stop)["how"]
        server(env, signal.SIGCONT)
    arrives = f"{found['arrives']:.2f}" if "arrives" in found else "-"
    off = f"{found['off']:.2f}" if "off" in found else "-"
    word = str(found.get("word", "-"))
    return (
        f"{kind.name:42}{arrives:>8}{off:>9}{found.get('ticks', '-'):>7}{found.get('lost', '-'):>6}{word:>6}"
        f"{found['lines']:>7}  {found['how']}; plainly: {plain}"
    )


def _run(what: list[str], kind: Kind, env: Env, stop: Path) -> dict[str, Any]:
    """Run a child on the device; return what it found, with how many lines came on its error output."""
    found: dict[str, Any] = {"lines": 0}
    with tempfile.TemporaryFile() as errors:
        child = subprocess.Popen(
            [sys.executable, __file__, *what], env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors,
            text=True,
        )  # fmt: skip
        assert child.stdin is not None
        assert child.stdout is not None
        watchdog = threading.Timer(LONGEST, child.kill)
        watchdog.start()
        try:
            for line in child.stdout:
                told = json.loads(line)
                if told.pop("chosen", False):
                    kind.before(env)
                    child.stdin.write("\n")
                    child.stdin.flush()
                elif told.pop("listens", False):
                    subprocess.run(["paplay", "-d", kind.says_into, str(stop)], env=env, check=False, timeout=ANSWER)
                found |= told
            child.wait(LONGEST)
        finally:
            watchdog.cancel()
            child.kill()
            child.wait()
        errors.seek(0)
        lines = [line for line in errors.read().decode(errors="replace").splitlines() if line.strip()]
        found["lines"] = len(lines)
        found.setdefault("how", f"nothing, ended after {LONGEST} s" if child.returncode < 0 else f"died: {lines[-1:]}")
    return found


def _refuse(kind: Kind) -> None:
    """Let the sound library refuse what this kind of device would refuse if PulseAudio did not convert."""
    import sounddevice

    class Refusing(sounddevice.Stream):  # type: ignore[misc]
        def __init__(self, **wanted: Any) -> None:
            if kind.rate and wanted["samplerate"] != kind.rate:
                raise sounddevice.PortAudioError("Invalid sample rate")
            channels = wanted["channels"]
            if kind.channels and {channels} - {kind.channels, (kind.channels, kind.channels)}:
                raise sounddevice.PortAudioError("Invalid number of channels")
            super().__init__(**wanted)

    sounddevice.Stream = Refusing
    if kind.rate or kind.channels:
        listed = sounddevice.query_devices

        def as_it_is(*one: Any) -> Any:
            if one:
                return listed(*one)
            own = {"default_samplerate": float(kind.rate)} if kind.rate else {}
            most = kind.channels or 1
            return [{**each, **own, "max_input_channels": most, "max_output_channels": most} for each in listed()]

        sounddevice.query_devices = as_it_is


def _child(kind: Kind, home: Path, ticks: int) -> None:
    """Play ticks and listen, then listen for the word; print the findings as lines of JSON."""
    from in_the_room import furnish_home

    from coach.audio.echo import Canceller
    from coach.audio.mixer import Layer, Mixer
    from coach.audio.sounds import tick
    from coach.audio.stream import Stream, sleepless_clock
    from coach.engine import within
    from coach.errors import CoachError
    from coach.ports import Captured
    from coach.tempo.units import RATE, to_samples

    def tell(**what: object) -> None:
        print(json.dumps(what), flush=True)

    mixer, canceller, lost = Mixer(), Canceller(), 0
    taken: list[Captured] = []
    for number in range(ticks):
        mixer.place(tick(), (LEAD + number) * RATE, layer=Layer.TICK)
    ears = furnish_home(home).ears()
    ears.open(frozenset())

    def listen_until(at: int) -> set[str]:
        nonlocal lost
        words: set[str] = set()
        empty = 0
        while (taken[-1].at if taken else 0) < at and empty < 15:
            captured: Captured | None = stream.read(0.8)
            if captured is None:
                empty, lost = empty + 1, lost + 1
                continue
            empty = 0
            taken.append(captured)
            words |= {hearing.word for hearing in ears.feed(canceller.process(captured))}
        return words

    try:
        _refuse(kind)
        stream = Stream(kind.device or None, clock=sleepless_clock, within=within)
        tell(chosen=True)
        sys.stdin.readline()
        stream.open(mixer.render)
        end = (LEAD + ticks + 1) * RATE
        listen_until(end)
        how = f"{stream.own_rate / 1000:g} kHz"
        if not taken:
            tell(how=f"{how}, but no sound comes")
            return
        tell(listens=True)
        word = "yes" if "stop" in listen_until(end + to_samples(WORD_FOR)) else "no"
        heard = np.concatenate([one.mic for one in taken if one.at < end])
        stream.close()
    except CoachError as error:
        tell(how=str(error))
        return
    tell(**_measured(heard, ticks), lost=lost, word=word, how=how)


def _measured(heard: np.ndarray, ticks: int) -> dict[str, Any]:
    """Return how many ticks were heard, how alike they are, and their greatest displacement."""
    from stream_beat import find_beats

    from coach.audio.sounds import tick
    from coach.tempo.units import RATE

    size = len(tick())
    beats = np.array([at for at in find_beats(heard) if _alike(heard[at : at + size], tick()) > ALIKE], dtype=int)
    found: dict[str, Any] = {"ticks": f"{len(beats)}/{ticks}"}
    if len(beats) >= max(2, ticks // 2):
        gaps = (np.diff(beats) + RATE // 2) % RATE - RATE // 2  # a tick that was lost leaves its second free
        alike = [_alike(heard[at : at + size], tick()) for at in beats]
        found |= {"arrives": float(np.median(alike)), "off": float(np.abs(gaps).max()) / RATE * 1000}
    return found


def _alike(one: np.ndarray, other: np.ndarray) -> float:
    other = other[: len(one)]
    return float(np.dot(one, other) / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-12))


def _plain(kind: Kind) -> None:
    """Open the device as the first lines of the library's manual do, and print the result."""
    try:
        _refuse(kind)
        import sounddevice

        print(json.dumps({"chosen": True}), flush=True)
        sys.stdin.readline()
        with sounddevice.Stream(samplerate=16_000, channels=1, dtype="float32") as stream:
            heard, _ = stream.read(16_000)
        print(json.dumps({"how": "sound" if np.ptp(heard) else "silence"}), flush=True)
    except Exception as error:  # noqa: BLE001  whatever a plain script would die of
        print(json.dumps({"how": f"{type(error).__name__}, {str(error)[:60]}"}), flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
