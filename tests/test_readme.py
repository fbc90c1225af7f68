"""The README is what a new user follows: its commands exist, and none is missing from it."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLE = "examples/rotary_spring_ice/plant.yaml"


def commands() -> set[str]:
    """The commands of the installed program."""
    from byrewright.cli import app

    return {(c.name or c.callback.__name__) for c in app.registered_commands if c.callback}


def test_every_command_is_in_the_readme_and_no_other() -> None:
    """Would fail if a command were added without a word, or the README named one that is gone."""
    named = set(re.findall(r"(?:bin/|`)byrewright ([a-z]+) ", README))
    assert commands() - named - {"demo"} == set()
    assert named <= commands()


def test_the_finding_that_the_readme_explains_exists() -> None:
    """Would fail if the README's own example ended in an error."""
    found = re.search(r"byrewright explain plant.yaml (\S+)", README)
    assert found is not None
    run = subprocess.run(
        [sys.executable, "-m", "byrewright", "explain", EXAMPLE, found[1]],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "Formula" in run.stdout


def test_what_the_readme_links_to_is_there() -> None:
    """Would fail if a link or picture of the README led nowhere."""
    links = re.findall(r"\]\(([^)#:]+)\)", README)
    assert links
    assert [one for one in links if not (ROOT / one).exists()] == []


def test_every_page_of_the_documentation_is_listed() -> None:
    """Would fail if a method page could not be found from the index."""
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    pages = [p for p in (ROOT / "docs").rglob("*.md") if p.name != "README.md"]
    missing = [str(p) for p in pages if p.relative_to(ROOT / "docs").as_posix() not in index]
    assert missing == []


def test_the_page_of_validation_is_that_of_the_tests() -> None:
    """A check would be told to be of a better level than its words claim, or not be listed."""
    made = subprocess.run(
        [sys.executable, "-c", "from tools.validation import page; print(page(), end='')"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert made == (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
