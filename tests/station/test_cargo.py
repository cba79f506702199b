"""Cargo: sums, no flight too heavy, never fewer than the bound, every packing of a few tried."""

import itertools

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import cargo

PLANE = cargo.Aircraft(200.0, 3.0)


def invented_bill(rng, most_pieces=40):
    return [
        cargo.Item(
            f"part {k}",
            rng.uniform(1.0, 150.0),
            rng.uniform(0.01, 2.0),
            int(rng.integers(1, max(2, most_pieces // 8))),
        )
        for k in range(8)
    ]


@pytest.mark.parametrize("seed", range(8))
def test_everything_flies_once_and_no_flight_is_too_heavy(seed):
    items = invented_bill(np.random.default_rng(seed))
    found = cargo.loads(items, PLANE)
    for item in items:
        assert sum(f.pieces.get(item.name, 0) for f in found.flights) == item.count
    assert all(f.mass_kg <= 200.0 and f.volume_m3 <= 3.0 for f in found.flights)
    total = cargo.totals(items)
    assert sum(f.mass_kg for f in found.flights) == pytest.approx(total.mass_kg, rel=1e-12)
    assert sum(f.volume_m3 for f in found.flights) == pytest.approx(total.volume_m3, rel=1e-12)
    assert found.fewest <= len(found.flights)


def fewest_by_trying(items, aircraft):
    """Return the fewest flights by trying every way to share out a few pieces."""
    pieces = [one for item in items for one in [item] * item.count]
    for flights in range(1, len(pieces) + 1):
        for places in itertools.product(range(flights), repeat=len(pieces)):
            mass, volume = np.zeros(flights), np.zeros(flights)
            np.add.at(mass, list(places), [one.mass_kg for one in pieces])
            np.add.at(volume, list(places), [one.volume_m3 for one in pieces])
            if mass.max() <= aircraft.payload_kg and volume.max() <= aircraft.volume_m3:
                return flights
    raise AssertionError("no packing")


@pytest.mark.parametrize("seed", range(5))
def test_against_trying_every_packing(seed):
    rng = np.random.default_rng(100 + seed)
    items = [cargo.Item(f"p{k}", rng.uniform(20.0, 120.0), rng.uniform(0.1, 1.5)) for k in range(6)]
    found, best = cargo.loads(items, PLANE), fewest_by_trying(items, PLANE)
    assert found.fewest <= best <= len(found.flights) <= best + 1
    assert not found.at_best or len(found.flights) == best


def test_the_order_of_the_bill_does_not_matter():
    items = invented_bill(np.random.default_rng(5))
    assert cargo.loads(items, PLANE).flights == cargo.loads(items[::-1], PLANE).flights


def test_a_bank_of_lead_for_eighty_degrees():
    # 2300 Ah = 23 blocks of about 31 kg = about 710 kg (makers' 29-33 kg a block, from memory)
    bank = cargo.Item("battery", 31.0, 0.015, 23, "lead-acid, sealed")
    assert cargo.totals([bank]).mass_kg == pytest.approx(710.0, abs=5.0)
    found = cargo.loads([bank], cargo.Aircraft(350.0, 4.0))
    assert len(found.flights) == 3
    assert found.at_best


def test_large_pieces_do_not_share_a_flight():
    assert cargo.fewest_flights([cargo.Item("frame", 110.0, 0.5, 3)], PLANE) == 3
    assert cargo.fewest_flights([], PLANE) == 0
    assert cargo.loads([], PLANE).flights == ()


def test_what_stays_and_what_comes_back():
    items = [cargo.Item("frame", 40.0, 0.3), cargo.Item("food", 10.0, 0.1, 2, comes_back=False)]
    total = cargo.totals(items)
    assert (total.pieces, total.mass_kg, total.back_kg) == (3, 60.0, 40.0)


@pytest.mark.parametrize(
    ("kind", "number"),
    [  # UN list, from memory
        ("lead-acid, wet", "UN 2794"),
        ("lead-acid, sealed", "UN 2800"),
        ("lithium-ion", "UN 3480"),
        ("lithium-ion in equipment", "UN 3481"),
        ("lithium metal", "UN 3090"),
        ("lithium metal in equipment", "UN 3091"),
    ],
)
def test_dangerous_goods_are_reminded_of(kind, number):
    items = [cargo.Item("cells", 2.0, 0.01, 3, kind), cargo.Item("mast", 6.0, 0.1)]
    (found,) = cargo.reminders(items)
    assert (found.number, found.items, found.mass_kg) == (number, ("cells",), 6.0)
    assert "ask the carrier" in found.remedy
    assert any("dangerous goods" in text for text in found.cautions)


def test_nothing_dangerous_no_reminder():
    assert cargo.reminders([cargo.Item("mast", 6.0, 0.1)]) == []


@pytest.mark.parametrize(
    ("mass_kg", "people"), [(23.0, 1), (23.1, 2), (34.0, 3), (46.0, 4), (46.1, None)]
)
def test_people_to_lift(mass_kg, people):
    # 23 kg: the load constant of Waters et al. (1993); a lead block of 34 kg is no lift for two
    assert cargo.people_to_lift(mass_kg) == people


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: cargo.Item("mast", 0.0, 0.1), "mast, mass_kg is 0.0"),
        (lambda: cargo.Item("mast", 1.0, 0.1, 0), "expected a whole number from 1"),
        (lambda: cargo.Item("x", 1.0, 0.1, 1, "dynamite"), "'dynamite' is not known; known are"),
        (lambda: cargo.loads([cargo.Item("mast", 201.0, 0.1)], PLANE), "mast: 201.0 kg"),
        (lambda: cargo.loads([cargo.Item("a", 1.0, 0.1)] * 2, PLANE), "more than one line"),
    ],
)
def test_impossible_cargo_is_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
