from __future__ import annotations

import sys
from threading import Event

import numpy as np
import pytest
from fake_sounddevice import FakeSoundDevice, FakeStream, device
from talk import speechlike

from coach.audio.echo import Canceller
from coach.audio.mixer import Layer, Mixer
from coach.audio.sounds import tick
from coach.audio.stream import (
    ANEW,
    ELSEWHERE,
    FAILED_BLOCKS,
    GIVE_UP,
    Stream,
    devices,
)
from coach.engine import within
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE


@pytest.fixture
def sd(monkeypatch: pytest.MonkeyPatch) -> FakeSoundDevice:
    fake = FakeSoundDevice()
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setattr("coach.audio.stream._in_use", set())
    return fake


@pytest.fixture
def no_portaudio(monkeypatch: pytest.MonkeyPatch) -> None:
    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])


def drain(stream: Stream) -> list[Captured]:
    taken = []
    while (captured := stream.read(0)) is not None:
        taken.append(captured)
    return taken


def ramp(at: int, frames: int) -> Block:
    """Played sound whose samples hold their own frame number."""
    return (np.arange(at, at + frames) / 1e6).astype(np.float32)


@pytest.mark.usefixtures("no_portaudio")
def test_a_missing_portaudio_says_what_to_install() -> None:
    with pytest.raises(DeviceError, match="install the package libportaudio2"):
        Stream()
    with pytest.raises(DeviceError, match="install the package libportaudio2"):
        devices()


def test_no_device_at_all_is_one_sentence(sd: FakeSoundDevice) -> None:
    sd.all = []
    with pytest.raises(DeviceError, match="No microphone was found"):
        Stream()
    sd.all = [device("Mic", inputs=1)]
    with pytest.raises(DeviceError, match="No loudspeaker was found"):
        Stream()


@pytest.mark.parametrize(
    ("name", "names"),
    [
        (None, ("Built-in Microphone", "Built-in Speakers")),
        ("aria", ("Headset Aria (USB)", "Headset Aria (USB)")),
        ("desk", ("Built-in Microphone", "Desk Speakers")),
        ("microphone", ("Built-in Microphone", "Built-in Speakers")),
        ("aria | desk", ("Headset Aria (USB)", "Desk Speakers")),
    ],
)
@pytest.mark.usefixtures("sd")
def test_devices_are_chosen_by_a_part_of_their_names(name: str | None, names: tuple[str, str]) -> None:
    assert Stream(name).names == names


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("bluetooth", 'no sound device like "bluetooth"; there are: "Built-in Microphone", "Built-in Speakers"'),
        ("speakers", '"speakers" fits several devices: "Built-in Speakers", "Desk Speakers"'),
        ("desk|desk", 'no microphone like "desk"; there are: "Built-in Microphone", "Headset Aria'),
        ("aria|mic", 'no loudspeaker like "mic"'),
        ("", 'no sound device like ""'),
    ],
)
@pytest.mark.usefixtures("sd")
def test_a_name_that_does_not_fit_lists_the_candidates(name: str, says: str) -> None:
    with pytest.raises(DeviceError) as error:
        Stream(name)

    assert says in str(error.value)


def test_a_whole_name_goes_before_a_part_of_another(sd: FakeSoundDevice) -> None:
    sd.all.append(device("Desk Speakers (second)", outputs=2))

    assert Stream("desk speakers").names[1] == "Desk Speakers"


def test_frames_are_counted_and_played_and_heard_in_the_same_frames(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    heard = np.full((BLOCK, 1), 0.25, np.float32)

    played = [sd.streams[0].run(heard) for _ in range(3)]

    taken = drain(stream)
    assert [each.at for each in taken] == [0, BLOCK, 2 * BLOCK]
    np.testing.assert_array_equal(np.concatenate(played)[:, 0], ramp(0, 3 * BLOCK))
    for each, out in zip(taken, played, strict=True):
        np.testing.assert_array_equal(each.played, out[:, 0])
        np.testing.assert_array_equal(each.mic, heard[:, 0])


def test_captured_sound_outlives_the_systems_buffer(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    buffer = np.full((BLOCK, 1), 0.25, np.float32)
    sd.streams[0].run(buffer)
    buffer[:] = 0.75
    sd.streams[0].run(buffer)

    assert [float(each.mic[0]) for each in drain(stream)] == [0.25, 0.75]


@pytest.mark.parametrize("own_rate", [RATE, 48_000])
def test_nan_is_heard_as_silence_and_spoils_nothing_after_it(sd: FakeSoundDevice, own_rate: int) -> None:
    sd.refused_rates = {RATE, 48_000, 44_100, 32_000} - {own_rate}
    stream, canceller = Stream(), Canceller()
    speech = speechlike(2.0, 1)
    stream.open(lambda at, frames: speech[at : at + frames])
    (running,) = sd.streams
    size = BLOCK * own_rate // RATE
    broken = np.full((size, 1), 0.1, np.float32)
    broken[:4, 0] = np.nan, np.inf, -np.inf, 1e30

    for block in [np.full((size, 1), 0.1, np.float32), broken, *[np.zeros((size, 1), np.float32)] * 50]:
        running.run(block)

    heard = [canceller.process(each) for each in drain(stream)]
    assert all(np.isfinite(each.mic).all() and np.isfinite(each.clean).all() for each in heard)
    assert np.abs(heard[-1].clean).max() < 0.2


def test_a_render_that_fails_plays_silence_and_the_count_goes_on(sd: FakeSoundDevice) -> None:
    def broken(at: int, frames: int) -> Block:
        if at == BLOCK:
            raise RuntimeError("no more")
        return ramp(at, frames)

    stream = Stream()
    stream.open(broken)

    played = [sd.streams[0].run() for _ in range(3)]

    assert not played[1].any()
    assert played[2][0, 0] == ramp(2 * BLOCK, 1)[0]
    assert stream.failures == 1
    assert [each.at for each in drain(stream)] == [0, BLOCK, 2 * BLOCK]


@pytest.mark.parametrize("wrong", [np.zeros(5, np.float32), np.zeros((BLOCK, 2), np.float32), None])
def test_a_render_of_the_wrong_shape_plays_silence(sd: FakeSoundDevice, wrong: Block | None) -> None:
    stream = Stream()
    stream.open(lambda _at, _frames: wrong)  # type: ignore[arg-type,return-value]

    assert not sd.streams[0].run().any()
    assert stream.failures == 1


def test_whatever_goes_wrong_in_the_callback_the_block_is_filled_and_nothing_is_raised(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    stream._to_device = None  # type: ignore[assignment]

    assert not sd.streams[0].run().any()
    assert stream.failures == 1


def test_a_coach_that_stays_mute_ends_the_session(sd: FakeSoundDevice) -> None:
    def broken(_at: int, _frames: int) -> Block:
        raise RuntimeError("clip lost")

    stream = Stream()
    stream.open(broken)
    for _ in range(FAILED_BLOCKS):
        sd.streams[0].run()

    with pytest.raises(DeviceError, match="clip lost"):
        stream.read(0)


def test_lost_sound_is_counted(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    sd.streams[0].run(status="output underflow")
    sd.streams[0].run()

    assert stream.xruns == 1


def test_a_stream_that_dies_silently_is_noticed_and_opened_again(sd: FakeSoundDevice) -> None:
    stream = Stream("aria")
    stream.open(ramp)
    sd.streams[0].run()
    assert stream.read(0) is not None

    assert stream.read(0) is None
    before = sd.begun_anew
    stream._without = ANEW  # as after a wait of that length
    assert stream.read(0) is None

    assert sd.begun_anew == before + 1
    assert sd.streams[0].closed
    sd.streams[1].run()
    captured = stream.read(0)
    assert captured is not None
    assert captured.at == BLOCK


def test_a_device_that_does_not_come_back_ends_the_session(sd: FakeSoundDevice) -> None:
    stream = Stream("aria")
    stream.open(ramp)
    sd.streams[0].run()
    assert stream.read(0) is not None
    sd.all = sd.all[:2]
    stream._without = ANEW
    assert stream.read(0) is None
    stream._without = GIVE_UP

    with pytest.raises(DeviceError, match=r'"Headset Aria .* did not come back'):
        stream.read(0)


def test_a_device_with_two_channels_only_is_used(sd: FakeSoundDevice) -> None:
    sd.refused_channels = {(1, 1)}
    stream = Stream()
    stream.open(ramp)

    played = sd.streams[0].run(np.tile(np.array([[0.5, 0.0]], np.float32), (BLOCK, 1)))

    np.testing.assert_array_equal(played[:, 0], played[:, 1])
    assert drain(stream)[0].mic[0] == 0.25


@pytest.mark.parametrize("own_rate", [48_000, 44_100])
def test_a_device_that_refuses_the_rate_runs_at_its_own(sd: FakeSoundDevice, own_rate: int) -> None:
    """Played sound is fed back without delay: in the converted count it must arrive at the same frames."""
    sd.refused_rates = {RATE, 48_000, 44_100, 32_000} - {own_rate}
    stream, mixer = Stream(), Mixer()
    mixer.place(tick(), 5000, layer=Layer.TICK)
    stream.open(mixer.render)
    (running,) = sd.streams
    assert stream.own_rate == own_rate
    assert running.wanted["blocksize"] == BLOCK * own_rate // RATE

    heard = None
    for _ in range(60):
        heard = running.run(heard)[:, :1]

    taken = drain(stream)
    assert [each.at for each in taken] == [i * BLOCK for i in range(len(taken))]
    mic, played = (np.concatenate([getattr(each, side) for each in taken]) for side in ("mic", "played"))
    match = np.correlate(mic, tick(), "valid")
    assert np.flatnonzero(played)[0] == 5000
    assert abs(int(match.argmax()) - 5000 - BLOCK) <= 1  # fed back in the next callback: one block later
    assert np.abs(mic).max() == pytest.approx(np.abs(tick()).max(), rel=0.1)


def test_a_device_that_refuses_every_rate_is_one_sentence(sd: FakeSoundDevice) -> None:
    sd.refused_rates = {RATE, 48_000, 44_100, 32_000}

    with pytest.raises(DeviceError, match=r"cannot be used together.*coach devices"):
        Stream().open(ramp)


def test_closing_twice_is_harmless(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    stream.close()
    stream.close()

    assert sd.streams[0].closed
    assert stream.read(0) is None


def test_devices_tell_sides_and_defaults(sd: FakeSoundDevice) -> None:
    found = {each.name: each for each in devices()}

    assert [each for each in found if found[each].default_input] == ["Built-in Microphone"]
    assert [each for each in found if found[each].default_output] == ["Built-in Speakers"]
    assert found["Headset Aria (USB)"].inputs == 1
    assert found["Desk Speakers"].host == "Core"
    assert len(found) == len(sd.all)


class Clock:
    """A clock that is passed in and moves only when told to."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


def after(sd: FakeSoundDevice, clock: Clock, stream: Stream, seconds: float) -> Captured | None:
    """Let time pass, then deliver one block of sound; return what is read."""
    clock.now += seconds
    sd.streams[-1].run()
    return stream.read(0)


@pytest.mark.parametrize("slept", [2.0, 100.0])
def test_a_sleep_of_the_computer_is_reported_once_and_the_count_goes_on(sd: FakeSoundDevice, slept: float) -> None:
    clock = Clock()
    stream = Stream(clock=clock)
    stream.open(ramp)
    for _ in range(3):
        assert after(sd, clock, stream, BLOCK / RATE) is not None

    assert after(sd, clock, stream, slept) is None

    taken = [stream.read(0), *(after(sd, clock, stream, BLOCK / RATE) for _ in range(100))]
    assert [each.at for each in taken if each] == [(3 + i) * BLOCK for i in range(101)]


def test_a_sleep_of_minutes_ends_the_session_in_one_sentence(sd: FakeSoundDevice) -> None:
    clock = Clock()
    stream = Stream(clock=clock)
    stream.open(ramp)
    assert after(sd, clock, stream, 0.0) is not None

    with pytest.raises(DeviceError, match="stood still for 300 minutes"):
        after(sd, clock, stream, 5 * 3600.0)


def test_a_slow_reader_gets_reports_until_it_has_caught_up(sd: FakeSoundDevice) -> None:
    """The sound goes on, but it is read later and later."""
    clock = Clock()
    stream = Stream(clock=clock)
    stream.open(ramp)
    told: list[int] = []
    for _ in range(300):  # 6 s of sound
        sd.streams[-1].run()
    clock.now += 300 * BLOCK / RATE
    while len(told) < 4:
        clock.now += 2 * BLOCK / RATE
        captured = stream.read(0)
        if captured is None:
            late = stream.read(0)
            assert late is not None
            told.append(late.at)
    assert np.diff(told).tolist() == [RATE // 2] * 3

    rest = [captured.at for _ in range(300) if (captured := stream.read(0)) is not None]  # now at once
    assert rest[-1] == 299 * BLOCK
    assert after(sd, clock, stream, BLOCK / RATE) is not None


def test_a_stream_without_a_clock_reports_no_late_sound(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    assert all(after(sd, Clock(), stream, 100.0) is not None for _ in range(3))


def test_a_named_device_that_stays_away_is_replaced_by_the_systems_default(sd: FakeSoundDevice) -> None:
    stream = Stream("aria")
    stream.open(ramp)
    sd.streams[-1].run()
    assert stream.read(0) is not None
    del sd.all[2]

    stream._without = ANEW
    assert stream.read(0) is None
    assert len(sd.streams) == 1
    stream._without = ELSEWHERE
    assert stream.read(0) is None

    assert stream.names == ("Built-in Microphone", "Built-in Speakers")
    sd.streams[-1].run()
    captured = stream.read(0)
    assert captured is not None
    assert captured.at == BLOCK


def test_a_device_that_comes_back_at_another_rate_goes_on_in_the_same_count(sd: FakeSoundDevice) -> None:
    stream = Stream()
    stream.open(ramp)
    for _ in range(5):
        sd.streams[-1].run()
    before = drain(stream)

    sd.refused_rates = {RATE}
    stream._without = ANEW
    assert stream.read(0) is None
    for _ in range(20):
        sd.streams[-1].run()

    assert stream.own_rate == 48_000
    ats = [each.at for each in before + drain(stream)]
    assert len(ats) > 20
    assert ats == [i * BLOCK for i in range(len(ats))]


def test_a_stream_that_cannot_be_closed_is_abandoned_and_never_called_again(
    sd: FakeSoundDevice, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when a sound server is killed: the system's call to end the stream does not return."""
    free = Event()
    monkeypatch.setattr("coach.audio.stream.LET_GO", 0.01)
    monkeypatch.setattr(FakeStream, "abort", lambda _: free.wait(60) and None)
    stream = Stream(within=within)
    stream.open(ramp)
    old = sd.streams[0]
    old.run()
    before = sd.begun_anew
    assert stream.read(0) is not None

    stream._without = ANEW
    assert stream.read(0) is None
    while stream._opening():
        free.wait(0.01)
    new = sd.streams[-1]
    assert new is not old
    assert sd.begun_anew == before
    assert not old.run().any()
    new.run()
    captured = stream.read(0)
    stream.close()
    free.set()

    assert captured is not None
    assert captured.at == BLOCK
    assert stream.read(0) is None


def test_a_device_plugged_in_later_is_found_without_a_restart(sd: FakeSoundDevice) -> None:
    mics, sd.all = sd.all[:1], sd.all[1:2]
    with pytest.raises(DeviceError, match="No microphone was found"):
        Stream()

    sd.all = mics + sd.all

    assert Stream().names == ("Built-in Microphone", "Built-in Speakers")


def test_a_device_unplugged_before_it_is_opened_is_named_with_the_remaining_ones(
    sd: FakeSoundDevice,
) -> None:
    stream = Stream("aria")
    del sd.all[2]

    with pytest.raises(DeviceError, match='no sound device like "aria"; there are: "Built-in Microphone"'):
        stream.open(ramp)


def test_a_default_device_unplugged_before_the_start_is_replaced_by_the_next(
    sd: FakeSoundDevice,
) -> None:
    stream = Stream()
    sd.all[0] = device("Webcam Microphone", inputs=1)
    stream.open(ramp)
    sd.streams[-1].run()

    assert stream.names == ("Webcam Microphone", "Built-in Speakers")
    assert stream.read(0) is not None


def test_a_device_that_opens_only_with_all_channels_is_used(sd: FakeSoundDevice) -> None:
    sd.all[0] = device("Array of microphones", inputs=6)
    sd.refused_channels = {(1, 1), (2, 2)}
    stream = Stream()
    stream.open(ramp)

    sd.streams[0].run(np.full((BLOCK, 6), 0.5, np.float32))

    assert drain(stream)[0].mic[0] == 0.5


def test_a_device_without_a_clock_is_refused_before_it_makes_a_rep_too_fast(sd: FakeSoundDevice) -> None:
    stream = Stream(clock=Clock())
    stream.open(ramp)
    for _ in range(5 * RATE // BLOCK):
        sd.streams[0].run()

    with pytest.raises(DeviceError, match=r"run faster than time.*coach devices"):
        drain(stream)


@pytest.mark.skipif(sys.platform != "linux", reason="the library is waited for here, whatever it does")
@pytest.mark.parametrize("hangs", ["query_devices", "_initialize", "Stream"])
def test_a_sound_system_that_does_not_answer_is_one_sentence(
    hangs: str, sd: FakeSoundDevice, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = Event()
    monkeypatch.setattr("coach.audio.hanging.ANSWERS", 0.01)
    monkeypatch.setattr(FakeSoundDevice, hangs, lambda *_, **__: free.wait(60))

    with pytest.raises(DeviceError, match="does not answer"):
        Stream(within=within).open(ramp)

    free.set()
    assert sd.streams == []


@pytest.mark.skipif(sys.platform != "linux", reason="the library is waited for here, whatever it does")
def test_a_device_that_opens_after_the_time_limit_is_closed(
    sd: FakeSoundDevice, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = Event()
    start = FakeStream.start

    def slow(stream: FakeStream) -> None:
        free.wait(60)
        start(stream)

    stream = Stream(within=within)
    monkeypatch.setattr("coach.audio.hanging.ANSWERS", 0.01)
    monkeypatch.setattr(FakeStream, "start", slow)
    with pytest.raises(DeviceError, match="does not answer"):
        stream.open(ramp)

    free.set()
    while not sd.streams[0].closed:
        Event().wait(0.01)
    assert not sd.streams[0].run().any()
