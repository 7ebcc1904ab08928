"""A private sound server without hardware: what is played comes back on the microphone. For benchmarks on Linux."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

TRIES = 5
"""Starts to try; a fresh server fails now and then on a busy machine."""

PLAIN = "rate=16000 channels=1 format=s16le"
"""A device that needs no conversion."""

ANSWER = 10
"""Seconds a helper of the server may take to answer."""


class NoPulseError(Exception):
    """There is no sound server here; the message says what to install."""


@contextlib.contextmanager
def pulse_server(spk: str = PLAIN, mic: str = PLAIN) -> Iterator[dict[str, str]]:
    """Run a sound server with a sink "spk", whose monitor is the microphone, and a sink "mic", each of this kind.

    Yields the environment for child processes that are to use it (PortAudio reaches it through ALSA). Silence is fed
    into both sinks, for a monitor that idles gives no frames. Raises NoPulseError.
    """
    for program in ("pulseaudio", "pactl", "pacat"):
        if shutil.which(program) is None:
            raise NoPulseError(
                f"{program} is missing: sudo apt install pulseaudio pulseaudio-utils libasound2-plugins libportaudio2"
            )
    problem = ""
    for _ in range(TRIES):
        with contextlib.ExitStack() as stack:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="pulse")))
            try:
                env = _start(folder, stack, spk, mic)
            except (subprocess.SubprocessError, OSError) as error:
                problem = str(error)
                continue
            yield env
            return
    raise NoPulseError(f"the sound server did not start in {TRIES} tries: {problem}")


def without_pulse(env: dict[str, str], devices: str) -> dict[str, str]:
    """Return `env` with ALSA showing these devices alone, in its own words, instead of the sound server.

    PortAudio stops the process by an assertion where the rest of ALSA's settings is missing, so that stays.
    """
    settings = Path("/usr/share/alsa/alsa.conf").read_text("utf-8")
    first, _, rest = settings.partition("@hooks [")
    rest = rest.partition("# load card-specific")[2]  # without what reads further files, and finds the sound server
    file = Path(env["XDG_RUNTIME_DIR"]) / "alsa.conf"
    file.write_text(f"{first}\n# {rest}\n{devices}\n", "utf-8")
    return env | {"ALSA_CONFIG_PATH": str(file)}


def _start(folder: Path, stack: contextlib.ExitStack, spk: str, mic: str) -> dict[str, str]:
    folder.chmod(0o700)
    for name in ("pulse", "state", "home"):
        (folder / name).mkdir(mode=0o700)
    socket = folder / "pulse" / "native"
    (folder / "default.pa").write_text(
        f"load-module module-native-protocol-unix auth-anonymous=1 socket={socket}\n"
        f"load-module module-null-sink sink_name=spk {spk}\n"
        f"load-module module-null-sink sink_name=mic {mic}\n"
    )
    (folder / "home" / ".asoundrc").write_text("pcm.!default { type pulse }\nctl.!default { type pulse }\n")
    env = {
        **os.environ,
        "XDG_RUNTIME_DIR": str(folder),
        "PULSE_RUNTIME_PATH": str(folder / "pulse"),
        "PULSE_STATE_PATH": str(folder / "state"),
        "HOME": str(folder / "home"),
        "PULSE_SERVER": f"unix:{socket}",
    }
    start_server(env, stack)
    # A real microphone is never perfectly silent, and the coach takes one that is for lost: feed a whisper of noise.
    noise = folder / "noise.raw"
    noise.write_bytes(np.random.default_rng(1).integers(-6, 7, 16_000 * 60).astype("<i2").tobytes())
    for name in ("spk", "mic"):
        feed_noise(name, env, stack)
    return env


def start_server(env: dict[str, str], stack: contextlib.ExitStack) -> None:
    """Start the server of `env` and wait until it answers; its end is left to `stack`."""
    folder = Path(env["XDG_RUNTIME_DIR"])
    server = ["pulseaudio", "-n", "-F", str(folder / "default.pa"), "--daemonize=no", "--exit-idle-time=-1"]
    _child([*server, "--disallow-exit", "--realtime=no", "--high-priority=no"], env, stack)
    for attempt in range(50):
        asked = subprocess.run(["pactl", "info"], env=env, check=False, capture_output=True, timeout=ANSWER)
        if asked.returncode == 0:
            break
        if attempt == 49:
            raise OSError("no answer on its socket")
        subprocess.run(["sleep", "0.1"], check=True)
    for what in ("set-default-sink spk", "set-default-source spk.monitor"):
        subprocess.run(["pactl", *what.split()], env=env, check=True, capture_output=True, timeout=ANSWER)


def feed_noise(name: str, env: dict[str, str], stack: contextlib.ExitStack) -> None:
    """Play a whisper of noise on the sink `name`, as long as both last."""
    noise = Path(env["XDG_RUNTIME_DIR"]) / "noise.raw"
    feed = "pacat --raw --rate=16000 --channels=1 --latency-msec=50"
    _child(["sh", "-c", f"while cat '{noise}'; do :; done | exec {feed} --device={name}"], env, stack)


def _child(command: list[str], env: dict[str, str], stack: contextlib.ExitStack) -> None:
    child = subprocess.Popen(
        command, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )

    def end() -> None:
        child.terminate()
        try:
            child.wait(ANSWER)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()

    stack.callback(end)
