"""Tasks on the workers of a cluster, through the same function as in processes here.

This module is loaded only where a cluster is asked for: it needs the library ``distributed``.
"""

from distributed import Client, as_completed

from ..errors import SettingsError

PATIENCE_S = 20.0  # s, until a scheduler must have answered; choice


def on_cluster(address, work, function, tasks):
    """Yield (task, result or None, sentence or '') as tasks finish on a cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://10.0.0.5:8786``.
    work : callable
        Called as ``work(function, task)`` on a worker, returns (result or None, sentence).
    function : callable
        Of module level in a package that the workers have.
    tasks : list
        What a task reads must lie where the workers see it under the same name.

    Raises
    ------
    SettingsError
        Where no scheduler answers, or it has no workers.
    """
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as problem:
        raise SettingsError(
            f"no scheduler of a cluster answers at {address} within {PATIENCE_S:g} s "
            f"({type(problem).__name__}): start one with 'dask scheduler', or leave --cluster out"
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise SettingsError(
                f"the cluster at {address} has no workers: start some with 'dask worker {address}'"
            )
        waiting = {client.submit(work, function, task, pure=False): task for task in tasks}
        for future in as_completed(list(waiting), loop=client.loop):
            task = waiting.pop(future)
            if future.status == "finished":
                yield (task, *future.result())
            else:
                why = str(future.exception() if future.status == "error" else future.status)
                yield task, None, f"the cluster gave it up ({why.splitlines()[0]})"
