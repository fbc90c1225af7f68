"""Instrument files as they come: read by the map, worked out, set beside the plant, or refused."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from byrewright.errors import ByrewrightError
from byrewright.plant.read import read_plant
from byrewright.results import Result, ResultBuilder
from byrewright.site.checks.predicted import predicted_of
from byrewright.site.log import Log, New, Owner
from byrewright.site.readings.clock import NoTime, seconds
from byrewright.site.readings.figure import Mark
from byrewright.site.readings.files import ReadingsError, read_file
from byrewright.site.readings.keep import NO_CLOCK, keep_news, news_of
from byrewright.site.readings.mapping import MappingError, ReadingsMap, read_map, template
from byrewright.site.readings.study import study_readings, worked_out
from byrewright.standards.rulebook import default_rulebook
from tests.traces.test_traces import chamber, regulated, tank

ROOT = Path(__file__).resolve().parents[2]
PLANT = ROOT / "examples" / "rotary_spring_ice" / "plant.yaml"
NOTHING = ResultBuilder("none", "").result()
STAMP = "%d.%m.%Y %H:%M:%S.%f"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A plant, its map, two pulsation files (one limps) and a receiver's file."""
    (tmp_path / "plant.yaml").write_text(PLANT.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "readings.yaml").write_text(template("PU1", "RC1"), encoding="utf-8")
    for number, ratio in ((3, 65.0), (17, 57.0)):
        pulsation(tmp_path / f"puls{number}.csv", ratio)
    r = regulated(noise=0.05)
    frame = pd.DataFrame({"seconds": r.t_s, "vacuum": r.x.round(2)})
    frame.to_csv(tmp_path / "vacuum1.csv", index=False)
    return tmp_path


def pulsation(path: Path, ratio: float) -> None:
    """Two halves as an instrument with a decimal comma writes them."""
    one, other = chamber(60, 65, 42, noise=0.2), chamber(60, ratio, 42, noise=0.2, seed=2)
    at = pd.Timestamp("2026-03-02 05:10:00") + pd.to_timedelta(one.t_s, unit="s")
    columns = {
        "Time": at.strftime(STAMP),
        "Channel 1": one.x.round(2),
        "Channel 2": other.x.round(2),
    }
    pd.DataFrame(columns).to_csv(path, sep=";", decimal=",", index=False)


def asked(folder: Path, *names: str, marks: tuple[Mark, ...] = ()) -> Result:
    """The study of some files, without predictions."""
    plan = read_map(folder / "readings.yaml")
    files = [read_file(folder / n, *plan.kind_of(folder / n)) for n in names]
    plant = read_plant(folder / "plant.yaml").plant
    return study_readings(plant, default_rulebook(), files, NOTHING, marks)


def test_a_dip_is_told_by_the_event_that_goes_as_deep(folder: Path) -> None:
    """Would fail if a pump that tripped in the night stood in the record without a word of what
    this plant's own transient study has for a dip so deep."""
    plant, rules = read_plant(folder / "plant.yaml").sound(), default_rulebook()
    predicted = predicted_of(plant, rules)
    table = next(t for t in predicted.tables if t.key == "vacuum.events")
    drops = {str(r[0]): float(r[table.columns.index("drop")]) for r in table.rows}
    event = max(drops, key=lambda e: drops[e])
    t = np.arange(0, 300, 0.05)
    steady = np.random.default_rng(1).normal(42.0, 0.02, len(t))
    away = np.where((t > 100) & (t < 108), drops[event], 0.0)
    away += np.where((t > 200) & (t < 208), 2.0 * drops[event], 0.0)
    pd.DataFrame({"seconds": t, "vacuum": steady - away}).to_csv(
        folder / "vacuum1.csv", index=False
    )
    plan = read_map(folder / "readings.yaml")
    path = folder / "vacuum1.csv"
    result = study_readings(plant, rules, [read_file(path, *plan.kind_of(path))], predicted)
    (dips,) = (t for t in result.tables if t.key.endswith("dips"))
    told = {round(float(r[2]), -1): r[5] for r in dips.rows}
    assert told == {100.0: event, 200.0: ""}


@pytest.mark.parametrize(("last", "verdict"), [(0.45, "holds"), (1.6, "fails")])
def test_detergent_that_stays_in_the_plant_fails(folder: Path, last: float, verdict: str) -> None:
    """Caustic left in the milkline would be counted as what holds, and nobody told."""
    t = np.arange(0.0, 1500.0, 1.0)
    x = np.select([t < 300, t < 780, t < 820], [0.4, 6.0, 0.4], last)
    pd.DataFrame({"seconds": t, "c": x}).to_csv(folder / "rinse.csv", index=False)
    (folder / "readings.yaml").write_text(
        "readings: 1\nfiles:\n  it: {matches: rinse.csv, separator: ',', "
        "time: {column: seconds, written: seconds}, "
        "channels: {c: {is: wash_return_conductivity, at: TR1}}}\n"
    )
    found = asked(folder, "rinse.csv").finding("measured.detergent_left@TR1")
    assert found.verdict == verdict
    assert found.value == pytest.approx(100.0 * (last - 0.4) / 5.6, abs=0.5)


def test_the_limping_pulsator_is_found_by_number(folder: Path) -> None:
    """The fitter would change a pulsator that is sound."""
    result = asked(folder, "puls3.csv", "puls17.csv")
    failing = {f.name for f in result.findings if f.verdict == "fails"}
    assert failing == {
        "measured.pulsator_ratio@PU1 no. 17, half 2",
        "measured.limping@PU1 no. 17",
    }


def test_the_command_sets_measured_beside_predicted(folder: Path) -> None:
    """The certificate's table would miss what the plant should have read."""
    run = subprocess.run(
        [sys.executable, "-m", "byrewright", "readings", "plant.yaml", "puls17.csv", "vacuum1.csv",
         "--mark", "fall_off:20-40", "--json", "--strict"],
        cwd=folder, capture_output=True, text=True, check=False,
        env={**__import__("os").environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert run.returncode == 1, run.stderr
    rows = json.loads(run.stdout)["tables"][0]["rows"]
    told = {row[0]: row for row in rows}
    drop = told["Drop by fall-off"]
    assert drop[2] == pytest.approx(1.4, abs=0.1)
    assert 0.0 < drop[5] < 2.0 and drop[6] == pytest.approx(drop[2] - drop[5], abs=1e-3)
    assert told["Phase d"][5] == pytest.approx(24.9, abs=0.5)


def test_near_a_limit_the_verdict_is_unknown_and_says_what_would_decide(folder: Path) -> None:
    """A reading within its own error would condemn or pass a plant."""
    one = pd.read_csv(folder / "vacuum1.csv")
    one["vacuum"] = 42.0 - (42.0 - one["vacuum"]) * (2.0 / 1.43)  # a fall-off of about 2 kPa
    one.to_csv(folder / "vacuum1.csv", index=False)
    found = asked(folder, "vacuum1.csv", marks=(Mark("fall_off", 20.0, 40.0),))
    drop = next(f for f in found.findings if f.key == "measured.fall_off_drop")
    assert drop.verdict == "unknown" and "would decide" in drop.sentence
    assert drop.value == pytest.approx(2.0, abs=0.1)


def test_a_tank_tells_its_milkings(folder: Path) -> None:
    """The warmest blend would be read off by eye."""
    record = tank()
    text = "byte order mark\n\nlogger 4711\nt;c\n" + "\n".join(
        f"{t:.0f};{c:.2f}" for t, c in zip(record.t_s, record.x, strict=True)
    )
    (folder / "tank.csv").write_text(text, encoding="utf-8-sig")
    (folder / "readings.yaml").write_text(
        "readings: 1\nfiles:\n  tank: {matches: tank.csv, separator: ';', "
        "time: {column: t, written: seconds}, "
        "channels: {c: {is: tank_temperature, at: TK1, uncertainty: 0.3}}}\n"
    )
    result = asked(folder, "tank.csv")
    table = next(t for t in result.tables if t.key == "fillings")
    assert [row[3] for row in table.rows] == pytest.approx([9.0, 6.5], abs=0.1)
    blend = next(f for f in result.findings if f.key == "measured.tank_blend")
    assert blend.value == pytest.approx(6.5, abs=0.1)


def test_slugs_of_a_wash_are_no_hunting(folder: Path) -> None:
    """The regulator would be taken apart for what an air injector does in every wash."""
    t = np.arange(0.0, 600.0, 0.25)
    vacuum = 42.0 - 3.0 * (np.sin(2 * np.pi * t / 30.0) > 0.6)
    warm = 20.0 + 50.0 * ((t > 60.0) & (t < 540.0))
    columns = {"seconds": t, "vacuum": vacuum, "return": warm}
    pd.DataFrame(columns).to_csv(folder / "wash.csv", index=False)
    told = {}
    for name, more in (
        ("vacuum", ""),
        ("wash", ", return: {is: wash_return_temperature, at: TR1}"),
    ):
        (folder / "readings.yaml").write_text(
            "readings: 1\nfiles:\n  it: {matches: wash.csv, separator: ',', "
            "time: {column: seconds, written: seconds}, "
            f"channels: {{vacuum: {{is: vacuum, at: RC1}}{more}}}}}\n"
        )
        told[name] = {f.key for f in asked(folder, "wash.csv").findings}
    assert "measured.hunting" in told["vacuum"]
    assert "measured.hunting" not in told["wash"] and "measured.wash_slugs" in told["wash"]


def test_an_entry_without_a_clock_says_so(folder: Path) -> None:
    """A reading of last week would stand in the log as taken at the moment it was brought."""
    plan = read_map(folder / "readings.yaml")
    files = [read_file(folder / n, *plan.kind_of(folder / n)) for n in ("puls3.csv", "vacuum1.csv")]
    plant = read_plant(folder / "plant.yaml").plant
    news = news_of(files, worked_out(plant, default_rulebook(), files, NOTHING)[1])
    assert {(n.body["file"], n.body.get("clock", "")) for n in news} == {
        ("puls3.csv", ""), ("vacuum1.csv", NO_CLOCK)}  # fmt: skip


def spoil(folder: Path, change) -> None:
    """Change the receiver's file as text."""
    path = folder / "vacuum1.csv"
    path.write_text(change(path.read_text()), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t: t.replace("vacuum", "Vac"), r"no column is called vacuum"),
        (
            lambda t: t.replace("\n0.0,", "\n0.0,x", 1),
            r"row 2: 'x4.* in column vacuum is not a number",
        ),
        (lambda t: t.replace("0.04,", "0.004,", 1), r"clock goes back by 0\.016 s after sample 2"),
        (
            lambda t: t.replace(",4", ",42"),
            r"reaches 4\d\d.* kPa, which no vacuum does; is its unit kPa",
        ),
        (lambda t: t.split("\n")[0] + "\n", r"no row of readings"),
        (lambda t: "", r"no column is called"),
        (
            lambda t: t.replace(",", ";").replace(".", ","),
            r"row 1: a semicolon stands between columns, and by the map it is a comma",
        ),
        (lambda t: t.replace("0.02,", "five,", 1), r"row 3: 'five' in column seconds is no time"),
        (lambda t: t.replace("seconds,vacuum", "seconds,vacuum,vacuum", 1), r"two columns"),
        (lambda t: t + "-3400.0,42\n", r"goes back by .* s after sample \d+"),
    ],
)
def test_a_bad_file_is_refused_in_one_sentence(folder: Path, change, said: str) -> None:
    """A traceback, or half a file taken for the whole, would reach the certificate."""
    spoil(folder, change)
    with pytest.raises(ReadingsError, match=said) as caught:
        asked(folder, "vacuum1.csv")
    assert "\n" not in str(caught.value) and "vacuum1.csv" in str(caught.value)


def test_what_does_not_belong_is_refused(folder: Path) -> None:
    """Readings given twice, of another plant, or of no kind would count."""
    (folder / "puls4.csv").write_bytes((folder / "puls3.csv").read_bytes())
    with pytest.raises(ByrewrightError, match=r"puls4.csv: holds the same readings as .*puls3"):
        asked(folder, "puls3.csv", "puls4.csv")
    pulsation(folder / "puls99.csv", 65.0)
    with pytest.raises(ByrewrightError, match="number 99 by its name, but PU1 stands for"):
        asked(folder, "puls99.csv")
    with pytest.raises(ByrewrightError, match="no kind of file in"):
        asked(folder, "else.csv")
    (folder / "readings.yaml").write_text(template("PU1", "RC9"))
    with pytest.raises(ByrewrightError, match=r"no machine RC9; did you mean RC"):
        asked(folder, "vacuum1.csv")
    (folder / "readings.yaml").write_text(ZONED.replace("TK1", "BT1"))
    (folder / "tank.csv").write_text("t,c\n2026-03-05T06:00,4.0\n2026-03-05T06:01,4.0\n")
    with pytest.raises(ByrewrightError, match="no tank temperature is read at BT1, Balance tank; "):
        asked(folder, "tank.csv")


ZONED = (
    "readings: 1\nfiles:\n  tank: {matches: tank.csv, time: {column: t, written: iso}, "
    "channels: {c: {is: tank_temperature, at: TK1}}}\n"
)


@pytest.mark.parametrize(
    ("zones", "said"),
    [
        (("+01:00", "+02:00"), "as two time zones or the end of summer time make it"),
        (("", "Z"), "row 32: .*Z' in column t: some times state their zone and others do not"),
    ],
)
def test_two_time_zones_in_one_file_are_told(
    folder: Path, zones: tuple[str, str], said: str
) -> None:
    """An hour of cooling would be made up, or lost, between two clocks."""
    rows = [f"2026-03-05T06:{m:02d}:00{zones[m >= 30]},4.0" for m in range(60)]
    (folder / "tank.csv").write_text("t,c\n" + "\n".join(rows))
    (folder / "readings.yaml").write_text(ZONED)
    with pytest.raises(ReadingsError, match=said):
        asked(folder, "tank.csv")


def test_a_claw_is_set_beside_the_receiver_and_a_plant_that_stood_still_tells_nothing(
    folder: Path,
) -> None:
    """A claw's trace would be refused, or a record of nothing enter the log as its vacuum."""
    text = (
        "readings: 1\nfiles:\n  claw: {matches: claw.csv, time: {column: t, written: seconds}, "
        "channels: {v: {is: vacuum, at: RC1}, c: {is: claw_vacuum, at: MU1, uncertainty: 0.3}}}\n"
    )
    (folder / "readings.yaml").write_text(text)
    rows = [f"{i / 10},42,{37 if i % 100 < 20 else 41}" for i in range(1000)]
    (folder / "claw.csv").write_text("t,v,c\n" + "\n".join(rows))
    found = {f.key: f for f in asked(folder, "claw.csv").findings}
    assert found["measured.claw_within"].value == pytest.approx(80.0, abs=0.2)
    assert found["measured.claw_vacuum"].value == pytest.approx(40.2, abs=0.02)
    assert "10 slugs" in found["measured.claw_vacuum"].sentence
    (folder / "claw.csv").write_text("t,v,c\n" + "\n".join(f"{i},0.4,0.3" for i in range(100)))
    still = asked(folder, "claw.csv")
    assert "measured.vacuum" in {f.key for f in still.findings if f.verdict == "unknown"}


def test_swapped_channels_are_noticed(folder: Path) -> None:
    """A line's vacuum taken for a chamber's would fail every pulsator of the plant."""
    text = (folder / "vacuum1.csv").read_text().replace(",", ";").replace(".", ",")
    lines = ["Time;Channel 1;Channel 2"]
    for number, line in enumerate(text.splitlines()[1:]):
        value = line.split(";")[1]
        lines.append(f"02.03.2026 05:10:{number // 50:02d}.{number % 50 * 20:03d};{value};{value}")
    (folder / "puls3.csv").write_text("\n".join(lines[:3000]))
    result = asked(folder, "puls3.csv")
    assert {f.verdict for f in result.findings} == {"unknown"}
    assert all("no pulsation" in f.sentence for f in result.findings)


LINED = (
    "readings: 1\nfiles:\n  ml: {matches: ml.csv, separator: ';', decimal: ',', time: {column: t, "
    "written: seconds}, channels: {v: {is: vacuum, at: RC1}, l: {is: milkline_vacuum, at: ML1}}}\n"
)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("41,0;42,0", "column l: it stands above the receiver.*are the columns swapped"),
        ("42.10;41,0", "row 102: '42.10' in column v has a decimal point, and the map says"),
    ],
)
def test_a_file_that_is_not_what_its_map_says_is_refused_whole(
    folder: Path, row: str, said: str
) -> None:
    """Would fail if the line's vacuum entered the log as the receiver's, or 42.10 as 4210."""
    (folder / "readings.yaml").write_text(LINED)
    usual = row if "." not in row else "42,0;41,0"
    rows = [f"{i};{row if i == 100 else usual}" for i in range(300)]
    (folder / "ml.csv").write_text("t;v;l\n" + "\n".join(rows))
    with pytest.raises(ReadingsError, match=said):
        asked(folder, "ml.csv")


def test_a_single_value_that_cannot_be_is_left_out_and_told(folder: Path) -> None:
    """Would fail if one slip of a logger moved the mean vacuum by a kilopascal."""
    (folder / "readings.yaml").write_text(LINED)
    rows = [f"{i};{'1.042,10' if i == 33 else '42,0'};41,0" for i in range(600)]
    (folder / "ml.csv").write_text("t;v;l\n" + "\n".join(rows))
    found = asked(folder, "ml.csv")
    assert next(f for f in found.findings if f.key == "measured.vacuum").value == 42.0
    assert any("what no vacuum reaches in 1 of 600 rows" in n for n in found.notes)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("readings: 2\nfiles: {}\n", "readings"),
        ("readings: 1\nfiles: {a: {matches: x, time: {column: t}, channels: {c: {is: heat}}}}",
         "heat"),
        ("readings: 1\nfiles: {a: {matches: x, channels: {}}}", "time"),
        ("[", "YAML"),
    ],
)  # fmt: skip
def test_a_bad_map_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    """A misspelt quantity would be passed over in silence."""
    (tmp_path / "readings.yaml").write_text(text)
    with pytest.raises(MappingError, match=said):
        read_map(tmp_path / "readings.yaml")


def test_a_workbook_gives_the_same_as_its_csv(folder: Path) -> None:
    """Who exports XLSX would get other figures."""
    frame = pd.read_csv(folder / "vacuum1.csv")
    frame.to_excel(folder / "vacuum2.xlsx", index=False)
    kind = read_map(folder / "readings.yaml").files["receiver"]
    one = read_file(folder / "vacuum1.csv", "receiver", kind).readings[0].trace
    other = read_file(folder / "vacuum2.xlsx", "receiver", kind).readings[0].trace
    np.testing.assert_allclose(one.x, other.x)
    (folder / "vacuum3.xlsx").write_text("not a workbook")
    with pytest.raises(ReadingsError, match="no workbook"):
        read_file(folder / "vacuum3.xlsx", "receiver", kind)


@pytest.mark.parametrize("written", [STAMP, "%Y-%m-%d %H:%M:%S", "%d/%m/%Y %H:%M", "iso"])
def test_times_read_quickly_are_those_that_pandas_reads(written: str) -> None:
    """The quick way of reading a clock would drift from the sure one."""
    true = pd.Timestamp("2025-12-31 23:59:00") + pd.to_timedelta(np.arange(0, 300, 0.25), unit="s")
    form = "%Y-%m-%dT%H:%M:%S.%f" if written == "iso" else written
    text = pd.Series(true.strftime(form))
    wanted = (
        pd.to_datetime(text, format=form).to_numpy().astype("datetime64[us]").astype(float) / 1e6
    )
    np.testing.assert_allclose(seconds(text, written), wanted, atol=1e-6)
    np.testing.assert_allclose(seconds(text, written, 2.0), wanted - 7200.0, atol=1e-6)
    odd = text.copy()
    odd.iloc[7] = "31.13.2025 25:00:00.0"
    with pytest.raises(NoTime) as caught:
        seconds(odd, written)
    assert caught.value.row == 7


def test_a_stated_zone_wins_over_the_map() -> None:
    """Two instruments in two zones would be an hour apart on one certificate."""
    text = pd.Series(["2026-03-02T05:00:00+01:00", "2026-03-02T04:00:01Z"])
    one, other = seconds(text, "iso", 5.0)
    assert other - one == pytest.approx(1.0)
    own = pd.Series(["02.03.2026 05:00:00 +0100", "02.03.2026 04:00:01 +0000"])
    np.testing.assert_allclose(seconds(own, "%d.%m.%Y %H:%M:%S %z", 5.0), (one, other))


def test_a_clock_without_a_zone_is_that_of_this_computer(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was recorded in the evening in Denver would stand in the log, and on the certificate,
    as read at noon; beside a sheet of the same day the wrong one would be the last."""
    kind = ReadingsMap.model_validate({"readings": 1, "files": {"tank": {
        "matches": "*.csv", "time": {"column": "at", "written": "iso"},
        "channels": {"T": {"is": "tank_temperature", "at": "TK1", "unit": "degC"}},
    }}}).files["tank"]  # fmt: skip
    file = folder / "tank.csv"
    monkeypatch.setenv("TZ", "America/Denver")
    time.tzset()
    try:
        for text, behind in (("2026-07-01T18:00", 6), ("2026-12-01T18:00", 7),
                             ("2026-07-01T18:00Z", 0)):  # fmt: skip
            day = text[:10]
            rows = "".join(f"{text.replace('18:00', f'18:{m:02d}')},4\n" for m in range(15))
            file.write_text(f"at,T\n{rows}", encoding="utf-8")
            start = read_file(file, "tank", kind).readings[0].starts_utc
            wanted = pd.Timestamp(f"{day}T18:00Z").timestamp() + 3600.0 * behind
            assert start == pytest.approx(wanted), text
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_plus_or_minus_is_in_the_unit_of_its_column(folder: Path) -> None:
    """A gauge good to 0.1 inHg would be taken for one good to 0.1 kPa, and decide too much."""
    rows = "".join(f"{i},12.4,39\n" for i in range(40))
    (folder / "us.csv").write_text(f"s,v,T\n{rows}", encoding="utf-8")
    kind = ReadingsMap.model_validate({"readings": 1, "files": {"us": {
        "matches": "*.csv", "time": {"column": "s", "written": "seconds"},
        "channels": {"v": {"is": "vacuum", "at": "RC1", "unit": "inHg", "uncertainty": 0.1},
                     "T": {"is": "tank_temperature", "at": "TK1", "unit": "degF",
                           "uncertainty": 0.9}},
    }}}).files["us"]  # fmt: skip
    sure = [r.channel.uncertainty for r in read_file(folder / "us.csv", "us", kind).readings]
    assert sure == [pytest.approx(0.3386, rel=1e-3), pytest.approx(0.5)]


def test_readings_of_a_day_still_to_come_are_not_kept(tmp_path: Path) -> None:
    """An instrument whose clock is years ahead would be the last reading of its check for years."""
    log = Log(tmp_path / "log.sqlite", Owner("p", "one"))
    one = New("reading", time.time() + 3e6, "TK1", "", {
        "figure": "measured.tank_blend", "title": "Blend", "value": 6.0, "file": "tank.csv",
        "sha256": "ab", "when": "2062-01-01 10:00"})  # fmt: skip
    with pytest.raises(ByrewrightError, match=r"tank.csv: its clock says 2062.*still to come"):
        keep_news(log, [one], "anna")
    log.close()


@pytest.mark.parametrize(("written", "said"), [
    ("%d.%m.%Q", "%Q is no part of a time; known are %d"), ("%H:%", "% is no part"),
    ("%d.%m.%Y %d", "%d stands more than once"),
])  # fmt: skip
def test_a_time_that_cannot_be_written_so_is_refused(folder: Path, written: str, said: str) -> None:
    """A slip in the map would end in a traceback at the first file."""
    (folder / "readings.yaml").write_text(ZONED.replace("iso", f'"{written}"'))
    with pytest.raises(MappingError, match=said):
        read_map(folder / "readings.yaml")


def test_an_hour_at_100_hz_is_read_in_seconds(tmp_path: Path) -> None:
    """A day's trace would not be read before the engineer has gone."""
    one = chamber(60, 65, 42, seconds=1800.0)
    at = pd.Timestamp("2026-03-02 05:10:00") + pd.to_timedelta(one.t_s, unit="s")
    stamp = at.strftime(STAMP)
    pd.DataFrame({"Time": stamp, "Channel 1": one.x.round(2), "Channel 2": one.x.round(2)}).to_csv(
        tmp_path / "puls1.csv", sep=";", decimal=",", index=False
    )
    plan = ReadingsMap.model_validate(
        {"readings": 1, "files": read_template()["files"]}
    ).files["pulsation"]  # fmt: skip
    begun = time.process_time()
    found = read_file(tmp_path / "puls1.csv", "pulsation", plan)
    assert found.readings[0].trace.t_s.size == 180_000
    assert time.process_time() - begun < 1.5


def read_template() -> dict:
    """The template as plain data."""
    from byrewright.plant.source import load

    return load(template("PU1", "RC1"), "readings.yaml", MappingError, "readings: 1").data
