"""Observables of RINEX 2 in RINEX 3 names: the project's own rules, written in SPEC.md."""

import pytest

from stakeline.formats.rinex_obs.codes import translate


@pytest.mark.parametrize(
    ("types", "system", "codes"),
    [
        ("C1 P2 L1 L2", "G", "C1C C2W L1C L2W"),
        ("C1 P1 P2 L1 L2 S1 S2", "G", "C1C C1W C2W L1C L2W S1C S2W"),
        ("P1 P2 L1 L2", "G", "C1W C2W L1W L2W"),
        ("C1 C2 L1 L2", "G", "C1C C2X L1C L2X"),
        ("C1 C2 P2 L2 L5 C5", "G", "C1C C2X C2W L2W L5X C5X"),
        ("C1 P1 P2 L1 L2", "R", "C1C C1P C2P L1C L2P"),
        ("C1 C2 L1 L2", "R", "C1C C2C L1C L2C"),
        ("C1 L1 C5 L5 C7 C8 C6", "E", "C1X L1X C5X L5X C7X C8X C6X"),
        ("C2 L2 C7 C6", "C", "C2I L2I C7I C6I"),
        ("C1 L1 C5", "S", "C1C L1C C5X"),
        ("L1 P1 C1 LA", "G", "L1W C1W C1C L1C"),
        ("CA LA CC", "G", "C1C L1C C2X"),
        ("XX T1 P1", "E", "XX T1 P1"),
    ],
)
def test_translation(types, system, codes):
    assert translate(types.split(), system) == tuple(codes.split())


def test_no_code_twice():
    assert translate(["C1", "CA"], "G") == ("C1C", "CA")
