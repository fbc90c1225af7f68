"""The folder that is served: nothing outside it, no lost change, no half file."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from byrewright.web.folder import Conflict, Folder, NotServed
from tests.plant.small import SMALL

PLANT = "byrewright: 1\n# a remark\n"


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """A folder to serve, and a plant outside it that must never be seen."""
    inside = tmp_path / "inside"
    (inside / "north").mkdir(parents=True)
    (inside / "one.yaml").write_text(PLANT)
    (inside / "north" / "two.yaml").write_text(PLANT)
    (inside / "notes.yaml").write_text("shopping: [milk]\n")
    (tmp_path / "secret.yaml").write_text(PLANT + "# secret\n")
    return inside


def test_only_plant_files_are_listed(tree: Path) -> None:
    """Would fail if other files of the folder could be opened by address."""
    assert sorted(Folder(tree).files()) == ["north~two", "one"]


@pytest.mark.parametrize(
    "slug",
    ["../secret", "..~secret", "north~..~..~secret", "/etc/passwd", "", ".", "one.yaml", "one\0",
     "%2e%2e%2fsecret", "~", "north~two~"],
)  # fmt: skip
def test_no_address_leads_outside(tree: Path, slug: str) -> None:
    """Would fail if an address could be joined to a path."""
    folder = Folder(tree)
    with pytest.raises(NotServed):
        folder.open(slug)
    with pytest.raises(NotServed):
        folder.save(slug, "x", "")


def test_links_that_lead_outside_are_not_served(tree: Path) -> None:
    """Would fail if a symbolic link to a file or folder outside were followed."""
    (tree / "link.yaml").symlink_to(tree.parent / "secret.yaml")
    (tree / "up").symlink_to(tree.parent)
    (tree / "dead.yaml").symlink_to(tree / "nowhere.yaml")
    (tree / "loop.yaml").symlink_to(tree / "loop.yaml")
    assert sorted(Folder(tree).files()) == ["north~two", "one"]


def test_a_brief_or_limits_linked_outside_is_not_read(tree: Path) -> None:
    """Would fail if files beside the plant could carry foreign text into a page."""
    (tree / "brief.yaml").symlink_to(tree.parent / "secret.yaml")
    (tree / "limits.yaml").symlink_to(tree.parent / "secret.yaml")
    folder = Folder(tree)
    assert folder.brief("one") is None
    assert "secret" not in str(folder.open("one").problems)
    with pytest.raises(NotServed):
        folder.save_brief("one", "cows: 5\n", "")


def test_a_plant_alone_is_served_alone(tree: Path) -> None:
    """Would fail if serving one file showed its neighbours."""
    assert list(Folder(tree / "one.yaml").files()) == ["one"]


def test_the_second_of_two_savers_is_told(tree: Path) -> None:
    """Would fail if a change of somebody else could be lost."""
    folder = Folder(tree)
    first = folder.open("one").digest
    folder.save("one", PLANT + "# mine\n", first)
    with pytest.raises(Conflict) as told:
        folder.save("one", PLANT + "# late\n", first)
    assert told.value.theirs.endswith("# mine\n")
    assert (tree / "one.yaml").read_text().endswith("# mine\n")


def test_of_many_savers_at_once_one_wins(tree: Path) -> None:
    """Would fail if looking and saving were not one step."""
    folder = Folder(tree)
    loaded = folder.open("one").digest
    won: list[int] = []
    gate = threading.Barrier(8)

    def saver(number: int) -> None:
        gate.wait()
        try:
            folder.save("one", f"{PLANT}# {number}\n", loaded)
            won.append(number)
        except Conflict:
            return

    many = [threading.Thread(target=saver, args=(i,)) for i in range(8)]
    for one in many:
        one.start()
    for one in many:
        one.join()
    assert len(won) == 1
    assert (tree / "one.yaml").read_text() == f"{PLANT}# {won[0]}\n"
    assert sorted(p.name for p in tree.iterdir()) == ["north", "notes.yaml", "one.yaml"]


def test_a_broken_file_is_told_not_raised(tree: Path) -> None:
    """Would fail if a broken plant file brought a page down."""
    (tree / "bad.yaml").write_text("byrewright: 1\nequipment: [\n")
    (tree / "bytes.yaml").write_bytes(b"byrewright: 1\n\xff\xfe")
    folder = Folder(tree)
    for slug in ("bad", "bytes", "one"):
        opened = folder.open(slug)
        assert not opened.sound
        assert opened.problems


def test_a_users_own_limits_and_table_make_another_plant(tmp_path: Path) -> None:
    """Would fail if a page kept a verdict that a new limits file or table had overtaken, or did
    not notice that the files have changed."""
    (tmp_path / "plant.yaml").write_text(SMALL, encoding="utf-8")
    folder = Folder(tmp_path)
    seen = [(folder.open("plant").key, folder.state_of("plant"))]
    for name, text in (
        ("limits.yaml", "alarm.chattering: 1\n"),
        ("milkline_table.yaml", "looped: {73: {1.0: 9}}\n"),
        ("plant.yaml", SMALL + "\n# a remark\n"),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
        seen.append((folder.open("plant").key, folder.state_of("plant")))
    assert len({key for key, _ in seen}) == len({state for _, state in seen}) == len(seen)


def test_the_folder_knows_when_any_of_its_plants_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would fail if the page of all plants went on showing a farm that is gone, or an old one."""
    monkeypatch.setattr("byrewright.web.folder.EVERY_S", -1.0)
    one, two = tmp_path / "one.yaml", tmp_path / "two.yaml"
    one.write_text(SMALL, encoding="utf-8")
    folder = Folder(tmp_path)
    seen = [folder.state()]
    for change in (
        lambda: two.write_text(SMALL, encoding="utf-8"),
        lambda: one.write_text(SMALL + "# a remark\n", encoding="utf-8"),
        lambda: (tmp_path / "limits.yaml").write_text("alarm.chattering: 1\n"),
        two.unlink,
    ):
        change()
        assert folder.state() not in seen and folder.state() == folder.state()
        seen.append(folder.state())
