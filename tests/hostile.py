"""The doors through which foreign files come in, each as a function of bytes, and the content of hostile files.

A door may refuse with a CoachError. Any other error is a defect, and so are control characters on a terminal, and
markup that came from a file. Used by tests/test_hostile.py and tests/bench/fuzz.py.
"""

from __future__ import annotations

import asyncio
import io
import json
import random
import re
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from tempfile import mkdtemp
from urllib.parse import unquote

import numpy as np
from in_the_room import SCRIPT, SMALL
from rich.console import Console
from spellings import SECRET, TICKET, around, without

from coach.audio.patient import read_script
from coach.audio.wavs import read_sound
from coach.cli.clinic_view import shown_lines
from coach.cli.labels import Labels
from coach.cli.log import session_json
from coach.cli.printed_session import PrintedSession
from coach.cli.review import _terminal
from coach.ears.enrolment import FILE, Enrolment, load_enrolment
from coach.ears.features import EMBEDDING_WIDTH
from coach.ears.learnt import SIZE, Learnt
from coach.ears.spectrum import BANDS
from coach.ears.takes import Take
from coach.errors import RecordError, SpeechError
from coach.history import past
from coach.logbook import SessionRecord
from coach.logbook.assembled import assemble
from coach.logbook.cached import Cache, _row, _seal
from coach.logbook.decisions import decided
from coach.logbook.lines import read_lines, seal
from coach.logbook.reading import held
from coach.logbook.store import Home, Person
from coach.loglines.changes import Decided, ProgramVersion
from coach.page.server import Gate, Relay, Ticket
from coach.program.load import load
from coach.program.model import Program
from coach.program_files import _text
from coach.resources import folder as folder_of
from coach.review.clinic import look
from coach.review.clinic_page import page as clinic_page
from coach.review.columns import open_clinic
from coach.review.content import content
from coach.review.fhir import bundle
from coach.review.handout import handout
from coach.review.handout_page import page as handout_page
from coach.review.measures import review
from coach.review.page import page
from coach.review.table import rows
from coach.session.plan import plan
from coach.session.proposals import proposals
from coach.session.repertoire import repertoire
from coach.testing.histories import SimulatedCourse, write_history
from coach.voice.pack import _Node, _numbers, _phrases, _replies, _speech, halt_words, load_pack
from coach.voice.render import clean
from coach.words.phrases import VoicePack, sentence

VALUES = (
    "1e400", "-1", "0", "-0.0", "9" * 25, "9" * 5000, "1" + "0" * 400, ".inf", ".nan", "NaN", "Infinity", "-Infinity",
    "true", "null", "~", '""', '" "', '"../../../etc/passwd"', '"\\u0000"', '"\\u001b[2J\\u001b]0;x\\u0007"',
    '"[red]x[/red]"', '"[/]"', '"<script>alert(1)</script>"', '"\\" onload=\\"x"', '"a\\u202eb"', '"\\ud800"',
    '"' + "x" * 5000 + '"', '"0001-01-01T00:00:00+14:00"', '"9999-12-31T23:59:59-14:00"', '"2027-02-30"', "2027-02-30",
    "0000-00-00", "9999-12-31", "{", "[", "]", "[" * 3000, "{a: " * 300, "- " * 500, "&a [*a]", "*a",
    "!!python/object/apply:os.system [x]", "<<: *a", "1:30:00", "0x1F", "1_000", "CON", "\u0661\u0662", "\u00b2",
    "\u00bd", "0-0", "9-1", "1e3 s", "1e-320 s", "? a", "%YAML 9.9", "---", '"\\UFFFFFFFF"', "'", '"', "\t", "\x00",
    "\x85", "\u2028", "\ufeff", "\u202e", "[]", "{}", "[null]", '{"a": {}}', "1.5", "00012", "'{0.__class__}'",
    "'{n:>999999999}'", "'{'", "'}'",
)  # fmt: skip
"""Hostile values: numbers, dates, names, markup, YAML and JSON that no honest file has."""

SCALAR = re.compile(r'"(?:[^"\\\n]|\\.)*"|[^\s:,{}\[\]"]+')


@dataclass(frozen=True)
class Door:
    """One way in."""

    take: Callable[[bytes], None]
    """Raises CoachError for a file that it refuses."""
    seeds: Callable[[], list[bytes]]
    """Honest files."""
    text: bool = True
    """Whether `worse` may replace values."""


def worse(data: bytes, chance: random.Random) -> bytes:
    """Return a file with one or a few values replaced by hostile ones, doubled, or removed."""
    text = data.decode("utf-8", "replace")
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        spans = [found.span() for found in SCALAR.finditer(text[:20_000])]
        if not spans:
            return chance.choice(VALUES).encode("utf-8", "replace")
        begin, end = chance.choice(spans)
        other = text[slice(*chance.choice(spans))]
        put = chance.choice((chance.choice(VALUES), chance.choice(VALUES), other, "", text[begin:end] * 2))
        text = text[:begin] + put + text[end:]
    return text.encode("utf-8", "surrogatepass")


TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""Characters that change the order in which the following text is shown."""


SESSION = "20270111t093000z-1"


class _Tags(HTMLParser):
    """Finds markup that no page of ours holds."""

    def __init__(self) -> None:
        super().__init__()
        self.strange: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        bad = [name for name, value in attrs if name.startswith("on") or "javascript:" in (value or "")]
        self.strange += [tag] if tag in {"script", "iframe", "object", "img", "link", "base", "form"} else bad


def check_page(html: str) -> None:
    """Assert that a page holds no markup that came from a file."""
    tags = _Tags()
    tags.feed(html)
    assert tags.strange == [], tags.strange
    assert not TURNS.search(html)


def check_terminal(text: str) -> None:
    """Assert that `text` holds no control characters."""
    assert all(sign.isprintable() or sign == "\n" for sign in text), ascii(text)


def _printed(*things: object) -> None:
    out = io.StringIO()
    Console(file=out, width=100, highlight=False, markup=False).print(*things)
    check_terminal(out.getvalue())


@cache
def _labels() -> Labels:
    return Labels(_english().screens)


@cache
def _folder() -> Path:
    """Return a folder for doors that read files; in memory if the system has such a place."""
    shm = Path("/dev/shm")
    return Path(mkdtemp(prefix="hostile-", dir=shm if shm.is_dir() else None))


def program(data: bytes) -> None:
    """A program file, and everything made from it."""
    pack = _english()
    read = load(_text(data, Path("hostile.yaml")), "hostile.yaml", halt_words(pack))
    today = plan(read, (), date(2027, 1, 11))
    for said in repertoire(today):
        words = sentence(pack, said)
        assert not TURNS.search(words), ascii(words)
        with suppress(SpeechError):  # nothing to say in it
            check_terminal(clean(words))
    sheet = handout(read, {}, pack, _labels())
    check_page(handout_page(sheet))


@cache
def _english() -> VoicePack:
    return load_pack("en")


def pack(data: bytes) -> None:
    """A file of a voice pack; the first byte selects it."""
    path = _folder() / "phrases.yaml"
    path.write_bytes(data[1:])
    (_phrases, _replies, _numbers, _speech)[data[0] % 4 if data else 0](_Node.read(path))


def script(data: bytes) -> None:
    """A patient script."""
    path = _folder() / "script.yaml"
    path.write_bytes(data)
    read_script(path)


def _sealed(data: bytes) -> bytes:
    """Return a file unchanged or sealed, by its length, since a forger would seal it."""
    return data if len(data) % 2 else sealed(data)


def sealed(data: bytes) -> bytes:
    """Return a session's file with the checksums that its lines should have."""
    chain, lines = SESSION, []
    for line in data.decode("utf-8", "surrogateescape").split("\n"):
        body, found = re.subn(r',"chain":"[^"]*"\}$', "}", line)
        text, chain = seal(body, chain) if found else (line, chain)
        lines.append(text)
    return "\n".join(lines).encode("utf-8", "surrogateescape")


def _record(data: bytes) -> tuple[SessionRecord, list[str]]:
    reading = read_lines(_sealed(data).decode("utf-8", "surrogateescape"), SESSION)
    return assemble(reading.lines), [str(problem.text) for problem in reading.problems]


def session(data: bytes) -> None:
    """A session's file, read, planned from, and shown on the terminal and as JSON."""
    _shown(*_record(data))


def _shown(record: SessionRecord, problems: list[str]) -> None:
    past([record], record.program)
    json.dumps(session_json(record, []), ensure_ascii=False)
    _printed(PrintedSession(record, _labels(), problems, UTC))


def reviewed(data: bytes) -> None:
    """A session's file in a review: page, table, FHIR, and the plan of the next session."""
    _review(_record(data)[0])


def _review(record: SessionRecord) -> None:
    known = _program()
    found = review(
        "mira", (("a.jsonl", record),), programs={record.digest: known}, now=datetime(2027, 1, 12, 20, tzinfo=UTC)
    )
    said = content(found, Person("mira", "", Path("mira")), _labels(), "en")
    check_page(page(said, "contents", "figures"))
    _printed(*_terminal(said))
    rows(found).encode("utf-8")
    for full in (False, True):
        told = bundle(found, made=datetime(2027, 1, 12, 20, tzinfo=UTC), full=full)
        json.dumps(told, ensure_ascii=False, allow_nan=False).encode("utf-8")
    plan(known, past([record], record.program), date(2027, 1, 13))


@cache
def _program() -> Program:
    return load(SMALL, "small.yaml")


def row(data: bytes) -> None:
    """The cached row of a session, sealed by the forger."""
    path = _folder() / "rows"
    key = "0" * 64
    path.write_bytes(key.encode() + b" " + _seal(key, data) + b" " + data)
    taken = Cache(path).taken(key, path.with_name("absent"))
    if taken is None or taken.session is None:
        return
    plan(_program(), past([taken.session], taken.session.brief.program), date(2027, 1, 13))
    with suppress(RecordError):  # it is none, and the file that says so is not there
        _shown(taken.session.record, [])
        _review(taken.session.record)


def _rows() -> list[bytes]:
    made = (_row("0" * 64, held(sealed(data), SESSION)).partition(b" ")[2] for data in _sessions())
    return [row for row in made if row]


def clinic(data: bytes) -> None:
    """A session's file in a clinic's home, beside an honest one."""
    root = _folder() / "clinic"
    for name, text in (("mira", _sealed(data)), ("otto", _sessions()[0])):
        sessions = root / "people" / name / "sessions"
        sessions.mkdir(parents=True, exist_ok=True)
        (sessions / f"{SESSION}.jsonl").write_bytes(text)
    opened = open_clinic(root)
    try:
        found = look(opened, date(2027, 1, 20))
        check_page(clinic_page(found, _labels(), "en", proven=True))
        _printed(*(shown_lines(str(one)) for one in found.left_out))
    finally:
        opened.engine.close()


def commands(data: bytes) -> None:
    """A session's file in a home that every command reads."""
    from coach.cli import main

    root = _folder() / "commands"
    folder = root / "people" / "mira" / "sessions"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{SESSION}.jsonl").write_bytes(_sealed(data))
    for words in (
        ["log"], ["log", "mira", "--json"], ["log", "mira", "--session", "last"], ["today", "mira"], ["review", "mira"],
        ["decide", "mira", "heel_lowering", "stay", "--by", "Kim"],
    ):  # fmt: skip
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            status = main([*words, "--home", str(root)])
        assert status in {0, 2}
        check_terminal(out.getvalue() if "--json" not in words else "")
        check_terminal(err.getvalue())


def decisions(data: bytes) -> None:
    """A file of decisions, read and planned from."""
    reading = read_lines(data.decode("utf-8", "surrogateescape"), "mira")
    made = decided(reading).decisions
    plan(_program(), (), date(2027, 1, 13), made)
    proposals(_program(), (), made, date(2027, 1, 13))


def enrolment(data: bytes) -> None:
    """The file of taught words, as raw bytes."""
    folder = _folder() / "mira" / "takes"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_bytes(data)
    read = load_enrolment(folder)
    read.matcher()
    read.report()


def arrays(data: bytes) -> None:
    """The file of taught words, a valid archive with wrong arrays."""
    chance = random.Random(data)
    held = dict(_arrays())
    for _ in range(chance.randint(1, 3)):
        name = chance.choice(sorted(held))
        held[name] = _other(held[name], chance)
        if chance.random() < 0.1:
            del held[name]
    out = io.BytesIO()
    np.savez(out, **held)  # type: ignore[arg-type]  # to the stubs every name might be allow_pickle
    enrolment(out.getvalue())


def _other(array: np.ndarray, chance: random.Random) -> np.ndarray:
    ways: tuple[Callable[[], np.ndarray], ...] = (
        lambda: array.astype(np.str_),
        lambda: array[:0] if array.ndim else array,
        lambda: np.array(chance.choice((-1, 0, 2**62, 3))),
        lambda: np.full(array.shape, chance.choice((np.nan, np.inf, -1e30, -1.0, 1e30))),
        lambda: np.stack([array, array]),
        lambda: array.astype(np.int8) if array.dtype.kind in "iu" else array,
        lambda: np.array([], dtype=array.dtype),
        lambda: array.astype(np.complex128) if array.dtype.kind in "iuf" else np.array("\x1b[2J"),
        lambda: np.concatenate([array, array]) if array.ndim else array,
        lambda: np.concatenate([array] * 400) if array.ndim else array,
        lambda: array.astype("M8[s]") if array.dtype.kind in "iu" else array,
        lambda: np.array(["../../etc"] * max(1, array.size)),
    )
    return chance.choice(ways)()


@cache
def _arrays() -> dict[str, np.ndarray]:
    with np.load(io.BytesIO(_enrolled()[0])) as held:
        return {name: held[name] for name in held.files}


@cache
def _enrolled() -> list[bytes]:
    rng = np.random.default_rng(1)

    def take() -> Take:
        return Take(
            rng.normal(size=(9, EMBEDDING_WIDTH)).astype(np.float32),
            np.arange(9, dtype=np.int32) * 1280,
            8000,
            -20.0,
            -60.0,
            rng.normal(-30.0, 9.0, (12, BANDS)).astype(np.float32),
        )

    nothing = Learnt(("ready", "stop"), np.zeros((SIZE + 1, 2), np.float32), np.array([8000, 8000]))
    takes = {"stop": (take(), take()), "ready": (take(),)}
    made = Enrolment(takes, "en", {"stop": "stop"}, "files", learnt=nothing)
    folder = _folder() / "seed"
    folder.mkdir(exist_ok=True)
    return [made.save(folder).read_bytes()]


def sound(data: bytes) -> None:
    """A recording."""
    path = _folder() / "sound.wav"
    path.write_bytes(data)
    read_sound(path, longest=60)


def _sounds() -> list[bytes]:
    import soundfile

    noise = np.random.default_rng(1).uniform(-0.5, 0.5, 400)
    found = []
    for kind, subtype, rate in (
        ("WAV", "PCM_16", 16_000),
        ("FLAC", "PCM_16", 48_000),
        ("WAV", "FLOAT", 8_000),
        ("WAV", "PCM_24", 22_050),
    ):
        out = io.BytesIO()
        soundfile.write(out, noise, rate, format=kind, subtype=subtype)
        found.append(out.getvalue())
    return found


def person(data: bytes) -> None:
    """A person's own file, with the name for the screen."""
    home = Home(_folder() / "home")
    folder = home.root / "people" / "mira"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "person.json").write_bytes(data)
    home.person("mira")


def ids(data: bytes) -> None:
    """A typed id; only a short plain word may become the name of a folder."""
    name = data.decode("utf-8", "replace")
    home = Home(_folder() / "ids")
    home.check_id(name)
    assert re.fullmatch(r"[a-z0-9_-]{1,40}\Z", name)


POSTS = [(b"POST", f"/{SECRET}/{name}".encode()) for name in ("do", "windows")]


def request(data: bytes) -> None:
    """A request to the page's server, with or without its secret: lines of method, target, host, origin; then a body.

    Without the exact address, from another origin, or for another host, nothing is shown and nothing is passed on.
    """
    lines = (data.split(b"\n", 4) + [b""] * 5)[:5]
    method, target, host, origin = lines[:4]
    raw, _, query = target.partition(b"?")
    passed: list[object] = []
    relay = Relay()
    relay.tell = passed.append  # type: ignore[method-assign, assignment]
    relay.streams[1] = 1
    gate = Gate(relay, SECRET, Ticket(TICKET, 60), 4711, {})
    headers = [(b"host", host)] + ([(b"origin", origin)] if origin else [])
    scope = {"type": "http", "http_version": "1.1", "method": method.decode("latin-1"), "scheme": "http",
             "path": unquote(raw.decode("latin-1")), "query_string": query, "raw_path": raw, "headers": headers,
             "root_path": ""}  # fmt: skip
    sent: list[dict[str, object]] = []
    bodies = iter([{"type": "http.request", "body": lines[4], "more_body": False}])

    async def receive() -> dict[str, object]:
        return next(bodies, {"type": "http.disconnect"})

    async def send(message: object) -> None:
        assert isinstance(message, dict)
        sent.append(message)

    if raw == f"/{SECRET}/screens".encode():  # this stream lasts as long as its reader
        return
    asyncio.run(gate(scope, receive, send))
    status = sent[0]["status"]
    may = host == b"127.0.0.1:4711" and origin in (b"", b"http://127.0.0.1:4711")
    exact = (method, target) if may else ()
    assert status in (200, 204, 303, 400, 403, 404, 413)
    assert status != 303 or exact == (b"GET", b"/open/" + TICKET.encode())
    assert status != 200 or (exact and target.startswith(f"/{SECRET}/".encode()) and method == b"GET")
    assert status not in (204, 400, 413) or (origin and exact in POSTS)
    assert not passed or status in (204, 303)


@cache
def _lived() -> Home:
    """Return a home with some eventful sessions and a decision, to take honest files from."""
    home = Home(_folder() / "lived", now=lambda: datetime(2027, 1, 20, 9, tzinfo=UTC))
    busy = SimulatedCourse(days=4, adherence=1.0, halts=1.0, trouble=1.0, pain=(4, 2))
    write_history(home, "mira", _program(), busy, seed=2)
    home.decide("mira", ProgramVersion("small", "5f" * 32, "", "Kim", "2027-01-11"))
    home.decide("mira", Decided("small", "5f" * 32, "heel_lowering", "down", "one", "one", "Kim Rivers", "tired"))
    return home


def _sessions() -> list[bytes]:
    return [path.read_bytes() for path in sorted(_lived().person("mira").sessions.iterdir())]


def _voices() -> list[bytes]:
    folder = folder_of("voices") / "en"
    whole = [(folder / f"{name}.yaml").read_bytes() for name in ("phrases", "replies", "numbers", "speech")]
    return [bytes([number]) + text[:2000].rpartition(b"\n")[0] + b"\n" for number, text in enumerate(whole)]


def _requests() -> list[bytes]:
    press = '{"do":"press","key":" "}'
    asked = [("GET", f"/{SECRET}/", ""), ("GET", f"/{SECRET}/page.js", ""), ("GET", f"/open/{TICKET}", ""),
             ("POST", f"/{SECRET}/do", press), ("POST", f"/{SECRET}/windows", '{"stream":1,"n":8}'),
             ("POST", f"/{SECRET}/do", '{"do":"choose","serial":3,"id":"on","fields":{"note":"x"}}'),
             *(("POST", target, press) for target in (*without("do"), *around("do")))]  # fmt: skip
    return [f"{method}\n{path}\n127.0.0.1:4711\nhttp://127.0.0.1:4711\n{body}".encode() for method, path, body in asked]


DOORS = {
    "program": Door(program, lambda: [SMALL.encode()]),
    "pack": Door(pack, _voices),
    "script": Door(script, lambda: [SCRIPT.encode()]),
    "session": Door(session, _sessions),
    "review": Door(reviewed, _sessions),
    "row": Door(row, _rows),
    "clinic": Door(clinic, _sessions),
    "commands": Door(commands, _sessions),
    "decisions": Door(decisions, lambda: [_lived().person("mira").decisions.read_bytes()]),
    "enrolment": Door(enrolment, _enrolled, text=False),
    "arrays": Door(arrays, lambda: [b"4"], text=False),
    "sound": Door(sound, _sounds, text=False),
    "person": Door(person, lambda: [b'{"v": 1, "id": "mira", "name": "Mira"}']),
    "ids": Door(ids, lambda: [b"mira"]),
    "request": Door(request, _requests),
}
