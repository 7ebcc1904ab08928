"""How quick is the page: a press to silence, an event to the screen, and what does its server cost?

    python tests/bench/page.py [--halts 20] [--events 100]
    python tests/bench/page.py --halts 10 --windows 8 [--strangers 2000 [--again 0]]

A press to silence: `coach page` on a private PulseAudio, heard on the sink's monitor, from the press until the tone of
the lowering has given way to the first sound of the halt's own words; beside it a plain script that serves a button and
looks at it after each clip, until silence. An event to the screen: in headless Chromium, from the moment the
coach sends it until the frame is drawn in which it is to be read; beside it a page that asks twice a second. The cost:
processor time of the server while ten screens a second go out to one window, and what sending takes in the coach.
Nothing here fails on a figure.

With --windows halts are pressed in so many windows of one Chromium, the last first, from the event of the key on;
beside it a page whose windows take a stream each. With --strangers so many connections meanwhile stand at the port with
half a request; one that is closed comes back --again seconds later.
"""

from __future__ import annotations

import argparse
import http.client
import http.server
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Self
from urllib.parse import urlsplit

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "page"))

from crowded import press, strangers, stream_a_window, windows
from pulse import NoPulseError, pulse_server
from window import Window

from coach.page.host import Page
from coach.page.server import FILES, STATIC
from coach.tempo.units import RATE

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """\
format: 1
title: Long sets
language: en
written_by: {name: "", role: physical therapist, on: 2027-01-11, review_on: 2027-02-08}
within_reach: not needed
cautions: Rest when you like.
call: Call the clinic.
ask: {pain: each exercise, effort: never, reps: never}
limits: {pain: {carry_on_to: 3, ease_to: 5}, halts: 10, minutes: 120}
schedule: {every: 1 day}
exercises:
  - id: lowering
    name: Slow lowering
    why: It helps.
    sides: both together
    dose: {sets: 4, reps: 40, rest: 5 s, phases: {raise: 1 s, lower: 6 s}, guide: tone}
    levels:
      - {id: one, setup: Stand up., cue: Rise and lower.}
"""
STEPS = {
    "who": "person.sam",
    "new": "on",
    "today": "on",
    "cautions": "on",
    "teach": "keys",
    "check": "skip",
    "reach": "yes",
    "after": "done",
}
ANSWERS = {"checking": "r", "screening": "n", "screen_check": "y", "setup": "r", "waiting": "r", "halted": "b",
           "recovering": "r", "paused": "r", "confirming": "y", "asking": "2"}  # fmt: skip
ARRIVALS = 40
"""Presses timed only up to the coach: no sound, no waiting."""
QUIET = 0.003
"""RMS of 5 ms below which the speaker is silent: the tone is a hundred times as loud."""


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--halts", type=int, default=20, help="presses to silence (default 20)")
    parser.add_argument("--events", type=int, default=100, help="events to the screen (default 100)")
    parser.add_argument("--windows", type=int, default=0, help="press in so many windows of a browser")
    parser.add_argument("--strangers", type=int, default=0, help="connections with half a request")
    parser.add_argument("--again", type=float, default=5.0, help="seconds until a stranger comes back (default 5)")
    parser.add_argument("--child", choices=("plain",), help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        _plain_script()
        return 0
    if args.windows or args.strangers:
        _halts_in_windows(args)
        return 0
    size = sum((STATIC / name).stat().st_size for name in FILES.values())
    print(f"the page as it is loaded: {size / 1000:.1f} kB")
    _halts(args.halts)
    _events(args.events)
    _cost()
    return 0


# -- a press to silence -----------------------------------------------------------------------------------------------


def _halts_in_windows(args: argparse.Namespace) -> None:
    def heard(count: int, env: dict[str, str], recorder: Recorder) -> list[float]:
        return _coach(count, env, recorder, args)

    among = f"{args.windows} windows" if args.windows else "no browser"
    print(f"{args.halts} halts, {among}, {args.strangers} strangers that come back after {args.again:g} s; ms")
    try:
        with pulse_server() as env, quiet_room(env) as env:
            found = _heard(heard, args.halts, env) if args.halts else []
            print(f"  press to silence, coach page        {_spread(found)}", flush=True)
            print("    each:", *(round(each) for each in found))
    except NoPulseError as error:
        print(f"  press to silence: not measured, {error}")
    if args.windows:
        print(f"  press to arrival, one stream        {_spread(_arrivals(args))}", flush=True)
        print(f"  press to arrival, a stream a window {_spread(_arrivals(args, naive=True))}", flush=True)


def _arrivals(args: argparse.Namespace, *, naive: bool = False) -> list[float]:
    """Return the milliseconds from presses in windows until they arrive; of one that does not within 20 s, 20,000."""
    found = []
    with (
        stream_a_window() if naive else _our_page() as (address, arrived),
        windows(address, args.windows) as opened,
        strangers(address, args.strangers, args.again),
    ):
        for number in range(ARRIVALS):
            at = press(opened[-1 - number % len(opened)])
            found.append(1000 * (arrived() - at))
            if found[-1] > 10_000:
                break
    return found


@contextmanager
def _our_page() -> Iterator[tuple[str, Any]]:
    with Page({}) as page:
        page.open()
        page.send(moment(0))

        def arrived() -> float:
            until = time.monotonic() + 20
            while time.monotonic() < until and not page.presses():
                page.wait(0.02)
            return time.monotonic()

        yield page.address, arrived


def _halts(count: int) -> None:
    try:
        with pulse_server() as env, quiet_room(env) as env:
            rows = [("coach page", _heard(_coach, count, env)), ("plain script", _heard(_plain, count, env))]
    except NoPulseError as error:
        print(f"press to silence: not measured, {error}")
        return
    print(f"press to silence in ms, {count} presses, PulseAudio null sink, heard on its monitor")
    for name, found in rows:
        print(f"  {name:14}{len(found):>5}   {_spread(found)}")


@contextmanager
def quiet_room(env: dict[str, str]) -> Iterator[dict[str, str]]:
    """Give the microphone a room's own noise instead of what the speaker plays: a press is measured, not an echo."""
    with tempfile.TemporaryFile() as sound:
        noise = np.random.default_rng(1).normal(0, 30, 1200 * RATE)
        sound.write(noise.astype("<i2").tobytes())
        sound.seek(0)
        command = ["pacat", "--raw", f"--rate={RATE}", "--channels=1", "--device=mic"]
        player = subprocess.Popen(command, env=env, stdin=sound)
        try:
            yield {**env, "PULSE_SOURCE": "mic.monitor"}
        finally:
            player.terminate()
            player.wait()


def _heard(run: Any, count: int, env: dict[str, str]) -> list[float]:
    """Return the milliseconds from each press to the beginning of silence."""
    with Recorder(env) as recorder:
        return [1000 * seconds for seconds in run(count, env, recorder)]


class Recorder:
    """Hears the sink's monitor and knows when each sample was played, on this machine's clock."""

    def __init__(self, env: dict[str, str]) -> None:
        command = ["parec", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=1", "--device=spk.monitor",
                   "--latency-msec=5"]  # fmt: skip
        self._parec = subprocess.Popen(command, env=env, stdout=subprocess.PIPE)
        self._data = bytearray()
        self._earliest = float("inf")
        self._thread = threading.Thread(target=self._read, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        self._parec.terminate()
        self._thread.join(5)

    def _read(self) -> None:
        assert self._parec.stdout is not None
        handle = self._parec.stdout.fileno()
        while part := os.read(handle, 4096):
            now = time.monotonic()
            self._data += part
            # The least delayed stretch of all says when sample 0 was; anything later came late out of the pipe.
            self._earliest = min(self._earliest, now - len(self._data) / 2 / RATE)

    def level(self, at: float, seconds: float) -> float:
        """Return the RMS that is heard from `at` on; of what has not come yet, 0."""
        begin = max(0, round((at - self._earliest) * RATE))
        sound = np.frombuffer(bytes(self._data[2 * begin : 2 * (begin + round(seconds * RATE))]), "<i2") / 32768
        return float(np.sqrt(np.mean(sound**2))) if len(sound) else 0.0

    def begins(self, clip: np.ndarray, after: float) -> float:
        """Return when `clip` begins in the three seconds from `after` on: where it correlates best."""
        begin = max(0, round((after - self._earliest) * RATE))
        sound = np.frombuffer(bytes(self._data[2 * begin : 2 * (begin + 3 * RATE + len(clip))]), "<i2") / 32768
        return after + int(np.abs(np.correlate(sound, clip[:RATE], "valid")).argmax()) / RATE

    def quiet_after(self, at: float) -> float | None:
        """Return when silence of 150 ms begins after `at`; None if it was silent then already."""
        if self.level(at - 0.02, 0.02) < QUIET:
            return None
        step = 0.005
        for number in range(int(20 / step)):
            begin = at + number * step
            if self.level(begin, step) < QUIET and self.level(begin, 0.15) < QUIET:
                return begin
        return None


def _coach(count: int, env: dict[str, str], recorder: Recorder, among: argparse.Namespace | None = None) -> list[float]:
    """Halt a session of `coach page` this many times in mid-tone; return the seconds from each press to its effect."""
    among = among or argparse.Namespace(windows=0, strangers=0, again=0)
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "long.yaml"
        program.write_text(PROGRAM, "utf-8")
        command = [sys.executable, "-m", "coach", "page", str(program), "--no-browser", "--home", f"{folder}/home"]
        with (
            _served(command, env) as address,
            windows(address, among.windows) as opened,
            strangers(address, among.strangers, among.again),
        ):
            window = Window(address)
            pressed: list[float] = []
            answered: tuple[Any, ...] = ()
            here = 0  # halts of this session; the tenth would end it
            pressing = False
            for screen in window.screens():
                if screen["kind"] == "step":
                    if screen["serial"] not in answered and screen["id"] in STEPS:
                        answered = (screen["serial"],)
                        window.choose(screen, STEPS[screen["id"]], name="Sam")
                    here = 0
                    if screen["problem"]:
                        raise SystemExit(screen["problem"])
                    continue
                phase = screen["phase"] or {}
                pressing = pressing and screen["state"] == "working"  # a screen of before the press came after it
                if pressing:
                    continue
                if screen["state"] == "working" and phase.get("name") == "lower" and 0.25 < phase["done"] < 0.6:
                    if len(pressed) == count:
                        break
                    if here == 9:
                        window.press("f")
                        continue
                    here += 1
                    pressing = True
                    if opened:
                        pressed.append(press(opened[-1 - len(pressed) % len(opened)]))
                    else:
                        pressed.append(time.monotonic())
                        window.press(" ")
                    answered = ()
                elif (asked := (screen["state"], screen["said"])) != answered and screen["state"] in ANSWERS:
                    answered = asked
                    window.press(ANSWERS[screen["state"]], screen["serial"])
            time.sleep(4)
            home = Path(folder) / "home"
            _tell_arrivals(pressed, home)
            clip = _halts_own_words(home)
            return [recorder.begins(clip, at) - at for at in pressed]


def _tell_arrivals(pressed: list[float], home: Path) -> None:
    """Print how long each press took to the coach's record of it, in ms."""
    clock = time.time() - time.monotonic()
    lines = [json.loads(line) for file in sorted(home.glob("people/*/sessions/*.jsonl")) for line in file.open()]
    heard = [datetime.fromisoformat(line["t"]).timestamp() - clock for line in lines if line["line"] == "halted"]
    took = [min(each - at for each in heard if each > at - 0.01) for at in pressed]
    print("    to the record:", *(round(1000 * each) for each in took))


def _halts_own_words(home: Path) -> np.ndarray:
    from coach.cli.session_setup import coach_voice
    from coach.logbook.store import Home
    from coach.voice.pack import load_pack
    from coach.words.phrases import phrase, sentence

    pack = load_pack("en")
    voice, text = coach_voice(Home(home), pack), sentence(pack, phrase("halt_now"))
    voice.prepare([text])
    return voice.clip(text)


@contextmanager
def _served(command: list[str], env: dict[str, str]) -> Iterator[str]:
    process = subprocess.Popen(command, cwd=ROOT, env={**env, "PYTHONUNBUFFERED": "1", "COLUMNS": "400"},
                               stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)  # fmt: skip
    assert process.stdout is not None
    try:
        seen = []
        for line in process.stdout:
            seen.append(line)
            if found := re.search(r"http://\S+/", line):
                threading.Thread(target=lambda: list(process.stdout or ()), daemon=True).start()
                yield found[0]
                return
        raise SystemExit("".join(seen))
    finally:
        process.terminate()
        process.wait()


def _plain(count: int, env: dict[str, str], recorder: Recorder) -> list[float]:
    with _served([sys.executable, __file__, "--child", "plain"], env) as address:
        parts = urlsplit(address)
        pressed: list[float] = []
        while len(pressed) < count:
            time.sleep(0.3)
            if recorder.level(time.monotonic() - 0.1, 0.05) > QUIET:
                pressed.append(time.monotonic())
                connection = http.client.HTTPConnection(parts.netloc)
                connection.request("POST", "/")
                connection.getresponse().read()
                while recorder.quiet_after(pressed[-1]) is None and time.monotonic() < pressed[-1] + 20:
                    time.sleep(0.1)
        ends = [recorder.quiet_after(at) for at in pressed]
        return [end - at for at, end in zip(pressed, ends, strict=True) if end is not None]


def _plain_script() -> None:
    """Serve a button from a thread, play a clip, look at the button, and so on."""
    import sounddevice

    pressed = threading.Event()

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            pressed.set()
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    served = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=served.serve_forever, daemon=True).start()
    print(f"http://127.0.0.1:{served.server_address[1]}/", flush=True)
    clip = (0.2 * np.sin(2 * np.pi * 300 / RATE * np.arange(6 * RATE))).astype(np.float32)
    while True:
        sounddevice.play(clip, RATE)
        sounddevice.wait()
        if pressed.is_set():
            time.sleep(1.0)
            pressed.clear()


# -- an event to the screen -------------------------------------------------------------------------------------------

OBSERVE = """(id) => { window.drawn = {}; const node = document.getElementById(id);
  new MutationObserver(() => requestAnimationFrame(() => requestAnimationFrame(() => {
    const text = node.textContent;
    if (!(text in window.drawn)) window.drawn[text] = performance.timeOrigin + performance.now();
  }))).observe(node, {childList: true, characterData: true, subtree: true}); }"""


def _events(count: int) -> None:
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("event to the screen: not measured, no Chromium or playwright here")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-background-networking"]
        )
        rows = [("coach page", _ours(browser, count)), ("asks 2 a second", _polled(browser, count))]
        browser.close()
    print(f"event to the frame that shows it in ms, {count} events")
    for name, found in rows:
        print(f"  {name:14}{len(found):>5}   {_spread(found)}")


def moment(number: int) -> dict[str, Any]:
    """Return a moment of a session like any other."""
    words = dict.fromkeys(("now", "heard", "say", "microphone", "halt", "keys", "lost_head", "lost_text"), "words")
    return {
        "kind": "session", "serial": 1, "lang": "en", "title": "Steadier ankle", "person": "Sam", "state": "working",
        "state_words": "Working", "said": f"event {number}", "exercise": "Heels", "side": "", "place": "Set 1 of 2",
        "count": {"n": 1 + number % 12, "beside": "of 12 reps"}, "rest": None, "heard": None, "mic": 0.4, "alarm": None,
        "phase": {"name": "lower", "left": 2.0, "length": 4.0, "done": 0.5, "from": 1.0, "to": 0.0},
        "may_say": ["stop", "pause"], "time_left": "about 12 min left", "words": words | {"windows": ""},
        "keys": [{"key": " ", "name": "space", "does": "stop", "halts": True}],
    }  # fmt: skip


def _ours(browser: Any, count: int) -> list[float]:
    with Page({}) as page:
        page.open()
        page.send(moment(-1))
        window = browser.new_page(viewport={"width": 1366, "height": 768})
        window.goto(page.address)
        window.get_by_text("event -1", exact=True).wait_for()
        window.evaluate(OBSERVE, "said")
        sent = {}
        for number in range(count):
            sent[f"event {number}"] = 1000 * time.time()
            page.send(moment(number))
            page.wait(0.1)
            time.sleep(0.1)
        return _took(window, sent)


def _polled(browser: Any, count: int) -> list[float]:
    said = ["event -1"]

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            script = "setInterval(async () => {said.textContent = await (await fetch('now')).text()}, 500)"
            text = said[0] if self.path == "/now" else f"<p id=said></p><script>{script}</script>"
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, *_: object) -> None:
            pass

    served = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=served.serve_forever, daemon=True).start()
    window = browser.new_page()
    window.goto(f"http://127.0.0.1:{served.server_address[1]}/")
    window.evaluate(OBSERVE, "said")
    sent = {}
    for number in range(min(count, 30)):
        sent[f"event {number}"] = 1000 * time.time()
        said[0] = f"event {number}"
        time.sleep(0.73)
    served.shutdown()
    return _took(window, sent)


def _took(window: Any, sent: dict[str, float]) -> list[float]:
    time.sleep(0.5)
    drawn = window.evaluate("window.drawn")
    return [drawn[text] - at for text, at in sent.items() if text in drawn]


# -- the cost ---------------------------------------------------------------------------------------------------------


def _cost(seconds: float = 20.0) -> None:
    with Page({}) as page:
        page.open()
        page.send(moment(0))
        window = Window(page.address)
        threading.Thread(target=lambda: list(window.screens()), daemon=True).start()
        began, used = time.monotonic(), _used(page.server)
        calls, spent, number = 0, 0.0, 0
        while time.monotonic() - began < seconds:
            now = time.thread_time()
            if calls % 5 == 0:  # ten screens a second, fifty looks for a press
                number += 1
                page.send(moment(number))
            page.presses()
            spent += time.thread_time() - now
            calls += 1
            time.sleep(max(0.0, began + calls / 50 - time.monotonic()))
        took = time.monotonic() - began
        print(f"server: {100 * (_used(page.server) - used) / took:.1f} % of one core; "
              f"sending and looking in the coach: {100 * spent / took:.1f} %")  # fmt: skip


def _used(process: int) -> float:
    """Return the seconds of processor time that a process has used."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _spread(values: list[float]) -> str:
    if not values:
        return "nothing measured"
    p50, p95 = np.percentile(values, [50, 95])
    return f"p50 {p50:6.0f}   p95 {p95:6.0f}   max {max(values):6.0f}"


if __name__ == "__main__":
    sys.exit(main())
