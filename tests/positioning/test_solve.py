"""The whole chain on one real still antenna: where it is, how well, and what it refuses."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.earth.ellipsoid import enu_axes, enu_from_xyz, geodetic_from_xyz
from stakeline.errors import SettingsError, SolutionError
from stakeline.positioning import solve
from stakeline.satellites.states import satellite_states
from stakeline.simulate.displace import displace
from stakeline.tables import Settings
from stakeline.workflows.products import ProductFiles, load_products
from stakeline.workflows.reading import read_pieces

pytestmark = [pytest.mark.real, pytest.mark.compiled]

# Static 24-h solution of a study with full antenna calibrations; IGb14, epoch 2020.48
REFERENCE_M = np.array([3582104.7593, 532590.1771, 5232755.1300])
millimetre = 1e-3


@pytest.fixture(scope="module")
def day(reference_data):
    """Return (observations, products, settings) of the ESBC day."""
    folder = reference_data / "gnss" / "esbc_2020_177"
    sinex = reference_data / "gnss" / "auxiliary" / "reference_coordinates"
    names = ProductFiles(
        orbits=tuple(map(str, sorted(folder.glob("GRG*SP3.gz")))),
        clocks=tuple(map(str, folder.glob("GRG*CLK.gz"))),
        offsets=tuple(map(str, sorted(sinex.glob("*.SNX"), reverse=True))),
    )
    data, _ = read_pieces(sorted(folder.glob("*crx.gz")))
    header = data.header
    settings = Settings(
        antenna_height_m=(header.antenna_height_m, 0.0, 0.0),
        antenna_model=header.antenna_type,
        systems="GE",
        interval_s=120.0,
    )
    products = load_products(names, "ESBC", np.array(header.approximate_position_m))
    return data, products, settings


def away_enu(positions):
    latitude, longitude, _ = geodetic_from_xyz(REFERENCE_M)
    return enu_from_xyz(positions.position_m - REFERENCE_M, latitude, longitude)


def test_a_still_antenna_is_where_it_is_known_to_be(day):
    data, products, settings = day
    found = solve(data, products, replace(settings, mode="static"))
    away = np.abs(away_enu(found)[0]) / millimetre
    assert (away < [10, 10, 25]).all()  # bars of the real-data study of this day
    assert found.state.tolist() == ["float"]
    assert any("variations" in warning for warning in found.summary["warnings"])


def test_its_kinematic_scatter_and_intervals_hold_the_bars(day):
    data, products, settings = day
    found = solve(data, products, settings)
    error = away_enu(found)
    error -= error.mean(axis=0)
    assert (error.std(axis=0) / millimetre < [8, 9, 22]).all()  # same study
    sigma = np.sqrt(np.diagonal(found.covariance_m2, axis1=1, axis2=2))
    assert 0.85 <= (np.abs(error) < 1.96 * sigma).mean() <= 0.99
    assert np.abs(error[-8:]).max() < 0.1  # the last 15 min, past the end of the orbit table


def test_moving_ice_worked_as_static_is_refused_with_its_speed(day):
    data, products, settings = day
    data = _without_others(data, products)
    states = satellite_states(
        products, np.unique(data.satellite), data.time_ns, REFERENCE_M, np.zeros(len(data))
    )
    epoch = np.repeat(np.arange(len(data)), np.diff(data.row_start))
    column = np.searchsorted(np.unique(data.satellite), data.satellite)
    axes = enu_axes(*geodetic_from_xyz(REFERENCE_M)[:2])
    metres = 1.1 * (data.time_ns - data.time_ns[0])[:, None] / 86400e9
    flow = metres * np.array([0.0, -1.0, 0.0]) @ axes  # 1.1 m/d toward the south
    moving = displace(data, flow, REFERENCE_M, states.position_m[epoch, column])
    with pytest.raises(SolutionError, match=r"moved .* 1\.1\d? m/d toward azimuth 1[78]\d deg"):
        solve(moving, products, replace(settings, mode="static"))


def _without_others(data, products):
    """Return the observations of GPS and Galileo satellites that the orbits hold."""
    keep = np.isin(data.satellite, products.orbits.satellites) & np.isin(
        data.satellite // 100, (0, 2)
    )
    count = np.add.reduceat(keep, data.row_start[:-1])
    return replace(
        data,
        row_start=np.append(0, np.cumsum(count)),
        satellite=data.satellite[keep],
        value=data.value[keep],
        lock=data.lock[keep],
        strength=data.strength[keep],
    )


def test_without_orbits_or_messages_it_says_what_is_needed(day):
    data, products, settings = day
    with pytest.raises(SolutionError, match="neither orbits nor broadcast"):
        solve(data, replace(products, orbits=None, broadcast=None), settings)


def test_an_unknown_correction_is_named_with_those_there_are(day):
    data, products, settings = day
    with pytest.raises(SettingsError, match="no correction is called 'tide'; there are solid tide"):
        solve(data, products, replace(settings, switched_off=("tide",)))


def test_observations_without_a_usable_satellite_are_a_sentence(day):
    data, products, settings = day
    few = replace(
        data,
        time_ns=data.time_ns[:3],
        flag=data.flag[:3],
        clock_offset_s=data.clock_offset_s[:3],
        row_start=data.row_start[:4],
        satellite=data.satellite[: data.row_start[3]],
        value=data.value[: data.row_start[3]],
        lock=data.lock[: data.row_start[3]],
        strength=data.strength[: data.row_start[3]],
    )
    with pytest.raises(SolutionError, match="no satellite has code and phase on two bands"):
        solve(few, products, settings)


# Effects of corrections on the static position east/north/up in mm, same study: solid tide
# 4/-28/-38, Shapiro 0/0/+5; a third of their size is allowed for other weights and masks
@pytest.mark.parametrize(
    ("name", "effect_mm"), [("solid tide", (4, -28, -38)), ("Shapiro", (0, 0, 5))]
)
def test_what_a_correction_left_out_costs(day, name, effect_mm):
    data, products, settings = day
    settings = replace(settings, mode="static")
    whole = away_enu(solve(data, products, settings))[0]
    found = solve(data, products, replace(settings, switched_off=(name,)))
    assert f"left out on purpose: {name}" in found.summary["warnings"]
    change = (away_enu(found)[0] - whole) / millimetre
    assert np.abs(change - effect_mm).max() < 3 + np.abs(effect_mm).max() / 3
