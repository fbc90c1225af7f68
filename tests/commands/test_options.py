"""Options and files beside the plant: what is out of range or misspelt gets its sentence."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from byrewright.commands.common import console, print_findings, user_name
from byrewright.results import FREE, FREE_SIGN, Finding
from tests.commands.inside import inside
from tests.plant.small import SMALL

BAD_INPUT = 2
OPTIONS = (
    ("day", "--sample nan", "--sample nan: give 1 to 3600 s"),
    ("day", "--step nan", "--step nan: give 0.05 to 1 s"),
    ("failures", "--hours -1", "--hours -1: give 1 to 20 h"),
    ("failures", "--costs costs.yaml", "error L005: air_dreyer: "),
    ("failures", "--costs deep.yaml", "error F008"),
    ("failures", "--costs word.yaml", '"dear" is not a cost: a number above 0'),
    ("vacuum", "--only fall_of", "no event in time is called fall_of; did you mean fall_off?"),
    ("rehearse", "--serve --speed nan", "--speed nan: give 0.1 to 10000"),
    ("rehearse", "--serve --modbus-port 99999", "--modbus-port 99999: give 1 to 65535"),
    ("watch", "--modbus 127.0.0.1:1 --period nan", "--period nan: give 0.1 to 3600 s"),
    ("watch", "--modbus 127.0.0.1:99999", "is not a Modbus address"),
    ("watch", "--opcua http://x", "is not an OPC UA address"),
    ("watch", "--opcua opc.tcp://h:99999", "is not an OPC UA address"),
    ("watch", "--modbus 127.0.0.1:1 --acknowledge=", "--acknowledge: say who acknowledges"),
    ("serve", "--port 99999", "--port 99999: give 1 to 65535"),
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the small plant and cost files that are wrong, as the present one."""
    (tmp_path / "plant.yaml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "placed.yaml").write_text(SMALL + "place: {services: under}\n", encoding="utf-8")
    (tmp_path / "prices.csv").write_text("item,unit,cost,currency\nvacuum_pump,each,5000,EUR\n")
    (tmp_path / "terms.yaml").write_text("currency: EUR\n")
    (tmp_path / "costs.yaml").write_text("air_dreyer: 1800\n")
    (tmp_path / "deep.yaml").write_text("a: " + "[" * 3000)
    (tmp_path / "word.yaml").write_text("VP1: dear\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("command", "options", "says"), OPTIONS, ids=lambda v: v[:26])
def test_an_option_out_of_range_is_refused(
    command: str, options: str, says: str, folder: Path
) -> None:
    """A number that is none, or a misspelt name, would be taken, or end in a traceback."""
    before = {p.name for p in folder.iterdir()}
    told = inside([command, "plant.yaml", *options.split()])
    assert told.fell is None and told.code == BAD_INPUT, told
    assert says in told.err and len(told.err.strip().splitlines()) == 1
    assert {p.name for p in folder.iterdir()} == before


def test_a_link_to_limits_that_are_gone_is_told(folder: Path) -> None:
    """The farm's own limits would be left out unseen, because their disk is not there."""
    (folder / "limits.yaml").symlink_to(folder / "gone.yaml")
    told = inside(["size", "plant.yaml"])
    assert told.code == BAD_INPUT and "limits.yaml: error F001: the file cannot be read" in told.err


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("milkline_table", "looped: {73: {1: 9}, 73: {1: 12}}", "1: error F010: looped: 73 stands"),
        ("milkline_table", "looped:\n  73: {1: 9}\n  73.0: {1: 12}", "3: error L007: looped.73.0"),
        ("milkline_table", "looped: {73: {1: 9, 1.0: 12}}", "this slope stands twice: 1"),
        ("milkline_table", "text: own\nlooped: {73: {1: -9}}", "2: error L007: looped.73.1: a nu"),
        ("limits", "wash.hottest_c: 70\nwash: {hottest_c: 80}", "2: error F010: wash.hottest_c"),
    ],
)
def test_a_figure_that_stands_twice_is_refused(
    file: str, text: str, says: str, folder: Path
) -> None:
    """One of two entries would be used and the other passed over, or the line not be told."""
    (folder / f"{file}.yaml").write_text(text + "\n")
    told = inside(["size", "plant.yaml"])
    assert told.code == BAD_INPUT and says in told.err, told.err


@pytest.mark.parametrize(
    "limit",
    ["milking.yield_sd_kg: 0.2", "vacuum.leak_times.system: 200", "failures.slow_share: 0.05"],
)
def test_a_limit_at_the_end_of_its_range_is_diagnosed(limit: str, folder: Path) -> None:
    """What the model cannot hold of a plant with a fault would end the diagnosis in a traceback."""
    (folder / "limits.yaml").write_text(limit + "\n")
    told = inside(["diagnose", "plant.yaml", "--says", "slow milking"])
    assert told.fell is None and told.code == 0, told.err


BRIEFS = (
    "farm: (invented) Sallow End\ncows: 60\nyield_l_day: 26\nlayout: rows\nrows: 2\nstalls: 8\n"
    "hottest_c: 55\n",
    "cows: 90\nyield_l_day: 26\nhottest_c: 5\nreserve_h: 0\n",
)


@pytest.mark.parametrize("brief", BRIEFS, ids=["hot", "cows, yield and little else"])
def test_what_a_brief_may_say_can_be_drafted(brief: str, folder: Path) -> None:
    """A brief within its ranges, or with only cows and yield, would be refused, with advice about
    something else; or a quick draft would look proven by every study."""
    (folder / "brief.yaml").write_text(brief)
    told = inside(["draft", "brief.yaml", "--quick", "--out", "made.yaml"])
    assert told.code == 0, told.err
    assert "assumed " in told.out and "Only sizing was run" in told.out
    assert (
        f"\n  {brief[brief.index('cows') :].splitlines()[0]}" in (folder / "made.yaml").read_text()
    )


def run(words: str, folder: Path, **more: object) -> subprocess.CompletedProcess[bytes]:
    """The command as a process of its own."""
    return subprocess.run([sys.executable, "-m", "byrewright", *words.split()], cwd=folder,
                          capture_output=True, timeout=240, check=False, **more)  # type: ignore[call-overload, no-any-return]  # fmt: skip


FOLDERS = (
    "interlocks plant.yaml --out locks",
    "quote plant.yaml --prices prices.csv --terms terms.yaml --out offer",
    "tests plant.yaml --out sheets",
    "place placed.yaml --out plan",
)
WRITERS = (
    "vacuum plant.yaml --only attach --out air.json",
    "day plant.yaml --out sheet.pdf",
    "pack plant.yaml --out handed",
    "service plant.yaml --calendar due.ics",
    "call plant.yaml --out call.html",
    *FOLDERS,
)


def test_a_full_disk_names_the_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody whose disk is full would not be told which file could not be written."""

    before = {p.name for p in folder.iterdir()}

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    for words in WRITERS:
        told = inside(words.split())
        assert told.fell is None and told.code == BAD_INPUT, told
        assert words.split()[-1] in told.err and "No space left on device" in told.err
    assert {p.name for p in folder.iterdir()} == before


@pytest.mark.parametrize("words", FOLDERS, ids=lambda w: w.split()[0])
def test_files_that_belong_together_change_together(
    words: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A matrix of the new plant would stand beside the acceptance sheets of the old one."""
    made = folder / words.split()[-1]
    assert inside(words.split()).code == 0
    before = {p: p.read_bytes() for p in made.iterdir()}
    left, sync = [len(before) - 1], os.fsync

    def full(number: int) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(number)

    monkeypatch.setattr(os, "fsync", full)
    path = folder / words.split()[1]
    path.write_text(path.read_text(encoding="utf-8").replace("Test Hollow", "Sallow End"))
    told = inside(words.split())
    assert told.code == BAD_INPUT and made.name in told.err and left[0] == -1, told
    assert {p: p.read_bytes() for p in made.iterdir()} == before
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize("words", FOLDERS, ids=lambda w: w.split()[0])
def test_files_go_into_the_folder_one_stands_in(words: str, folder: Path) -> None:
    """`--out .` would be refused, or what else lies in the folder be moved or linked anew."""
    told = inside(words.split())
    assert told.code == 0, told
    names = {p.name for p in (folder / words.split()[-1]).iterdir()}
    before = {p: p.stat() for p in (folder, *folder.iterdir()) if not p.is_dir()}
    there = folder.stat().st_ino
    told = inside([*words.split()[:-1], "."])
    assert told.code == 0 and folder.stat().st_ino == there, told
    assert {p: p.stat() for p in before} == before
    assert {p.name for p in folder.iterdir()} >= names
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]


def test_a_screen_that_is_not_utf8_is_written_to(folder: Path) -> None:
    """A letter that the screen lacks would end the command in a traceback."""
    (folder / "plant.yaml").write_text(
        SMALL.replace("Test Hollow", "Bjørneås 牛"), encoding="utf-8"
    )
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    told = run("routes plant.yaml --order 1 --no-orders", folder, env=env)
    assert told.returncode == 0 and b"Bj?rne" in told.stdout, told.stderr


@pytest.mark.parametrize(
    "words", ["size plant.yaml --all", "schema plant", "check plant.yaml", "--help"]
)
def test_a_reader_that_goes_away_is_no_fault(words: str, folder: Path) -> None:
    """The same pipe into `head` would end in another code for each command, or in a traceback."""
    read, write = os.pipe()
    os.close(read)
    told = subprocess.run(
        [sys.executable, "-m", "byrewright", *words.split()],
        cwd=folder, stdout=write, stderr=subprocess.PIPE, timeout=240, check=False,
    )  # fmt: skip
    os.close(write)
    assert told.returncode == 141 and told.stderr == b"", told


def test_an_order_to_end_is_told(folder: Path) -> None:
    """A service that is stopped would end without a word."""
    program = "import time; from byrewright.commands.common import *; plain_streams()\n"
    code = program + "with clear_errors():\n print('up', flush=True); time.sleep(30)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE) as job:  # fmt: skip
        assert job.stdout is not None and job.stderr is not None
        job.stdout.readline()
        job.terminate()
        assert job.wait(30) == 143
        assert job.stderr.read() == b"stopped; nothing was half written\n"


def test_an_interrupt_while_it_loads_is_told() -> None:
    """One who changes his mind at once would get a traceback of half-loaded modules."""
    code = (
        "import sys, os, signal\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # else a job has none
        "class Stop:\n"
        "    def find_spec(self, name, *rest):\n"
        "        if name == 'byrewright.cli': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Stop())\n"
        "from byrewright.__main__ import main\n"
        "main()\n"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert told.returncode == 130 and told.stderr == b"stopped; nothing was half written\n"


def test_a_computer_without_home_or_account_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody who runs it in a bare container would get a traceback about a home folder."""
    from byrewright import caches

    def nobody(*_: object) -> str:
        raise KeyError("no account entry")

    def no_home() -> Path:
        raise RuntimeError("no home")

    monkeypatch.setattr("getpass.getuser", nobody)
    monkeypatch.setattr(Path, "home", no_home)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", "/run/user/1")
    assert caches._own_folders() == [Path("/run/user/1/byrewright")]
    assert user_name() == "unknown user"


@pytest.mark.parametrize("session", [True, False])
def test_where_nothing_can_be_written_compiled_code_goes_with_the_session(
    session: bool, tmp_path: Path
) -> None:
    """The demo would compile anew in every process, or leave a folder behind in /tmp each time."""
    code = (
        "import byrewright.caches as c; from pathlib import Path; c.HERE = Path('/dev/null')\n"
        "made = c.cache_folder('kernels'); (made / 'code').write_text('x'); print(made)"
    )
    env = {k: v for k, v in os.environ.items() if k not in ("BYREWRIGHT_CACHE", "XDG_RUNTIME_DIR")}
    env |= {"XDG_CACHE_HOME": "/dev/null", "TMPDIR": str(tmp_path)}
    if session:
        env["XDG_RUNTIME_DIR"] = str(tmp_path / "run")
    told = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=True,
                          text=True, cwd=Path(__file__).resolve().parents[2])  # fmt: skip
    made = Path(told.stdout.strip())
    if session:
        assert made == tmp_path / "run" / "byrewright" / "kernels" and (made / "code").exists()
    else:
        assert made.parent == tmp_path and not list(tmp_path.iterdir())


def test_a_plant_from_a_pipe_is_read_once(folder: Path) -> None:
    """The pack would hold an empty plant file, and say that all went well."""
    told = run("pack /dev/stdin --out handed --date 2026-01-05", folder, input=SMALL.encode())
    assert told.returncode == 0, told.stderr
    assert (folder / "handed" / "plant.yaml").read_text(encoding="utf-8") == SMALL


def test_a_figure_without_a_limit_has_a_sign_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    """A figure that nothing judges would print as one that holds."""
    free = Finding("k", "", "Filter", 3.34, "h", "Said.", "holds")
    print_findings(console(), [free, replace(free, key="m", limit=3.0, sense="at_least")])
    printed = capsys.readouterr().out
    assert f"{FREE_SIGN} {FREE}  k  3.34 h" in printed and "+ holds  m  3.34 h" in printed
