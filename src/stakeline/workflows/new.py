"""Start a campaign."""

from ..campaign import folders


def run(folder):
    """Make a new campaign in ``folder``; return the paths made, as text."""
    return [str(path) for path in folders.create(folder)]
