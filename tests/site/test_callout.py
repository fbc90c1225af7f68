"""Call-out: what may be behind a sight, the record of a call, the dialogue at the prompt."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from byrewright.commands import call as command
from byrewright.documents.call_sheet import Pictures, call_html, guide_in
from byrewright.documents.format import System
from byrewright.errors import ByrewrightError
from byrewright.plant.machine import kinds
from byrewright.plant.read import read_plant_text
from byrewright.site.callout.guide import SHOWN, Guide, bare_guide, guide_of
from byrewright.site.callout.record import from_data, head_of, read_calls, take
from byrewright.site.callout.sights import SIGHTS
from byrewright.site.condition.causes import causes
from byrewright.site.log import Log, Owner
from byrewright.standards.rulebook import default_rulebook
from tests.documents.test_us_units import METRIC, words_of
from tests.plant.small import SMALL
from tests.plants import rotary, rows

OWNER = Owner("plant-1", "(invented) one")
NOT_URGENT = {"cloth_washer", "cloth_dryer", "calf_feed", "tanker_bay", "non_return_valve",
              "moisture_trap"}  # fmt: skip
"""Nobody calls at night for these; a non-return valve is found by what its failure does."""

NOT_DRAWN = {"platform", "deck_rollers", "automatic_removal", "milk_meter", "switchboard"}
"""No drawing shows them as a machine of its own; the plan does, where the file has one."""


@pytest.fixture(scope="module")
def guide() -> Guide:
    """The guide of the small plant."""
    return guide_of(read_plant_text(SMALL).plant, default_rulebook())


@pytest.fixture
def log(tmp_path: Path) -> Any:
    """An empty log."""
    one = Log(tmp_path / "log.sqlite", OWNER)
    yield one
    one.close()


def call(**more: Any) -> dict[str, Any]:
    """A call as the page saves it."""
    return {
        "id": "c1", "at": 1_774_000_000, "who": "Anna", "sight": "milk", "tag": "MP1",
        "asked": [{"look": "milk_pump: stops", "at": "MP1", "answer": "yes"}],
        "outcome": "goes on", "remark": "", **more,
    }  # fmt: skip


def record(*calls: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A record as the page saves it."""
    return head_of(OWNER) | {"calls": list(calls)} | more


def test_every_kind_that_can_fail_at_night_is_behind_some_sight() -> None:
    """Would fail if a caller could never be led to a machine that stands."""
    roles = {r for s in SIGHTS for r in s.roles}
    lost = {k for k, one in kinds().items() if one.FAILURES and not one.CAN & roles}
    assert lost <= NOT_URGENT


def test_causes_are_those_that_give_the_sight_the_likeliest_first(guide: Guide) -> None:
    """Would fail if a caller were sent to what is rare first, or to a machine that is not there."""
    assert guide.seen[0].sight.key == "hurt", "danger first"
    for seen in guide.seen:
        shares = [c.share for c in seen.looks]
        assert shares == sorted(shares, reverse=True) and sum(shares) <= 1.0 + 1e-9
        assert len(shares) == SHOWN or not shares or sum(shares) == pytest.approx(1.0)
        for one in seen.looks:
            at = {p.tag for p in guide.looks[one.look].places}
            assert set(one.tags) <= at <= set(guide.plant.equipment)
    milk = next(s for s in guide.seen if s.sight.key == "milk")
    assert any(c.look == "milk_pump: stops" for c in milk.looks)
    deck = next((s for s in guide.seen if s.sight.key == "deck"), None)
    assert deck is None or not any(c.look.startswith("milk_pump") for c in deck.looks)


def test_a_caller_at_fixed_stalls_is_not_asked_for_a_deck() -> None:
    """Would fail if who milks in rows were told to keep from under a deck."""
    told = " ".join(w for s in bare_guide(rows()).seen for w in (s.sight.words, *s.sight.first))
    assert "deck" not in told.casefold() and "round once more" not in told
    assert any("deck" in s.sight.words for s in bare_guide(rotary()).seen)


def test_diagnosis_ranks_what_it_has_a_model_of(guide: Guide) -> None:
    """Would fail if call-out and diagnosis put the same causes in another order."""
    for seen in guide.seen:
        if not seen.sight.complaint:
            continue
        told = causes(guide.plant, [seen.sight.complaint], (), default_rulebook())
        chances = {f: c.share / len(c.faults) for c in told for f in c.faults}
        single = [
            (c.share, chances[f"{c.tags[0]} {guide.looks[c.look].way}"])
            for c in seen.looks
            if len(c.tags) == 1 and f"{c.tags[0]} {guide.looks[c.look].way}" in chances
        ]
        assert [b for _, b in single] == sorted((b for _, b in single), reverse=True)


def test_every_step_says_who_is_licensed_and_where_it_is(guide: Guide) -> None:
    """Would fail if a milker were led to open a board, or a machine had no picture."""
    pictures = Pictures(guide.plant)
    for look in guide.looks.values():
        assert look.seen.endswith(".") and look.who and look.when
        for place in look.places:
            kind = guide.plant.equipment[place.tag].kind
            assert pictures.of(place.tag) is not None or kind in NOT_DRAWN, place.tag
    boards = [x for k, x in guide.looks.items() if k.startswith(("mains", "switchboard"))]
    assert boards and all("electrician" in x.who for x in boards)


def test_what_may_hold_hot_caustic_when_it_is_opened_says_so() -> None:
    """Would fail if somebody were led to open a filter or a cooler after a wash without a word."""
    for kind in ("milk_filter", "plate_cooler"):
        assert any("caustic" in one for one in kinds()[kind].CAUTIONS), kind


def test_the_page_is_one_file_without_a_network(guide: Guide) -> None:
    """Would fail if the page asked another computer for anything, or lost a sight."""
    page = call_html(guide, head_of(OWNER), made="2026-03-31")
    assert "@DATA@" not in page and "@SHEETS@" not in page
    assert "http://www.w3.org/2000/svg" in page
    assert page.count("http") == page.count("http://www.w3.org/2000/svg")
    data = json.loads(page.split('id="data">')[1].split("</script>")[0])
    assert [s["key"] for s in data["sights"]] == [s.sight.key for s in guide.seen]


def test_what_to_do_first_needs_no_study(guide: Guide) -> None:
    """Would fail if a caller waited for a study before the first word."""
    bare = bare_guide(guide.plant)
    assert {s.sight for s in guide.seen} <= {s.sight for s in bare.seen}
    assert bare.positions == guide.positions and bare.mode == guide.mode
    page = call_html(bare, head_of(OWNER), made="2026-03-31", send="/e", wait="/ready")
    assert '"wait":"/ready"' in page and "<symbol" not in page


def test_a_call_is_kept_once_and_an_open_one_gives_way(log: Log) -> None:
    """Would fail if a call stood twice in the log, or one that ended stayed open."""
    told, calls = from_data("calls.json", record(call(outcome="open", tag="")))
    take(log, "calls.json", told, calls, OWNER)
    with pytest.raises(ByrewrightError, match="not in the log already"):
        take(log, "calls.json", told, calls, OWNER)
    told, calls = from_data("calls.json", record(call(), call(id="c2")))
    first, second = take(log, "calls.json", told, calls, OWNER)
    assert first.corrects and not second.corrects
    assert first.data["outcome"] == "goes on" and first.tag == "MP1"
    assert not log.verify()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (record(call(), plant_id="plant-2", plant="Other"), "another plant, Other"),
        (record(call(at=9e10)), "lies in the future"),
        (record(call(who=" ")), "does not say who called"),
        (record(call(outcome="won")), "what no call can say"),
        (record(call(asked=[{"look": "x"}])), "cannot be read"),
        (record(call(remark="x" * 3000)), "cannot be read"),
        (record(call(at=True)), "cannot be read"),
        (record(), "holds no call"),
        ({"byrewright_calls": 1}, "holds no calls"),
        ([], "is not a record of calls"),
    ],
)
def test_what_is_no_record_is_refused_whole(log: Log, told: Any, words: str) -> None:
    """Would fail if a broken record left half of itself in the log."""
    with pytest.raises(ByrewrightError, match=words):
        head, calls = from_data("calls.json", told)
        take(log, "calls.json", head, calls, OWNER)
    assert log.home.identity() is None or log.entries() == []


def test_a_file_that_was_cut_off_is_told(tmp_path: Path) -> None:
    """Would fail if a half copied file gave a traceback."""
    path = tmp_path / "calls.json"
    path.write_text(json.dumps(record(call()))[:-20], encoding="utf-8")
    with pytest.raises(ByrewrightError, match="cut off"):
        read_calls(path)
    with pytest.raises(ByrewrightError, match="no such file"):
        read_calls(tmp_path / "none.json")


def test_the_dialogue_leads_to_the_steps_and_keeps_the_call(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    guide: Guide,
) -> None:
    """Would fail if a caller at the prompt got no step, or the call was not kept."""
    path = tmp_path / "plant.yaml"
    path.write_text(SMALL, encoding="utf-8")
    keys = [s.sight.key for s in guide.seen]
    milk = guide.seen[keys.index("milk")]
    first = milk.looks[0]
    said = ["what", str(keys.index("milk") + 1), "maybe", "y"]
    said += [first.tags[0].casefold()] if len(first.tags) > 1 else []
    said += ["n", "q"]
    lines = iter([*said, "quiet again"])
    monkeypatch.setattr("builtins.input", lambda _: next(lines))
    command.run(path, who="Anna")
    out = capsys.readouterr().out
    assert "Type a number from 1 to" in out and "Put no more cups on" in out
    assert "Stop and call" in out and "the call is kept in" in out
    log = Log(tmp_path / "plant.site.sqlite", Owner("", ""))
    try:
        (entry,) = log.entries("call")
    finally:
        log.close()
    assert entry.data["outcome"] == "open" and entry.data["remark"] == "quiet again"
    assert entry.data["asked"] == [{"look": first.look, "at": first.tags[0], "answer": "no"}]


def test_a_us_caller_is_told_no_metric_unit(guide: Guide) -> None:
    """A caller with a gauge in inches of mercury would be told kPa, on page or prompt."""
    name, look = next(iter(guide.looks.items()))
    place = replace(look.places[0], acts=("wait for 40 kPa",))
    told = replace(look, seen="It stays under 40 kPa.", places=(place, *look.places[1:]))
    asked = replace(guide, looks={**guide.looks, name: told})
    turned = guide_in(asked, "US").looks[name]
    assert turned.seen == "It stays under 11.8 inHg."
    assert turned.places[0].acts == ("wait for 11.8 inHg",)

    def letters(units: System) -> list[str]:
        page = call_html(asked, head_of(OWNER), made="2026-03-01", units=units)
        data = re.search(r'id="data"[^>]*>(.*?)</script>', page, re.DOTALL)
        assert data is not None
        words = [w for w in words_of(json.loads(data[1])) if "<svg" not in w]
        words += re.findall(r">([^<]+)</text>", page)
        return [w for w in words if METRIC.search(w)]

    assert len(letters("metric")) > 2
    assert letters("US") == []
