"""byrewright: design, prove, commission and look after the plant of large milking parlours.

    import byrewright as bw

    plant = bw.read("plant.yaml")
    print(bw.size(plant).counts)

The names in `__all__` are the Python face; see docs/python.md. They are loaded when first used, so
that the command line starts at once.
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from byrewright.api import (
        Answer,
        Line,
        Plant,
        Table,
        as_measured,
        day,
        diagnose,
        draft,
        explain,
        failures,
        read,
        routes,
        size,
        vacuum,
        write,
    )
    from byrewright.errors import ByrewrightError

__all__ = [
    "Answer",
    "ByrewrightError",
    "Line",
    "Plant",
    "Table",
    "as_measured",
    "day",
    "diagnose",
    "draft",
    "explain",
    "failures",
    "read",
    "routes",
    "size",
    "vacuum",
    "write",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"byrewright has no {name}; it has {', '.join(__all__)}")
    if name == "ByrewrightError":
        from byrewright.errors import ByrewrightError

        return ByrewrightError
    from byrewright import api

    return getattr(api, name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
