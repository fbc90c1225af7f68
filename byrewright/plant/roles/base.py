"""What studies ask for: roles, each with the face that a machine playing it must have.

A study never asks for a kind. It asks for the machines that cool milk, make cold, move milk, make
vacuum ..., and reads what the role's face declares, so that a new kind is one class: it derives
from its roles and has what they declare, as fields of the plant file or as properties. A kind that
claims a role without its face is refused where it is defined.

What a role can be told from the records that the kind lowers to (see `primitives`) is worked out
by the role and needs no second statement: stages of a cooler, a source of cold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from byrewright.plant.machine import Machine, kinds

if TYPE_CHECKING:
    from pydantic._internal._model_construction import ModelMetaclass
else:
    ModelMetaclass = type(Machine)


class _Faces(ModelMetaclass):
    """Keeps the annotations of a role as its face: they are no fields of the plant file."""

    def __new__(
        mcs, name: str, bases: tuple[type, ...], space: dict[str, Any], **more: Any
    ) -> _Faces:
        role = "ROLE" in space and not space.get("KIND")
        told = space.get("__annotations__", {})
        if role:
            space["__annotations__"] = {n: t for n, t in told.items() if n.isupper()}
        made: Any = super().__new__(mcs, name, bases, space, **more)
        if role:
            made.FACE = tuple(n for n in told if not n.isupper())
        return made  # type: ignore[no-any-return]


class Role(Machine, metaclass=_Faces):
    """A machine as the studies see it. `ROLE` says in words what it does for the plant."""

    ROLE: ClassVar[str] = ""
    FACE: ClassVar[tuple[str, ...]] = ()

    @classmethod
    def __pydantic_init_subclass__(cls, **more: Any) -> None:
        for role in roles_of(cls) if cls.__dict__.get("KIND") else ():
            lacks = [n for n in role.FACE if n not in cls.model_fields and not hasattr(cls, n)]
            if lacks:
                raise TypeError(
                    f"kind {cls.KIND} says that it {role.ROLE}, so it must have {', '.join(lacks)}"
                )
        super().__pydantic_init_subclass__(**more)


def roles_of(kind: type[Machine]) -> tuple[type[Role], ...]:
    """The roles a kind plays, its own order."""
    return tuple(c for c in kind.__mro__ if issubclass(c, Role) and c.__dict__.get("ROLE"))


def usual_kind(role: type[Machine]) -> type[Any]:
    """The kind that plays a role unless told otherwise: the first one defined.

    Raises:
        LookupError: no kind plays it.
    """
    found = next((k for k in kinds().values() if issubclass(k, role)), None)
    if found is None:
        raise LookupError(f"no kind plays the role {role.__name__}")
    return found


def usually(role: type[Machine], field: str) -> float:
    """What the usual kind of a role has in a field where the file says nothing."""
    return float(usual_kind(role).model_fields[field].default)
