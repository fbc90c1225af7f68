"""A plant's own service colours: on drawings and pages, never in place of letter and pattern."""

from __future__ import annotations

import colorsys

import pytest

from byrewright.documents.ink import SERVICE_INK, ink_of, own_colours, pale
from byrewright.documents.schematic import schematic_svg
from byrewright.plant.problems import PlantError
from byrewright.plant.read import read_plant_text
from byrewright.plant.write import plant_to_text
from byrewright.web.look import DARK, LIGHT, own_style
from tests.plant.small import SMALL

OWN = "#115533"
LEAST_HUE = 15.0  # degrees from the accent; common practice, no source
COLOURED = SMALL.replace("\nwishes:", f'\ncolours: {{vacuum: "{OWN}"}}\nwishes:')


def test_a_sheet_is_drawn_in_the_plants_own_colour() -> None:
    """Would fail if the colour of the file were not used, or were left on for the next plant."""
    default = SERVICE_INK["vacuum"].colour
    own = schematic_svg(read_plant_text(COLOURED).plant, "vacuum")
    plain = schematic_svg(read_plant_text(SMALL).plant, "vacuum")
    assert OWN in own and default not in own
    assert default in plain and OWN not in plain
    assert own.replace(OWN, default) == plain


def test_letter_and_pattern_stay() -> None:
    """Would fail if a service could be told by its colour alone."""
    with own_colours({"vacuum": OWN}):
        ink = ink_of("vacuum")
    assert ink.colour == OWN
    assert (ink.letter, ink.dashes) == (SERVICE_INK["vacuum"].letter, SERVICE_INK["vacuum"].dashes)


def test_colours_come_back_out_of_the_file() -> None:
    """Would fail if saving a plant lost its colours."""
    plant = read_plant_text(COLOURED).plant
    assert read_plant_text(plant_to_text(plant)).plant == plant
    assert plant.colours.stated() == {"vacuum": OWN}


@pytest.mark.parametrize("wrong", ["green", "#12345", "url(x)", "#12345g"])
def test_what_is_no_colour_is_refused(wrong: str) -> None:
    """Would fail if a word from a file could reach a style sheet."""
    with pytest.raises(PlantError, match=r"colours.vacuum.*#1f4e8c"):
        read_plant_text(COLOURED.replace(OWN, wrong))


def test_pale_colours_are_told() -> None:
    """Would fail if a colour that cannot be read on paper went unmentioned."""
    assert pale({"air": "#ffee00", "vacuum": OWN}) == ["air"]


def test_every_service_has_a_colour_of_its_own_on_both_grounds() -> None:
    """Would fail if two services shared one, so that changing one changed the other."""
    assert len({ink.colour for ink in SERVICE_INK.values()}) == len(SERVICE_INK)
    assert {f"svc-{name}" for name in SERVICE_INK} <= LIGHT.keys() & DARK.keys()


def test_red_means_wrong_and_nothing_else() -> None:
    """Would fail if a service had a colour that passes for the one of what is wrong."""

    def hue(colour: str) -> float:
        red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        return 360 * colorsys.rgb_to_hls(red, green, blue)[0]

    for ground in (LIGHT, DARK):
        for name in SERVICE_INK:
            colour = ground[f"svc-{name}"]
            grey = len({colour[1:3], colour[3:5], colour[5:7]}) == 1 or name in ("milk", "drain")
            apart = abs(hue(colour) - hue(ground["accent"])) % 360
            assert grey or min(apart, 360 - apart) > LEAST_HUE, name


def test_pages_take_the_colour_by_day_and_on_paper() -> None:
    """Would fail if the pages showed other colours than the drawings."""
    style = own_style({"vacuum": OWN})
    assert style.count(f"--svc-vacuum:{OWN};") == 3
    assert "data-look=dark" not in style
