"""Every message about a file: reached by a broken file, placed, and written down for people."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from byrewright.plant.brief import read_brief_text
from byrewright.plant.limits import read_limits_text
from byrewright.plant.messages import CATALOGUE
from byrewright.plant.problems import FileProblems, Problem, nearest, problem
from byrewright.plant.read import read_plant, read_plant_text
from tests.plant.small import SMALL

ROOT = Path(__file__).resolve().parents[2]
BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{n}: &{n} [{', '.join(['*' + before] * 9)}]\n"
    for before, n in zip("abcdefg", "bcdefgh", strict=True)
)

CASES: list[tuple[str, str, str, str]] = [
    # code, what is replaced in the small plant, by what, and what the sentence must say
    ("F005", SMALL, "# nothing\n", "plant.yaml:1: the file is empty"),
    ("F006", "  cows: 320", "\tcows: 320", "plant.yaml:10: a tab"),
    ("F007", "[7, 7, 8,", "[[7, 7, 8,", "cannot be read as YAML"),
    ("F007", "sensed: true", "sensed: @on", "text that begins with this character must stand in"),
    (
        "F007",
        "  cows: 320",
        "   cows: 320",
        "plant.yaml:11: this cannot be read as YAML: the indent",
    ),
    ("F007", "ways: 2,", "ways: 2", "a comma or } is missing"),
    ("F009", "count: 40", "count: *many", "*many is not defined above it"),
    ("F022", "does: idle", "does: []", "modes.calm.does: missing: what the plant does in it"),
    ("F008", "sensed: true", "sensed: [[[[[[[[[[[[[[1]]]]]]]]]]]]]]", "nested too deeply"),
    ("F009", SMALL, BOMB, "repeats too much"),
    (
        "F010",
        "  RC1:",
        "  MU1: {kind: mains}\n  RC1:",
        "equipment: MU1 stands twice in the same place",
    ),
    ("F011", "count: 40", "count: !!int 40", "the tag !!int is not accepted"),
    (
        "F012",
        "Hollow",
        "Hol\x00low",
        "plant.yaml:4: a character that cannot stand in text (U+0000)",
    ),
    ("F013", "modes:\n", "---\nmodes:\n", "more than one document"),
    ("F014", SMALL, "- 1\n", "expected keys with values, such as byrewright: 1, found a list"),
    ("F014", "{kind: tanker_bay}", "tanker", "equipment.TB1: expected keys with values"),
    (
        "F020",
        "kind: valve, ways",
        "kind: valve, wais",
        "equipment.V11.wais: the key is not known; did you mean ways?",
    ),
    # the site's supply owns it: two of them could differ
    ("F020", "kva: 120}", "kva: 120, fault_kva: 500}", "equipment.EM1.fault_kva: the key is not"),
    ("F040", "does: idle", "does: idle, V12: open", 'no machine "V12"; did you mean V11?'),
    (
        "F021",
        "vacuum_pump",
        "vacum_pump",
        '"vacum_pump" is not a kind of machine; did you mean vacuum_pump?',
    ),
    (
        "F022",
        "    capacity_l_min_free: 4200   # duty with reserve\n",
        "",
        "free air drawn at full speed at the stated vacuum, 100 to 60000 L/min",
    ),
    ("F022", "{kind: tanker_bay}", "{count: 1}", "equipment.TB1.kind: missing"),
    ("F024", "sensed: true", "sensed: maybe", '"maybe" is not true or false'),
    ("F024", "count: 40", "count: true", "true is not a whole number (1 to 2000)"),
    ("F024", "bend: 3", "bend: few", "pipes.L4.fittings"),
    ("F025", "length_m: 2 m}", "length_m: 2 kg}", "kg is a mass, not a length; write mm, cm, m"),
    ("F025", "3 in", "3 inc", "did you mean"),
    ("F026", "3 in", "40 in", '"40 in" (1016 mm) is out of range: 25 to 200 mm'),
    (
        "F026",
        "slope_pct: 1, length_m: 38",
        "slope_pct: .inf, length_m: 38",
        "out of range: 0 to 5 %",
    ),
    ("F027", "ways: 2", "ways: 4", "equipment.V11.ways: 4 is not one of 2, 3"),
    ("F027", 'time_class: "I"', "time_class: 0", '0 is not one of "0", I, II, III'),
    ("F028", "[7, 7, 8,", "[7, 8,", "site.water_temperature_c: 11 values given, 12 needed"),
    (
        "F029",
        '"05:00"',
        '"5 o\'clock"',
        'milkings.morning.start: expected a time of day such as "05:30"',
    ),
    ("F030", "byrewright: 1", "byrewright: 9", "plant.yaml:2: byrewright: version 9 of the format"),
    ("F030", "byrewright: 1\n", "", "version (not stated)"),
    ("F031", "  EM1:", "  E.M1:", '"E.M1" cannot be a tag'),
    ("F032", "id: L9", "id: L1", 'the tag "L1" is used twice; the first is on line 38'),
    ("F032", "name: low", "name: high", 'the tag "high" is used twice'),
    (
        "F040",
        "fed_from: [SB1]",
        "fed_from: [SB9]",
        'equipment.MP1.fed_from: there is no machine "SB9"; did you mean SB1?',
    ),
    ("F041", "led_by: RC1", "led_by: PF1", "PF1 is a platform, which does not hold milk"),
    ("F042", "[high, low]", "[high, lower]", 'there is no group "lower"; did you mean low?'),
    (
        "F043",
        "like: milking",
        "like: milkings",
        'there is no mode "milkings"; did you mean milking?',
    ),
    ("F044", "like: milking", "like: calm", "in a circle"),
    ("F045", "V11: open", "V11: to_b", '"to_b" is not a state of V11; it has closed, open'),
    ("F045", "ways: 2", "ways: 2, normally: ajar", "equipment.V11.normally"),
    ("F046", "TK1: fills", "EM1: fills", "EM1 has no states"),
    ("F050", "to: V11.a", "to: V11", 'pipes.L6.to: "V11" is not written machine.port'),
    ("F051", "to: V11.a", "to: V11.x", 'V11 (valve) has no port "x"; known are a, b'),
    ("F051", "units_1", "unit_1", "did you mean units_1?"),
    ("F051", "at_port: outlet", "at_port: outlets", "did you mean outlet?"),
    (
        "F052",
        "from: RC1.vacuum",
        "from: RC1.outlet",
        "RC1.outlet and ST1.receiver have no service in common",
    ),
    (
        "F053",
        "length_m: 4, service: milk",
        "length_m: 4",
        "the ports leave a choice of service: milk, wash",
    ),
    (
        "F054",
        "length_m: 4, service: milk",
        "length_m: 4, service: air",
        "cannot carry air; they carry milk, wash",
    ),
    (
        "F055",
        "to: TB1.inlet_1",
        "to: TK1.inlet_1",
        "the port TK1.inlet_1 is already joined by pipe L7",
    ),
    ("F056", "to: TB1.inlet_1", "to: TK1.outlet", "begins and ends at the same port TK1.outlet"),
    ("F057", "  - {id: L4,", "  # - {id: L4,", "missing port: no pipe reaches ST1.vacuum (vacuum)"),
    ("C001", "does: milking", "does: rinse", "no mode does milking"),
    ("C002", "cows: 320", "cows: 330", "the groups hold 320 cows, the herd 330"),
    ("C003", "withheld_cows: 4", "withheld_cows: 400", "400 of 120 cows"),
    ("C007", "16:30", "05:00", "two milkings start at 05:00"),
    ("C008", "fed_from: EM1", "fed_from: SB1", "power goes round in a circle: SB1"),
    ("C009", "[7, 7, 8,", "[7, 7, 80,", "80 degC is not a temperature of water that runs"),
    ("C010", "[2, 3, 6,", "[2, 3, 600,", "600 degC is not an ambient"),
    (
        "C011",
        "led_at_l: 40",
        "stop_at_l: 60, start_at_l: 50",
        "60 L is not less than start_at_l (50 L)",
    ),
    ("C012", "led_at_l: 40", "led_at_l: 140", "140 L is more than the vessel holds (120 L)"),
    ("C014", "region: EU", "region: EUU", 'no rule set for region "EUU"; did you mean EU?'),
    (
        "C016",
        "modes:\n",
        "  - {id: L10, from: TK1.sample, to: WM1.outlet, bore_mm: 10, length_m: 1}\nmodes:\n",
        "pipes.L10: TK1.sample and WM1.outlet both give out, so nothing flows",
    ),
    ("C020", 'collections:\n  - {at: "10:00", tanker_l: 20 m3}\n', "", "no collection is stated"),
    ("C021", 'I", fed_from: SB1', 'I"', "TK1 is not fed from anything"),
    ("C023", "moved_by: hand", "moved_by: air", "equipment.V11: moved by air"),
    (
        "C024",
        ", V11: open",
        "",
        "modes.milking: V11 closed: taken so where a mode does not state it (milking)",
    ),
    ("C025", "MP1: runs", "MP1: stopped", "equipment.MP1: is stopped in every mode"),
    (
        "C026",
        "target_h: 3}",
        "target_h: 13}",
        "milking lasts 16:30 to 05:30, past the start of the next at 05:00",
    ),
    ("C028", "target_h: 3", "target_h: 3, share: 0.6", "add up to 1.2, not 1"),
    (
        "C030",
        "groups: [high, low]}\n  - {name: evening, start: 16:30, target_h: 3}",
        "groups: [high]}\n  - {name: evening, start: 16:30, target_h: 3, groups: [high]}",
        'herd.groups.low: group "low" takes part in no milking',
    ),
    ("C031", "wishes:", "cleaning: {washes_a_day: 3}\nwishes:", "3 washes a day but 2 milkings"),
    (
        "F029",
        "wishes:",
        "cleaning: {steps: [rinse, xyzzy]}\nwishes:",
        'cleaning.steps.2: no step of a wash is called "xyzzy"; known are rinse, warm '
        "rinse, alkaline wash, acid wash, acid rinse, sanitising rinse, cold rinse",
    ),
    ("C029", "count: 40", "count: 39", "39 milking units for 40 stalls"),
]
FOUND_ELSEWHERE = {
    "F001", "F002", "F003", "F004",  # the file as such, below
    "C004", "C005", "C006", "C022", "C027", "C015", "C040",  # in test_check, test_colours
    "L001", "L002", "L003", "L004", "L005", "L006",  # limits, below
    "L007",  # the table of units per slope, in commands/test_options
    "F033",  # a region without a rule, in test_half_the_world
    "C041",  # a machine no study reads, in test_new_machines
    "C042", "C043", "C044",  # wash in drinking water, hard water, a fall gainsaid, in test_check
    "C045",  # washes that no mode does, in test_check
}  # fmt: skip


def problems_of(text: str) -> tuple[Problem, ...]:
    """What is wrong with a plant file, its cross checks included."""
    try:
        return read_plant_text(text).check()
    except FileProblems as error:
        return error.problems


def test_the_small_plant_is_sound() -> None:
    """Would fail if every case below were broken for a reason of its own."""
    assert problems_of(SMALL) == ()


@pytest.mark.parametrize(("code", "old", "new", "says"), CASES, ids=lambda v: str(v)[:24])
def test_each_mistake_gets_its_message(code: str, old: str, new: str, says: str) -> None:
    """Would fail if a mistake were passed over, or told in other words or at another place."""
    assert old in SMALL
    found = problems_of(SMALL.replace(old, new))
    assert code in {p.code for p in found}, [str(p) for p in found]
    one = next(p for p in found if p.code == code)
    assert f" {one.severity} {code}: " in str(one)
    assert says in str(one).replace(f"{one.severity} {code}: ", "", 1), str(one)
    assert one.file == "plant.yaml"


def test_every_message_is_reached_by_a_test() -> None:
    """Would fail if a message were added that no broken file shows."""
    assert {c for c, *_ in CASES} | FOUND_ELSEWHERE == set(CATALOGUE)


@pytest.mark.parametrize("code", CATALOGUE)
def test_every_message_says_how_to_repair(code: str) -> None:
    """Would fail if a message left the reader without a next step, or scolded."""
    one = CATALOGUE[code]
    assert one.repair.endswith((".", "`."))
    assert one.template[0].islower() or one.template[0] == "{"
    assert not re.search(r"\b(illegal|invalid|fatal|bad)\b|!$", one.template)


def test_all_problems_are_told_at_once_in_file_order() -> None:
    """Would fail if the reader stopped at the first mistake."""
    text = SMALL.replace("ways: 2", "ways: 4").replace("3 in", "40 in").replace("L9", "L1")
    found = problems_of(text.replace("vacuum_pump", "vacum_pump"))
    assert [p.code for p in found][:4] == ["F026", "F021", "F027", "F032"]
    assert [p.line for p in found] == sorted(p.line for p in found)


def test_a_bad_machine_does_not_spoil_the_others() -> None:
    """Would fail if one wrong machine brought complaints about pipes that are right."""
    found = problems_of(SMALL.replace("volume_l: 120,", "volume_l: 12 kg,"))
    assert [p.code for p in found] == ["F025"]


def test_lines_are_known_for_every_key() -> None:
    """Would fail if a page or a finding could not point at the line of a value."""
    lines = read_plant_text(SMALL).lines
    rows = SMALL.splitlines()
    for key in (
        "equipment.V11.ways",
        "pipes.L4.bore_mm",
        "modes.calm.V11",
        "milkings.evening.start",
        "site",
    ):
        line, column = lines[key]
        assert rows[line - 1][column - 1 :].startswith(key.split(".")[-1] + ":"), key
    assert lines["pipes.L4"][0] == lines["pipes.L4.bore_mm"][0]


def test_a_slip_in_a_port_is_told_once() -> None:
    """Would fail if a port written wrongly were also called missing."""
    found = problems_of(SMALL.replace("from: RC1.vacuum", "from: RC1.vacum"))
    assert [p.code for p in found] == ["F051"]


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_file_cut_short_is_told_in_few_lines(share: float) -> None:
    """Would fail if one cut flooded the screen with a message for each pipe that is gone."""
    lines = SMALL.splitlines(keepends=True)
    found = problems_of("".join(lines[: int(len(lines) * share)]))
    assert 0 < len(found) <= len({p.code for p in found}) + 3


def test_a_machine_that_is_gone_is_told_once() -> None:
    """Would fail if one lost line gave a message at each pipe that names it."""
    (lost,) = [p for p in problems_of(SMALL.replace("  RC1: {", "  # {")) if p.code == "F040"]
    assert "and 4 more of the same: equipment.SN1.on, pipes.L2.to, pipes.L3.from, ..." in str(lost)
    (whole,) = problems_of(SMALL.replace("equipment:", "machinery:"))[1:]
    assert whole.key == "machinery"


def test_place_is_the_value_itself() -> None:
    """Would fail if line and column pointed beside the mistake."""
    text = SMALL.replace("ways: 2", "ways: 4")
    (one,) = problems_of(text)
    line = text.splitlines()[one.line - 1]
    assert line[one.column - 1 :].startswith("4, moved_by")


@pytest.mark.parametrize(
    ("name", "raw", "says"),
    [
        ("x.yaml", b"caf\xe9: 1\n", "x.yaml:1: error F004: the file is not UTF-8 text (byte 0xe9)"),
        ("x.yaml", b"a: 1\n" * 1_100_000, "too large"),
        ("x.yaml", b"", "the file is empty"),
        ("x.yaml", b"\xff\xfeb\x00", "not UTF-8"),
    ],
)
def test_files_that_are_no_text(tmp_path: Path, name: str, raw: bytes, says: str) -> None:
    """Would fail if bytes that are no plant ended in anything but a sentence."""
    path = tmp_path / name
    path.write_bytes(raw)
    with pytest.raises(FileProblems, match=re.escape(says)):
        read_plant(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """Would fail if a wrong name ended in a traceback."""
    with pytest.raises(FileProblems, match="cannot be read: no such file"):
        read_plant(tmp_path / "none.yaml")
    with pytest.raises(FileProblems, match="this is a folder"):
        read_plant(tmp_path)
    with pytest.raises(FileProblems, match="cannot be read"):
        read_plant("a\0b")


def test_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    """Would fail if a file saved by a common editor were refused."""
    path = tmp_path / "plant.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.encode())
    assert read_plant(path).plant == read_plant_text(SMALL).plant


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("vacuum.no_such: 3\n", "no rule is called"),
        ("vacuum: {iso_drop_receiver_to_pump_kpa: high}\n", "not a number"),
        ("vacuum.iso_drop_receiver_to_pump_kpa: true\n", "true is not a number in kPa"),
        ("ups.margin: 0\n", "error L003: ups.margin: 0 is out of range: 1 to 5"),
        ("coolant: {rise_k: 1e299}\n", "1e+299 is out of range: 0.5 to 20 K"),
        ("vacuum.iso_drop_receiver_to_pump_kpa: 3 kg\n", "kg is a mass, not a pressure"),
    ],
)
def test_limits_are_told_like_plants(text: str, says: str) -> None:
    """Would fail if a mistyped limit were passed over: the default would then be used unseen."""
    with pytest.raises(FileProblems, match=re.escape(says)):
        read_limits_text(text)


def test_nearest_offers_what_was_meant() -> None:
    """Would fail if a slip of the pen got no suggestion, or a far word a silly one."""
    assert nearest("vacum_pump", ["vacuum_pump", "milk_pump"]) == "; did you mean vacuum_pump?"
    assert nearest("zzz", ["a", "b"]) == "; known are a, b"
    assert nearest("zzz", [str(i) for i in range(40)]) == ""


@pytest.mark.parametrize(
    "read", [read_plant_text, read_brief_text, read_limits_text], ids=["plant", "brief", "limits"]
)
@pytest.mark.parametrize(
    "text", ["", "\t", "- a", "a: [", "? [a]: b", "&a [*a]", "5", "!!python/x y"]
)
def test_no_reader_ever_raises_anything_else(read: Callable[[str], object], text: str) -> None:
    """Would fail if one of the three readers let another exception through."""
    with pytest.raises(FileProblems):
        read(text)


def test_errors_are_documented() -> None:
    """Would fail if docs/errors.md fell behind the catalogue."""
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    missing = [c for c, m in CATALOGUE.items() if f"| {c} |" not in text or m.repair not in text]
    assert not missing, "run tools/plant_docs.py"


def test_problem_as_text() -> None:
    """Would fail if the place were not in front, where editors look for it."""
    one = problem("F027", file="p.yaml", line=4, key="V1.ways", found="4", allowed="2, 3")
    assert str(one) == "p.yaml:4: error F027: V1.ways: 4 is not one of 2, 3"
    assert one.severity == "error" and one.repair
