"""``python -m stakeline``."""

from .cli import main

main()
