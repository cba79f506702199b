"""What pages keep: made once however many ask, and never more than its bound."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

from stakeline.workflows.view_kept import Kept, once


def test_fifty_viewers_make_a_thing_once():
    kept, made = Kept(1000), []

    def make():
        made.append(threading.get_ident())
        time.sleep(0.02)
        return "series", 10

    with ThreadPoolExecutor(50) as viewers:
        found = set(viewers.map(lambda _: kept.get("HV02", make), range(50)))
    assert found == {"series"}
    assert len(made) == 1


def test_things_are_made_one_at_a_time():
    kept, making, most = Kept(1000), [], []

    def make(name):
        making.append(name)
        most.append(len(making))
        time.sleep(0.002)
        making.remove(name)
        return name, 1

    with ThreadPoolExecutor(10) as viewers:
        list(viewers.map(lambda k: kept.get(k, lambda: make(k)), range(10)))
    assert max(most) == 1


def test_the_bound_holds_and_the_latest_used_stay():
    kept, made = Kept(100), []

    def get(key):
        return kept.get(key, lambda: (made.append(key) or key, 40))

    for key in ("a", "b", "a", "c"):
        get(key)
    assert kept.size == 80
    get("a")
    assert made == ["a", "b", "c"]
    get("b")
    assert made == ["a", "b", "c", "b"]


def test_one_thing_larger_than_the_bound_is_kept_alone():
    kept = Kept(100)
    kept.get("small", lambda: (1, 10))
    kept.get("large", lambda: (2, 1000))
    assert kept.size == 1000
    assert kept.get("large", lambda: (3, 1000)) == 2


def test_nothing_is_a_thing_too():
    kept, made = Kept(100), []
    for _ in range(2):
        assert kept.get("no such series", lambda: (made.append(1), 0)) is None
    assert len(made) == 1


def test_a_function_is_worked_out_once_by_its_arguments():
    made = []

    @once(2)
    def double(value):
        made.append(value)
        return 2 * value

    assert [double(k) for k in (1, 2, 1, 3, 1, 2)] == [2, 4, 2, 6, 2, 4]
    assert made == [1, 2, 3, 2]  # the third drove out the second
    assert double.__name__ == "double"
