"""Choose the microphone and the loudspeaker that a name means."""

from __future__ import annotations

from dataclasses import dataclass

from coach.errors import DeviceError


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    """One sound device as the system names it."""

    name: str
    host: str
    """The system's sound interface that provides it, such as "ALSA" or "Core Audio"."""
    inputs: int
    """Number of input channels; 0: it has no microphone."""
    outputs: int
    """Number of output channels; 0: it has no loudspeaker."""
    rate: int
    """Its preferred rate in frames per second."""
    default_input: bool
    default_output: bool
    index: int
    """The system's current number for it; do not show or keep it, as it changes with every plug."""


def choose(found: list[DeviceInfo], name: str | None) -> tuple[DeviceInfo, DeviceInfo]:
    """Return the microphone and the loudspeaker that `name` means: a part of their names, in any case.

    None means the system's default. If the name fits only microphones or only loudspeakers, the other side is the
    system's default. "MICROPHONE|LOUDSPEAKER" names both. Raises DeviceError that lists the candidates.
    """
    inputs = [each for each in found if each.inputs > 0]
    outputs = [each for each in found if each.outputs > 0]
    if not inputs:
        raise DeviceError(
            'No microphone was found, and without one the coach cannot hear "stop"; plug one in, then look with: '
            "coach devices"
        )
    if not outputs:
        raise DeviceError(
            "No loudspeaker was found, and without one nobody hears the coach; plug one in, then look with: "
            "coach devices"
        )
    mic = next((each for each in inputs if each.default_input), inputs[0])
    speaker = next((each for each in outputs if each.default_output), outputs[0])
    if name is None:
        return mic, speaker
    wanted_mic, bar, wanted_speaker = (part.strip() for part in name.partition("|"))
    if bar:
        chosen_mic = _named(inputs, wanted_mic)
        chosen_speaker = _named(outputs, wanted_speaker)
        if chosen_mic is None:
            raise _unknown("microphone", wanted_mic, inputs)
        if chosen_speaker is None:
            raise _unknown("loudspeaker", wanted_speaker, outputs)
        return chosen_mic, chosen_speaker
    chosen_mic, chosen_speaker = _named(inputs, wanted_mic), _named(outputs, wanted_mic)
    if chosen_mic is None and chosen_speaker is None:
        raise _unknown("sound device", wanted_mic, found)
    return chosen_mic or mic, chosen_speaker or speaker


def _named(found: list[DeviceInfo], fragment: str) -> DeviceInfo | None:
    """Return the device with `fragment` in its name; a whole name precedes a part, the first host precedes the others.

    Raises DeviceError if no name or several different names contain it.
    """
    part = fragment.casefold()
    whole = [each for each in found if each.name.casefold() == part]
    fitting = whole or [each for each in found if part and part in each.name.casefold()]
    names = list(dict.fromkeys(each.name for each in fitting))
    if len(names) > 1:
        raise DeviceError(f'"{fragment}" fits several devices: {_listed(names)}; give more of the name to --device.')
    return fitting[0] if fitting else None


def _unknown(what: str, fragment: str, found: list[DeviceInfo]) -> DeviceError:
    names = list(dict.fromkeys(each.name for each in found))
    return DeviceError(f'There is no {what} like "{fragment}"; there are: {_listed(names)}. Name one with --device.')


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
