"""Tasks in worker processes: kernels compiled in one first, results handed to the one writer.

The same tasks run on a cluster where ``workers`` is the address of its scheduler.
"""

import concurrent.futures
import importlib
import multiprocessing
import os
import signal
import threading
import traceback
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import connection
from pathlib import Path

from ..compiling import compiled_before, note_compiled
from ..errors import SettingsError, StakelineError
from ..threads import leave_one_thread


def run_tasks(function, tasks, workers, compile_first=True):
    """Yield (task, result or None, sentence or '') as tasks finish.

    Parameters
    ----------
    function : callable
        Of module level; takes one task. An error becomes a sentence, and so does the death of a
        worker process; neither stops the other tasks.
    tasks : list
    workers : int or str
        1: in this process; a text: the address of a cluster's scheduler.
    compile_first : bool
        On a machine that has not compiled the kernels yet, the first task runs alone until it has.
        Not worth while for few long tasks: each worker may as well compile for itself.

    Raises
    ------
    SettingsError
        Where a cluster is named that is not there.
    """
    if isinstance(workers, str):
        yield from _cluster().on_cluster(workers, guarded, function, list(tasks))
        return
    if workers == 1 or len(tasks) < 2:
        for task in tasks:
            yield (task, *guarded(function, task))
        return
    yield from _in_processes(function, list(tasks), workers, compile_first)


def _cluster():
    """Return the module for clusters, which takes a second to load and a library of its own."""
    try:
        return importlib.import_module(".cluster", __package__)
    except ModuleNotFoundError as missing:
        raise SettingsError(
            f"a cluster needs the library '{missing.name}', which is not installed: "
            "pip install 'stakeline[cluster]', or leave --cluster out"
        ) from None


def guarded(function, task):
    """Return (result, '') or (None, what went wrong)."""
    try:
        return function(task), ""
    except StakelineError as problem:
        return None, str(problem)
    except MemoryError:
        return None, "needs more memory than there is; use fewer workers or shorter files"
    except Exception as problem:
        return None, own_mistake(problem)


def own_mistake(problem):
    """Return one line about an exception that no input should cause, with its place in the code.

    Where ``STAKELINE_TRACEBACK`` is set, the exception is raised instead.
    """
    if os.environ.get("STAKELINE_TRACEBACK"):
        raise problem
    last = traceback.extract_tb(problem.__traceback__)[-1]
    place = f"{Path(last.filename).name}:{last.lineno}"
    said = str(problem).splitlines()[0] if str(problem) else "no words"
    return (
        f"stopped by a mistake of Stakeline's own ({type(problem).__name__} at {place}: {said}); "
        "please report it; STAKELINE_TRACEBACK=1 shows where it comes from"
    )


def _in_processes(function, tasks, workers, compile_first):
    broken = []
    with _pool(workers) as pool:
        try:
            for task, future in _submitted(pool, function, tasks, compile_first):
                try:
                    yield (task, *future.result())
                except BrokenProcessPool:
                    broken.append(task)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    for task in broken:  # one of these ended a worker; each gets a process to itself
        with _pool(1) as pool:
            try:
                yield (task, *pool.submit(guarded, function, task).result())
            except BrokenProcessPool:
                yield task, None, "its process was ended from outside (out of memory?)"


def _submitted(pool, function, tasks, compile_first):
    """Yield (task, future) as they finish."""
    work = f"{function.__module__}.{function.__qualname__}"
    if compile_first and not compiled_before(work):
        first = pool.submit(guarded, function, tasks[0])
        concurrent.futures.wait([first])
        yield tasks[0], first
        tasks = tasks[1:]
        note_compiled(work)
    waiting = {}
    for task in tasks:
        try:
            waiting[pool.submit(guarded, function, task)] = task
        except BrokenProcessPool as problem:
            failed = concurrent.futures.Future()
            failed.set_exception(problem)
            waiting[failed] = task
    for future in concurrent.futures.as_completed(waiting):
        yield waiting[future], future


def _pool(workers):
    leave_one_thread()  # read by a worker as it starts; this process has read them long ago
    return concurrent.futures.ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_follow_parent
    )


def _follow_parent():
    """End this worker as soon as the process that started it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one that started it says it is interrupted
    parent = multiprocessing.parent_process()
    threading.Thread(target=_wait_for, args=(parent.sentinel,), daemon=True).start()


def _wait_for(sentinel):
    connection.wait([sentinel])
    os._exit(1)
