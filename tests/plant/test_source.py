"""Files are read by two parsers, of which one knows the newer YAML: they say the same."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from byrewright.plant import source
from byrewright.plant.read import PlantError
from byrewright.plant.source import Source, load
from tests.plant.mutate import mutated
from tests.plant.small import BRIEF, SMALL

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"
TEXTS = (SMALL, BRIEF, EXAMPLE.read_text(encoding="utf-8"), "\ufeffa: {b: 牛} # é\nc: ['ü😀']\n",
         "a: 1\r\nb: x\r\n", "a: !!int 3\n", "a: x\u2028y\n", "a: {x: &k 1, y: *k}\n")  # fmt: skip


def read(text: str) -> Source | list[str]:
    """What a text says, or the problems that it is refused for."""
    try:
        return load(text, "f", PlantError, "a: 1")
    except PlantError as bad:
        return [str(p) for p in bad.problems]


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_both_parsers_read_the_same(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a figure were read otherwise, or a change were written to another place of the
    file, by one of the two."""
    quick = read(text)
    monkeypatch.setattr(source, "ODD", re.compile(""))
    assert read(text) == quick


def test_what_one_refuses_is_told_by_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a broken file were told in words that nobody can act on."""
    texts = [mutated(SMALL, seed) for seed in range(200)]
    quick = [read(t) for t in texts]
    monkeypatch.setattr(source, "ODD", re.compile(""))
    refused = [(q, read(t)) for q, t in zip(quick, texts, strict=True) if isinstance(q, list)]
    assert len(refused) > 20
    assert [q for q, told in refused if q != told] == []


def test_a_build_without_the_quick_parser_reads_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would fail if a machine whose PyYAML has no libyaml ended every command in a traceback."""
    import yaml

    quick = read(SMALL)
    monkeypatch.delattr(yaml, "CLoader")
    assert read(SMALL) == quick
