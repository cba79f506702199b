"""Arcs and slots: by hand and by law."""

import numpy as np

from stakeline.positioning.arcs import place_arcs, split_arcs


def test_a_slip_between_two_seen_epochs_starts_a_new_arc():
    usable = np.ones((8, 1), bool)
    usable[3] = False
    slip = np.zeros((8, 1), bool)
    slip[3] = True  # marked where nothing is seen: the next seen epoch begins anew
    assert split_arcs(usable, slip, 5, 1)[:, 0].tolist() == [0, 0, 0, -1, 1, 1, 1, 1]


def test_a_long_gap_starts_a_new_arc_and_short_arcs_are_given_up():
    usable = np.array([1, 1, 1, 0, 0, 0, 1, 0, 0, 0], bool)[:, None]
    arc = split_arcs(usable, np.zeros_like(usable), 2, 2)
    assert arc[:, 0].tolist() == [0, 0, 0, -1, -1, -1, -1, -1, -1, -1]


def test_no_two_arcs_share_a_slot_at_one_time_and_every_arc_ends_once():
    rng = np.random.default_rng(5)
    usable = rng.random((200, 12)) > 0.2
    slip = rng.random((200, 12)) > 0.97
    arcs = place_arcs(split_arcs(usable, slip, 3, 4))
    for k in range(200):
        taken = arcs.slot[k][arcs.slot[k] >= 0]
        assert len(set(taken)) == len(taken)
    assert arcs.ending.sum() == arcs.count
    spans = {}
    for k, s in np.argwhere(arcs.arc >= 0):
        first, last, slot = spans.get(arcs.arc[k, s], (k, k, arcs.slot[k, s]))
        assert slot == arcs.slot[k, s]
        spans[arcs.arc[k, s]] = (first, k, slot)
    for a, (first, last, slot) in spans.items():
        clash = [
            b for b, (f, e, s) in spans.items() if b != a and s == slot and f <= last and e >= first
        ]
        assert not clash
