"""Progress: a bar on a terminal, plain lines in a log, nothing when quiet."""

import contextlib
import sys

import click
import rich.console
import rich.progress


@contextlib.contextmanager
def shown(quiet=False, stream=None):
    """Give a function ``progress(done, total, text)``; nothing of it ever goes to stdout."""
    stream = stream or sys.stderr
    if quiet:
        yield lambda done, total, text: None
    elif stream.isatty():
        with _bar(stream) as show:
            yield show
    else:
        yield _lines(stream)


def _lines(stream):
    def show(done, total, text):
        click.echo(f"[{done}/{total}] {text}", file=stream)

    return show


@contextlib.contextmanager
def _bar(stream):
    console = rich.console.Console(file=stream)
    columns = (
        rich.progress.BarColumn(),
        rich.progress.MofNCompleteColumn(),
        rich.progress.TimeElapsedColumn(),
        rich.progress.TextColumn("{task.description}", markup=False),
    )
    with rich.progress.Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total, text: bar.update(
            task, completed=done, total=total, description=text
        )
