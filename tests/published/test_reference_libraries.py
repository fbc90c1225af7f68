"""General-purpose libraries as outside reference: fluids, scipy, CoolProp."""

from __future__ import annotations

import math

import fluids
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from byrewright.physics import air, heat, pipeflow, refrigeration
from byrewright.plant.machine import kinds
from byrewright.standards.rulebook import default_rulebook

# The power law against Darcy with Blasius' factor: the exponents are the same, the coefficient is
# rounded to three figures and the air's viscosity is taken as at 20 degC.
COEFFICIENT = 0.012
# The library uses geopotential height; the difference grows with altitude.
ATMOSPHERE = 4e-4
# Churchill fits Colebrook within this over the turbulent range.
CHURCHILL = 0.035
INTEGRATION = 1e-7


@pytest.mark.parametrize("altitude", [0, 300, 700, 1200, 2000, 4000])
def test_standard_atmosphere(altitude: float) -> None:
    """Ambient pressure against the 1976 atmosphere in `fluids`."""
    reference = fluids.ATMOSPHERE_1976(altitude).P / 1000
    assert air.ambient_pressure_kpa_abs(altitude) == pytest.approx(reference, rel=ATMOSPHERE)


@pytest.mark.parametrize(
    ("flow", "bore", "vacuum"), [(1000, 50, 50), (2000, 73, 50), (4000, 98, 50), (1500, 60, 42)]
)
def test_airline_formula_is_blasius(flow: float, bore: float, vacuum: float) -> None:
    """Darcy with f = 0.316 Re^-0.25 confirms the coefficient 27.8 by physics."""
    mass = flow / 60_000 * 1.19
    density = 1.19 * (100 - vacuum) / 100
    area = math.pi / 4 * (bore / 1000) ** 2
    speed = mass / density / area
    number = density * speed * bore / 1000 / 1.81e-5
    factor = fluids.friction.Blasius(number)
    drop = factor * 10 / (bore / 1000) * density * speed**2 / 2000
    ours = air.airline_bore_mm(flow, 10, drop, vacuum)
    assert ours == pytest.approx(bore, rel=COEFFICIENT / 4.75)


@pytest.mark.parametrize(("flow", "bore", "length"), [(1500, 60, 20), (4000, 98, 30)])
def test_airline_formula_against_isothermal_gas(flow: float, bore: float, length: float) -> None:
    """Compressible isothermal flow in `fluids`, smooth pipe, drops of a kPa or less."""
    density = 1.19 * 0.5
    mass = flow / 60_000 * 1.19
    speed = mass / density / (math.pi / 4 * (bore / 1000) ** 2)
    factor = fluids.friction.Blasius(density * speed * bore / 1000 / 1.81e-5)
    downstream = fluids.isothermal_gas(
        rho=density, fd=factor, P1=50e3, L=length, D=bore / 1000, m=mass
    )
    # Expansion along the pipe adds up to about the drop over the absolute pressure.
    ours = air.airline_bore_mm(flow, length, (50e3 - downstream) / 1000)
    assert ours == pytest.approx(bore, rel=0.03 / 4.75)


@given(st.floats(1.0, 1500.0))
def test_laminar_friction_factor(number: float) -> None:
    """64/Re below the transition."""
    assert pipeflow.friction_factor(number) == pytest.approx(64 / number, rel=1e-3)


@given(st.floats(5e3, 1e7), st.floats(0.0, 0.01))
def test_turbulent_friction_factor(number: float, rough: float) -> None:
    """Churchill against Colebrook in `fluids`."""
    reference = fluids.friction.Colebrook(number, rough)
    assert pipeflow.friction_factor(number, rough) == pytest.approx(reference, rel=CHURCHILL)


@given(st.floats(100, 1e7) | st.floats(2000, 5000), st.floats(0.0, 0.04))
@example(2500.0, 0.0)
@example(3500.0, 0.001)
def test_churchill_is_churchill(number: float, rough: float) -> None:
    """The same correlation as coded in `fluids`."""
    reference = fluids.friction.Churchill_1977(number, rough)
    # The library writes the constants to one digit more or less.
    assert pipeflow.friction_factor(number, rough) == pytest.approx(reference, rel=1e-3)


def test_tank_against_integration() -> None:
    """A cooled tank with heat leaking in, stepped by scipy."""
    run = solve_ivp(
        lambda _, t: (0.05 * (30 - t) + 1.0 - 20.0) / 8000.0, (0, 3600), [35.0], rtol=1e-10
    )
    end = float(run.y[0][-1])
    needed = heat.cooling_for_pull_down_kw(35, end, 8000, 1.0, 30, 0.05, 1.0)
    assert needed == pytest.approx(20.0, rel=INTEGRATION)


@pytest.mark.parametrize(
    ("kind", "evaporating_k"),
    [("condensing_unit", 271.0), ("chiller", 268.0), ("ice_bank", 263.0)],
)
def test_coefficients_lie_under_an_ideal_cycle(kind: str, evaporating_k: float) -> None:
    """Usual coefficients are 30-75 % of a Carnot machine between likely temperatures."""
    carnot = evaporating_k / (305.15 + 12 - evaporating_k)
    usual = kinds()[kind].model_fields["cop"].default
    assert 0.30 < usual / carnot < 0.75


def test_fall_with_condensing_temperature_is_that_of_a_real_fluid() -> None:
    """A simple R290 cycle in CoolProp loses about 2-3.5 % a kelvin, as the rule says."""
    from CoolProp import CoolProp  # it takes seconds to load, and other workers need it not

    def cycle(condensing_c: float) -> float:
        fluid, low = "R290", CoolProp.PropsSI("P", "T", 271.15, "Q", 1, "R290")
        high = CoolProp.PropsSI("P", "T", condensing_c + 273.15, "Q", 0, fluid)
        h1, s1 = (CoolProp.PropsSI(x, "P", low, "Q", 1, fluid) for x in ("H", "S"))
        h2 = CoolProp.PropsSI("H", "P", high, "S", s1, fluid)
        h3 = CoolProp.PropsSI("H", "P", high, "Q", 0, fluid)
        return (h1 - h3) / (h2 - h1)

    fall = 1 - (cycle(47) / cycle(37)) ** 0.1
    assert 0.02 < fall < 0.035
    rule = default_rulebook().number("cooling.cop_fall_per_k")
    assert 1 - refrigeration.cop_share(10.0, rule) ** 0.1 == pytest.approx(fall, abs=0.01)


def test_water_heat_against_the_reference_equation() -> None:
    """The rule value 4.19 against CoolProp from 15 to 85 degC."""
    from CoolProp import CoolProp

    enthalpy = [CoolProp.PropsSI("H", "T", t + 273.15, "P", 101_325, "Water") for t in (15, 85)]
    assert (enthalpy[1] - enthalpy[0]) / 70_000 == pytest.approx(4.19, rel=0.002)
