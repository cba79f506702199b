"""The diode of a panel: through its three points, against a second solver, in light and cold."""

import numpy as np
import pytest
from pvlib import pvsystem

from stakeline.errors import SettingsError
from stakeline.station.diode import (
    DataSheet,
    at,
    best_point,
    current_A,
    diode_of,
    fit_diode,
    open_V,
    short_A,
)
from stakeline.station.panel import Panel, open_circuit_V, short_circuit_A

SHEETS = {
    "36 cells": DataSheet(21.7, 4.8, 17.4, 4.35, 36, -0.0782, 0.003),
    "72 cells": DataSheet(45.3, 9.4, 37.4, 8.9, 72, -0.1404, 0.0047),
    "small": DataSheet(21.6, 1.31, 17.2, 1.16, 36, -0.080, 0.0008),
}
FIELD = [(1000.0, 25.0), (800.0, -10.0), (300.0, -25.0), (100.0, -40.0), (1200.0, 0.0)]


@pytest.fixture(params=SHEETS, scope="module")
def fitted(request):
    sheet = SHEETS[request.param]
    return sheet, fit_diode(sheet)


def test_it_goes_through_the_three_points(fitted):
    sheet, diode = fitted
    now = at(diode, 1000.0, 25.0)
    assert float(open_V(now)) == pytest.approx(sheet.open_V, rel=1e-6)
    assert float(short_A(now)) == pytest.approx(sheet.short_A, rel=1e-6)
    assert float(current_A(now, sheet.best_V)) == pytest.approx(sheet.best_A, rel=1e-6)
    volts, _ = best_point(now)
    assert volts == pytest.approx(sheet.best_V, rel=1e-3)


def test_its_voltage_has_the_sheets_coefficient(fitted):
    sheet, diode = fitted
    warm = float(open_V(at(diode, 1000.0, 50.0)))
    assert warm - sheet.open_V == pytest.approx(25.0 * sheet.open_V_K, rel=0.02)


@pytest.mark.parametrize(("light", "degrees"), FIELD)
def test_second_solver_agrees(fitted, light, degrees):
    sheet, diode = fitted
    numbers = (diode.slope_V, diode.light_A, diode.saturation_A, diode.shunt_ohm, diode.series_ohm)
    theirs = pvsystem.singlediode(
        *pvsystem.calcparams_desoto(light, degrees, sheet.short_A_K, *numbers)
    )
    now = at(diode, light, degrees)
    assert float(open_V(now)) == pytest.approx(theirs["v_oc"], abs=1e-5)  # V
    assert float(short_A(now)) == pytest.approx(theirs["i_sc"], abs=1e-6)  # A
    assert best_point(now)[1] == pytest.approx(theirs["i_mp"], rel=1e-3)


def test_without_a_best_point_it_is_the_panels_own_diode():
    panel = Panel()
    diode = diode_of(panel)
    light, degrees = np.array([900.0, 300.0, 50.0]), np.array([-5.0, -25.0, -40.0])
    now = at(diode, light, degrees)
    np.testing.assert_allclose(short_A(now), short_circuit_A(panel, light, degrees), rtol=1e-6)
    # Villalva's I_0 gives the same at full light; below it the slope of the warm curve is kept
    np.testing.assert_allclose(open_V(now), open_circuit_V(panel, light, degrees), rtol=2e-3)


def test_the_best_point_of_a_sheet_is_used():
    panel = Panel(open_V=21.7, short_A=4.8, rated_W=75.7, open_per_K=-0.0036, short_per_K=0.0006)
    now = at(diode_of(panel, 17.4, 4.35), 1000.0, 25.0)
    assert best_point(now) == pytest.approx((17.4, 4.35), rel=1e-3)


def test_dark_gives_nothing():
    now = at(diode_of(Panel()), 0.0, -30.0)
    assert float(open_V(now)) == 0.0
    assert float(short_A(now)) == 0.0


def test_more_light_and_more_cold_raise_the_voltage(fitted):
    _, diode = fitted
    by_light = open_V(at(diode, np.array([50.0, 200.0, 800.0]), -20.0))
    by_cold = open_V(at(diode, 500.0, np.array([25.0, 0.0, -25.0, -50.0])))
    assert (np.diff(by_light) > 0.0).all()
    assert (np.diff(by_cold) > 0.0).all()


def test_a_sheet_that_is_no_panel_is_refused():
    with pytest.raises(SettingsError, match="best point 23 V, 4 A: expected below 21"):
        DataSheet(21.0, 5.0, 23.0, 4.0, 36, -0.07, 0.002)
    with pytest.raises(SettingsError, match="no diode has 21 V open"):
        fit_diode(DataSheet(21.0, 5.0, 20.9, 4.99, 36, -0.07, 0.002))
