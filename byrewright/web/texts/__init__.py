"""Every text of the pages, one file a language; `en.yaml` is the whole catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
FIRST = "en"


@cache
def languages() -> dict[str, str]:
    """The languages there are: code and own name."""
    return {p.stem: catalogue(p.stem)["language.name"] for p in sorted(HERE.glob("*.yaml"))}


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Key to text; keys are written with full stops for the groups of the file."""
    from byrewright.plant.problems import FileProblems
    from byrewright.plant.source import load

    path = HERE / f"{language}.yaml"
    source = load(path.read_text(encoding="utf-8"), path.name, FileProblems, "language: {}")
    found: dict[str, str] = {}
    _flatten(source.data, "", found)
    return found


def _flatten(group: Mapping[str, object], above: str, found: dict[str, str]) -> None:
    for key, value in group.items():
        if isinstance(value, Mapping):
            _flatten(value, f"{above}{key}.", found)
        else:
            found[f"{above}{key}"] = str(value)


class Texts:
    """The texts of one language; what it lacks is shown in the first one."""

    def __init__(self, language: str = FIRST) -> None:
        self.language = language if language in languages() else FIRST

    def __call__(self, key: str, **words: object) -> str:
        """The text of a key with its blanks filled in.

        Raises:
            KeyError: the catalogue has no such key.
        """
        own = catalogue(self.language)
        text = own[key] if key in own else catalogue(FIRST)[key]
        return text.format(**words) if words else text

    def has(self, key: str) -> bool:
        """Whether there is such a text."""
        return key in catalogue(FIRST)
