from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import jsonschema
import pytest
import yaml

from coach.errors import ProgramError
from coach.program.fields import PROGRAM
from coach.program.load import load
from coach.program.schema import schema
from coach.program.shapes import REQUIRED, WITHOUT, Field, Items, Section, schema_of
from coach.program_files import shipped


class Plain(yaml.SafeLoader):
    """YAML 1.2 as editors read it: words such as on and no, and days, are text."""


Plain.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag.rpartition(":")[2] not in {"bool", "timestamp"}]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def plain(text: str) -> Any:
    return yaml.load(text, Plain)


def accepts(data: Any) -> bool:
    return bool(jsonschema.Draft202012Validator(schema()).is_valid(data))


def loads(data: Any) -> bool:
    try:
        load(json.dumps(data), "x.yaml")
    except ProgramError:
        return False
    return True


def test_the_schema_is_a_valid_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("name", list(shipped()))
def test_every_shipped_program_fits_the_schema(name: str) -> None:
    data = plain(shipped()[name].read_text(encoding="utf-8"))

    jsonschema.Draft202012Validator(schema()).validate(data)


def small() -> dict[str, Any]:
    dose = {"sets": 2, "rest": "60 s", "reps": "8-12", "phases": {"lower": "3 s"}}
    level = {"id": "easy", "setup": "Stand.", "cue": "Bend."}
    exercise = {"id": "bend", "name": "Knee bend", "dose": dose, "levels": [level]}
    return {"format": 1, "title": "Small", "screen": [], "exercises": [exercise]}


def exercise(data: dict[str, Any]) -> dict[str, Any]:
    first: dict[str, Any] = data["exercises"][0]
    return first


MUTATIONS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "a newer format": lambda d: d.update(format=2),
    "no title": lambda d: d.pop("title"),
    "an empty title": lambda d: d.update(title=" "),
    "a long title": lambda d: d.update(title="x" * 81),
    "an unknown field": lambda d: d.update(titel="x"),
    "a number for text": lambda d: d.update(title=3),
    "nothing for text": lambda d: d.update(title=None),
    "a list for text": lambda d: d.update(title=["a"]),
    "a control character": lambda d: d.update(title="a\x07"),
    "an unknown side": lambda d: d.update(affected="middle"),
    "an unknown language": lambda d: d.update(language="English"),
    "pain never asked": lambda d: d.update(ask={"pain": "never"}),
    "pain beyond ten": lambda d: d.update(limits={"pain": {"ease_to": 11}}),
    "an action out of place": lambda d: d.update(limits={"tired": "step_down"}),
    "minutes in text": lambda d: d.update(limits={"minutes": "30"}),
    "days without unit": lambda d: d.update(schedule={"every": 2}),
    "no such day format": lambda d: d.update(written_by={"on": "11.1.2027"}),
    "a question without action": lambda d: d.update(screen=[{"id": "a", "ask": "Well?"}]),
    "a question with both": lambda d: d.update(screen=[{"id": "a", "ask": "Well?", "if_yes": "end", "if_no": "end"}]),
    "no exercises": lambda d: d.update(exercises=[]),
    "no levels": lambda d: exercise(d).update(levels=[]),
    "a level without cue": lambda d: exercise(d)["levels"][0].pop("cue"),
    "an id with a blank": lambda d: exercise(d).update(id="knee bend"),
    "needs in text": lambda d: exercise(d).update(needs="a chair"),
    "unknown sides": lambda d: exercise(d).update(sides="both"),
    "a bad step up": lambda d: exercise(d).update(step_up_after={"at": "top"}),
    "joins without number": lambda d: exercise(d).update(joins_after={"exercise": "other"}),
    "no sets at all": lambda d: exercise(d)["dose"].update(sets=0),
    "half a set": lambda d: exercise(d)["dose"].update(sets=1.5),
    "rest without unit": lambda d: exercise(d)["dose"].update(rest=60),
    "rest in hours": lambda d: exercise(d)["dose"].update(rest="1 h"),
    "negative reps": lambda d: exercise(d)["dose"].update(reps=-1),
    "reps in words": lambda d: exercise(d)["dose"].update(reps="as many as you like"),
    "phases in a list": lambda d: exercise(d)["dose"].update(phases=["lower"]),
    "a phase without time": lambda d: exercise(d)["dose"].update(phases={"lower": None}),
    "no phases": lambda d: exercise(d)["dose"].update(phases={}),
    "two kinds of work": lambda d: exercise(d)["dose"].update(hold="30 s"),
    "an unknown guide": lambda d: exercise(d)["dose"].update(guide="beep"),
}


def test_the_unchanged_program_passes_both() -> None:
    assert accepts(small())
    assert loads(small())


@pytest.mark.parametrize("name", list(MUTATIONS))
def test_a_spoilt_program_passes_neither_schema_nor_loader(name: str) -> None:
    data = small()
    MUTATIONS[name](data)

    assert not accepts(data)
    assert not loads(data)


def _fields(block: Section) -> list[Field]:
    found = list(block.fields)
    for field in block.fields:
        kind = field.kind.of if isinstance(field.kind, Items) else field.kind
        if isinstance(kind, Section):
            found += _fields(kind)
    return found


def test_every_field_has_a_description_and_its_default_is_marked() -> None:
    text = json.dumps(schema())

    for field in _fields(PROGRAM):
        assert field.about
        assert field.about[0].upper() + json.dumps(field.about)[2:-1] + "." in text
    properties = schema()["properties"]
    assert properties["language"]["default"] == "en"
    assert properties["limits"]["properties"]["pain"]["properties"]["ease_to"]["default"] == 5
    assert properties["limits"]["properties"]["unsteady"]["default"] == "ease_the_day"
    assert "default" not in properties["affected"]


@pytest.mark.parametrize("field", _fields(PROGRAM), ids=lambda field: field.name)
def test_a_default_would_be_accepted_if_it_were_written(field: Field) -> None:
    if field.default not in (REQUIRED, WITHOUT):
        default = json.loads(json.dumps(field.default))

        assert jsonschema.Draft202012Validator(schema_of(field.kind)).is_valid(default)
