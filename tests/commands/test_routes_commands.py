"""The commands routes, interlocks, watch and rehearse, as a user meets them."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from byrewright.commands import interlocks, rehearse, routes, watch
from tests.plant.small import SMALL

EXAMPLE = Path(__file__).parents[2] / "examples" / "rows_two_by_twenty" / "plant.yaml"
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(autouse=True)
def talk() -> Iterator[None]:
    """Commands quieten the libraries; later tests should hear them again."""
    yield
    logging.disable(logging.NOTSET)


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A plant of a dozen valves: its routes are asked in a second."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_routes_prints_and_writes_the_same_result(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if the file and the screen's JSON differed, or the JSON could not be read."""
    routes.run(small, order=1, as_json=True, orders=False, out_path=tmp_path / "r.json")
    printed = json.loads(capsys.readouterr().out)
    assert printed == json.loads((tmp_path / "r.json").read_text())
    assert {"routes.proof", "routes.sensors_least"} <= {f["name"] for f in printed["findings"]}


def test_routes_on_the_screen(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if the screen showed nothing of what was found, or words of the program."""
    routes.run(small, order=1, orders=False)
    out = capsys.readouterr().out
    assert "milk to drain or floor" in out and "None" not in out


def test_interlocks_writes_the_pack(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if a file of the pack was missing, or the warning did not reach the screen."""
    interlocks.run(small, out_path=tmp_path / "locks")
    names = {p.name for p in (tmp_path / "locks").iterdir()}
    assert {
        "interlocks.xlsx",
        "interlocks.pdf",
        "interlocks.st",
        "interlocks.xml",
        "addresses.csv",
    } <= names
    assert "Not a safety function" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "one of them"),
        ({"modbus": "a:1", "opcua": "opc.tcp://a"}, "one of them"),
        ({"modbus": "a"}, "HOST:PORT"),
        ({"modbus": "a:99999"}, "HOST:PORT"),
        ({"opcua": "http://a"}, "opc.tcp://"),
        ({"modbus": "a:1", "mode": "dancing"}, "no mode 'dancing'"),
        ({"modbus": "a:1", "addresses_path": Path("nowhere.csv")}, "no such address map"),
    ],
)
def test_watch_refuses_in_one_sentence(asked: dict[str, str], said: str, tmp_path: Path,
                                       capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    """Would fail if a slip on the command line gave a traceback or no advice."""
    with pytest.raises(SystemExit) as end:
        watch.run(EXAMPLE, log_path=tmp_path / "log.sqlite", **asked)  # type: ignore[arg-type]
    assert end.value.code == 2 and said in capsys.readouterr().err


def test_watch_without_a_controller_says_not_live(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Would fail if the screen looked live with nothing to read."""
    from byrewright.site.controller import free_port

    watch.run(
        EXAMPLE, modbus=f"127.0.0.1:{free_port()}", log_path=tmp_path / "log.sqlite", seconds=1.5
    )
    out = " ".join(capsys.readouterr().out.split())
    assert "NOT LIVE" in out and "no alarm" not in out


def test_rehearse_tells_litres(capsys: pytest.CaptureFixture[str]) -> None:
    """Would fail if the rehearsal of a named position told no litres."""
    rehearse.run(EXAMPLE, wrong=["V46=open"])
    out = " ".join(capsys.readouterr().out.split())
    assert "V46" in out and "NO ALARM" not in out and "milk lost" in out and " L " in out
    rehearse.run(EXAMPLE, wrong=["V46=open"], units="US")
    out = " ".join(capsys.readouterr().out.split())
    assert " gal " in out and " L " not in out


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"wrong": ["V46"]}, "MACHINE=POSITION"),
        ({"wrong": ["V46=sideways"]}, "cannot stand wrong"),
        ({"wrong": ["V46=open"], "mode": "dancing"}, "no mode 'dancing'"),
        ({"protocol": "smoke"}, "modbus, contacts or opcua"),
    ],
)
def test_rehearse_refuses_in_one_sentence(asked: dict[str, object], said: str,
                                          capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    """Would fail if an impossible rehearsal gave a traceback or no advice."""
    with pytest.raises(SystemExit) as end:
        rehearse.run(EXAMPLE, **asked)  # type: ignore[arg-type]
    assert end.value.code == 2 and said in capsys.readouterr().err
