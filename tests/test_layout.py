"""What stands where: the top level, the commands, the wording; and that the docs and the checks name what there is."""

from __future__ import annotations

import argparse
import ast
import re
import shlex
import shutil
import subprocess
from collections import defaultdict
from datetime import date
from pathlib import Path

import pytest

from coach.cli import COMMANDS, parser
from coach.program_files import read, shipped
from coach.session.plan import plan
from coach.session.repertoire import repertoire
from coach.voice.pack import languages, load_pack
from coach.words.phrases import sentence

ROOT = Path(__file__).resolve().parent.parent
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "coach", "programs", "tests", "voices"}
LONGEST = 400
"""Lines of a file in the package at most."""


def tracked() -> set[str]:
    """Return the names at the top level that git keeps or would keep; without git, what is there."""
    git = shutil.which("git")
    if git and (ROOT / ".git").exists():
        asked = [git, "ls-files", "--cached", "--others", "--exclude-standard"]
        listed = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
        return {name.partition("/")[0].strip('"') for name in listed if (ROOT / name).exists()}
    made = {"build", "dist", "__pycache__"}
    return {path.name for path in ROOT.iterdir() if path.name not in made and not path.name.endswith(".egg-info")}


def test_the_top_level_is_the_seven_names_and_dotfiles() -> None:
    assert {name for name in tracked() if not name.startswith(".")} == TOP


def code_in(text: str) -> list[str]:
    """Return the lines of a document that stand in a fenced or an indented block."""
    fenced = [line for block in re.findall(r"```[^\n]*\n(.*?)```", text, re.DOTALL) for line in block.splitlines()]
    return [line.strip() for line in (*fenced, *re.findall(r"(?m)^(?: {4}|\t)(.+)$", text))]


def test_the_check_that_runs_for_every_change_is_the_readmes_own() -> None:
    commands = [line for line in code_in((ROOT / "README.md").read_text("utf-8")) if "pytest" in line]
    assert commands, "README.md shows no command that runs the tests"

    run = (ROOT / ".ci" / "run").read_text("utf-8")

    assert commands[0] in run, f".ci/run does not run the README's test command: {commands[0]}"
    weaker = [sign for sign in (" -k ", "--ignore", "--deselect", "|| true", "--maxfail", " -x ") if sign in run]
    assert weaker == []


def commands_of(top: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    (subs,) = [action for action in top._actions if isinstance(action, argparse._SubParsersAction)]
    return dict(subs.choices)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_each_of_its_arguments_has_help(name: str) -> None:
    command = commands_of(parser())[name]

    assert command.description
    assert [action.dest for action in command._actions if not action.help] == []


def commands_in(text: str) -> set[str]:
    """Return the commands in a document that have a word behind their name, whole, without what they are piped into."""
    spans = re.findall(r"`(coach [^`]+)`", text)
    return {span for span in (*spans, *code_in(text)) if re.match(r"coach [a-z]+ \S", span)}


DOCUMENTS = {name: (ROOT / name).read_text("utf-8") for name in ("README.md", "voices/en/manual.md")}


@pytest.mark.parametrize("command", sorted({one for text in DOCUMENTS.values() for one in commands_in(text)}))
def test_commands_in_documents_are_accepted(command: str) -> None:
    parser().parse_args(shlex.split(command)[1:])


@pytest.mark.parametrize(("document", "most"), [("README.md", 180), ("DEVELOPERS.md", 250)])
def test_a_document_is_short_enough_to_be_read(document: str, most: int) -> None:
    assert (ROOT / document).read_text("utf-8").count("\n") <= most


def test_every_picture_of_the_readme_is_there_with_its_words_and_is_small() -> None:
    pictures = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", DOCUMENTS["README.md"])

    assert len(pictures) >= 2
    assert all(len(words) > 20 for words, _ in pictures)
    assert all((ROOT / path).read_bytes()[:4] == b"\x89PNG" for _, path in pictures)
    assert sum((ROOT / path).stat().st_size for _, path in pictures) < 500_000


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_readme(name: str) -> None:
    assert re.search(rf"\bcoach {name}\b", (ROOT / "README.md").read_text("utf-8")), f"README.md lacks coach {name}"


def test_every_module_of_a_command_is_reachable() -> None:
    modules = [path for path in (ROOT / "coach" / "cli").glob("*.py") if "\ndef run(" in path.read_text("utf-8")]

    assert {path.stem for path in modules} == set(COMMANDS)


def package() -> list[Path]:
    return sorted((ROOT / "coach").rglob("*.py"))


@pytest.mark.parametrize("path", package(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_file_says_what_it_is_for_and_stays_short(path: Path) -> None:
    text = path.read_text("utf-8")

    assert ast.get_docstring(ast.parse(text)), f"{path} has no docstring"
    assert text.count("\n") <= LONGEST


def test_what_the_page_draws_with_stays_short_too() -> None:
    lines = {path.name: path.read_text("utf-8").count("\n") for path in (ROOT / "coach/page/static").iterdir()}

    assert {name: count for name, count in lines.items() if count > LONGEST} == {}


def public_names() -> dict[str, set[str]]:
    """Return every class, named type and constant of the package without an underscore, with the modules it stands in.

    Several assignments in one module are one name.
    """
    found: dict[str, set[str]] = defaultdict(set)
    for path in package():
        for node in ast.parse(path.read_text("utf-8")).body:
            names = [node.name] if isinstance(node, ast.ClassDef) else []
            for target in getattr(node, "targets", [getattr(node, "target", None)]):
                names += [one.id for one in ast.walk(target) if isinstance(one, ast.Name)] if target else []
            for name in names:
                if name[0].isupper():
                    found[name].add(path.relative_to(ROOT).as_posix())
    return found


def test_no_two_classes_or_types_of_the_package_share_a_name() -> None:
    shared = {name: where for name, where in public_names().items() if len(where) > 1 and not name.isupper()}

    assert shared == {}


def imported_names() -> set[str]:
    """Return what a module of the package takes from another, by name or with the module's before it."""
    taken = set()
    for path in package():
        tree = ast.parse(path.read_text("utf-8"))
        froms = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        names = {alias.name for node in froms if (node.module or "").startswith("coach") for alias in node.names}
        taken |= names
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in names:
                taken.add(node.attr)
    return taken


def test_a_constant_that_leaves_its_module_shares_its_name_with_no_other() -> None:
    travelling = imported_names()
    many = {name: where for name, where in public_names().items() if len(where) > 1 and name.isupper()}
    shared = {name: where for name, where in many.items() if name in travelling}

    assert shared == {}


def constants(folder: str) -> tuple[set[str], list[re.Pattern[str]]]:
    """Return the texts in the code of `folder`, and for texts with {parts} the pattern that they fit."""
    texts: set[str] = set()
    patterns = []
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.JoinedStr):
                parts = [p.value if isinstance(p, ast.Constant) else None for p in node.values]
                if sum(len(str(p)) for p in parts if p) >= 4:  # "{a}_{b}" would fit every key
                    patterns.append(re.compile("".join(r"\w+" if p is None else re.escape(str(p)) for p in parts)))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                texts.add(node.value)
    return texts, patterns


@pytest.mark.parametrize("language", languages())
def test_every_phrase_of_a_language_is_used(language: str) -> None:
    texts, patterns = constants("coach/session")
    taught, more = constants("coach/ears")
    texts, patterns = texts | taught, patterns + more

    unused = [
        key
        for key in load_pack(language).phrases
        if key not in texts and not any(pattern.fullmatch(key) for pattern in patterns)
    ]

    assert unused == []


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("program", sorted(shipped()))
def test_every_phrase_that_a_session_may_say_has_its_wording(language: str, program: str) -> None:
    pack = load_pack(language)
    said = repertoire(plan(read(shipped()[program]), (), date(2027, 1, 11)))

    assert len(said) > 50
    assert all(sentence(pack, phrase) for phrase in said)


@pytest.mark.parametrize("language", languages())
def test_every_label_that_a_screen_asks_for_is_there(language: str) -> None:
    screens = load_pack(language).screens
    asked = set()
    for path in (*(ROOT / "coach" / "cli").glob("*.py"), *(ROOT / "coach" / "review").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and node.args and ast.unparse(node.func).endswith("labels"):
                asked |= {key.value for key in node.args[:1] if isinstance(key, ast.Constant)}

    assert len(asked) > 20
    assert asked - set(screens) == set()
