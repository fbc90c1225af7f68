"""Every text of the pages stands in the catalogue, and nowhere else."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest

import byrewright.web
from byrewright.documents.ink import LEAST_CONTRAST, contrast
from byrewright.documents.turn_strip import SIZE_MM, WIDTH_MM
from byrewright.plant.machine import kinds
from byrewright.web.fields import Field, draw
from byrewright.web.look import DARK, LIGHT, SCRIPTS, script, style_sheet
from byrewright.web.pages import failures
from byrewright.web.texts import FIRST, Texts, catalogue, languages

WEB = Path(byrewright.web.__file__).parent
MODULES = sorted(WEB.rglob("*.py"))
SENTENCE = re.compile(r"[A-Za-z]+,? [a-z]+")
CODE_WORDS = ("cls", "style", "js_handler", "onchange", "props", "data_with")
OUTSIDE_PAGES = {"access.py", "server.py", "markup.py"}
"""Modules that speak to the terminal or to other programs, not in pages."""
NOT_SHOWN = re.compile(
    r"=>|^\(e\)|^[\w.-]+( [\w-]+)* ?:|var\(|font|default-src|^<|data-|</script>|\{\}"
    r"|attachment|^id="
)


def strings(path: Path) -> Iterator[tuple[int, str]]:
    """Line and text of every string that could be shown: no docstrings, classes or style."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skip: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skip.add(id(node.value))
        if isinstance(node, ast.Call):
            for word in node.keywords:
                if word.arg in CODE_WORDS:
                    skip |= {id(n) for n in ast.walk(word.value)}
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in (
                "classes",
                "style",
                "props",
                "run_javascript",
                "Conflict",
                "compile",
                "run_in_executor",
                "create_subprocess_exec",
            ):
                skip |= {id(n) for a in node.args for n in ast.walk(a)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skip:
            yield node.lineno, node.value


@pytest.mark.parametrize(
    "path", [p for p in MODULES if p.name not in OUTSIDE_PAGES], ids=lambda p: p.name
)
def test_no_text_stands_outside_the_catalogue(path: Path) -> None:
    """Would fail if a page had words that a translator could not find."""
    found = [
        f"{path.name}:{line}: {text!r}"
        for line, text in strings(path)
        if SENTENCE.search(text) and not NOT_SHOWN.search(text) and text not in ALLOWED
    ]
    assert not found, "\n".join(found)


ALLOWED = frozenset({
    "the file has been changed since it was read",
    "row middle no-print", "row no-print", "row no-print ways", "mono quiet small", "small quiet",
    "quiet mono small", "alarm standing", "state wrong", "state ended", "row gap no-print",
    "gap no-print", "row gap", "quiet small gap",
    *(can for kind in kinds().values() for can in kind.CAN), *failures.RANKED, *failures.MOMENTS,
})  # fmt: skip
"""The text of an exception that pages replace by their own words, names of classes,
capabilities, columns of a study's tables."""


def test_the_rule_sees_a_sentence(tmp_path: Path) -> None:
    """Would fail if the search for texts had gone blind."""
    module = tmp_path / "page.py"
    module.write_text(
        'def f(t):\n    "A docstring."\n    return tag("p", "Pick a machine.", cls="two words")\n'
    )
    assert [text for _, text in strings(module) if SENTENCE.search(text)] == ["Pick a machine."]


def test_every_key_that_is_used_is_there_and_every_key_is_used() -> None:
    """Would fail if a page asked for a text that is missing, or the catalogue kept a dead one."""
    keys = set(catalogue(FIRST))
    whole = "\n".join(p.read_text(encoding="utf-8") for p in MODULES)
    asked = set(re.findall(r'"((?:[a-z_]+\.)+[A-Za-z_0-9]+)"', whole)) | set(
        re.findall(r'\bt\("(yes|no)"\)', whole)
    )
    stems = {s.split("{")[0] for s in re.findall(r'f"((?:[a-z_]+\.)+\{[^"]+)"', whole)}
    groups = {k.split(".")[0] for k in keys}
    missing = {k for k in asked if k.split(".")[0] in groups and k not in keys}
    missing = {k for k in missing if not re.search(r"\.(yaml|css|js|zip|py|json)$", k)}
    assert not missing
    loose = re.findall(r'"([a-z_]+)"', whole)
    used = asked | {k for k in keys if any(k.startswith(stem) for stem in stems)}
    unused = {k for k in keys - used if k.rpartition(".")[2] not in loose}
    assert unused <= {"language.name"}, unused


@pytest.mark.parametrize("language", sorted(languages()))
def test_a_language_has_no_strange_keys_or_blanks(language: str) -> None:
    """Would fail if a translation named a key or a blank that English does not have."""
    first, own = catalogue(FIRST), catalogue(language)
    assert set(own) <= set(first)
    for key, text in own.items():
        blanks = {name for _, name, _, _ in Formatter().parse(text) if name}
        assert blanks <= {name for _, name, _, _ in Formatter().parse(first[key]) if name}, key


def test_the_script_holds_no_text() -> None:
    """Would fail if words were written in the script, out of a translator's reach."""
    code = re.sub(r"//.*", "", "\n".join(script(one) for one in SCRIPTS))
    shown = [s for s in re.findall(r'"([^"]*)"', code) if re.match(r"[A-Z][a-z]+ [a-z]+", s)]
    assert not shown


def test_an_unknown_language_is_shown_in_english() -> None:
    """Would fail if a stale setting broke a page."""
    assert Texts("xx")("page.plant") == Texts()("page.plant")


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_every_ink_can_be_read_on_its_ground(theme: dict[str, str]) -> None:
    """Would fail if a colour of a theme were too faint for text (AA)."""
    for name, colour in theme.items():
        if name in ("ink", "quiet", "accent") or name.startswith("svc-"):
            for ground in ("paper", "field", "shade"):
                assert contrast(colour, theme[ground]) >= LEAST_CONTRAST, (name, ground)
    assert contrast(theme["on-accent"], theme["accent"]) >= LEAST_CONTRAST
    assert set(DARK) == set(LIGHT)


def test_nothing_is_fetched_from_elsewhere() -> None:
    """Would fail if the style sheet or the script asked another computer for anything."""
    for text in (style_sheet(), *(script(one) for one in SCRIPTS)):
        assert not re.findall(
            r"(?:https?:)?//(?!www\.w3\.org/2000/svg)[a-z]",
            text.replace("http://www.w3.org/2000/svg", ""),
        )
        assert "@import" not in text


def test_no_text_is_written_twice() -> None:
    """Would fail if one word of the pages silently took the place of another of the same key."""
    from byrewright.plant.problems import PlantError
    from byrewright.plant.source import load

    text = (WEB / "texts" / "en.yaml").read_text(encoding="utf-8")
    source = load(text, "en.yaml", PlantError, "a: b")
    assert [str(p) for p in source.problems] == []


def test_letters_of_the_strip_can_be_read_on_a_telephone() -> None:
    """Would fail if the turn unrolled were drawn so small that its clock could not be read."""
    least = re.search(r"\.strip svg\{[^}]*min-width:(\d+)px", style_sheet())
    assert least and int(least[1]) * SIZE_MM / WIDTH_MM >= 12


@pytest.mark.parametrize(("default", "told"), [("true", "assumed: yes"), ("false", "assumed: no")])
def test_an_assumed_yes_is_said_as_one(default: str, told: str) -> None:
    """Would fail if a form spoke the file's language instead of the reader's."""
    field = Field("bonded", "deck bonded to earth", "", "yes_no", ("true", "false"), default)
    assert told in draw(field, "", Texts("en"), "metric")
