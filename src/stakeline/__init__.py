"""Stakeline: autonomous GNSS stations on glaciers, from design to answer.

The verbs are functions here: ``stakeline.motion("halvard-2031")``. They, and all they need, are
loaded when one is first asked for; see :mod:`stakeline.verbs`.
"""

import importlib
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .verbs import as_positions, commission, decide, intake, plan, position, run, table

__version__ = "0.1.0"
__all__ = ["as_positions", "commission", "decide", "intake", "plan", "position", "run", "table"]

ALSO_PACKAGES = ("motion", "lakes", "report")  # verbs whose science or drawings bear their name


class _CalledAsVerb(ModuleType):
    """A package that bears the name of a verb: called, it does the verb."""

    def __call__(self, *arguments: Any, **options: Any) -> Any:
        verbs = importlib.import_module(f"{__name__}.verbs")
        return getattr(verbs, self.__name__.rpartition(".")[2])(*arguments, **options)


for _name in ALSO_PACKAGES:
    importlib.import_module(f".{_name}", __name__).__class__ = _CalledAsVerb


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
    return getattr(importlib.import_module(f"{__name__}.verbs"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
