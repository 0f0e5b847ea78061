"""What records are made of: frozen dataclasses at a fifth of the start-up cost.

The standard decorator compiles six methods for every class, 0.45 ms; a command loads a hundred classes.
Here nothing is compiled: all records share ordinary functions. A type checker sees the standard decorator,
and what it makes is a dataclass: ``fields`` and ``replace`` take it.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(*, frozen: bool, eq: bool = True) -> Callable[[type], type]:
        """``dataclasses.dataclass(frozen=True, eq=eq)``: set once, compared by its fields or by identity."""
        if not frozen:
            raise TypeError("a record is frozen")
        shared = {
            "__init__": fill,
            "__signature__": _Signature(),
            "__setattr__": _set_once,
            "__delattr__": _keep,
            "__repr__": _repr,
        }
        if eq:
            shared |= {"__eq__": _equal, "__hash__": _hash}

        def decorated(cls: type) -> type:
            own = cls.__dict__
            for name, method in shared.items():
                if own.get(name) is None:
                    setattr(cls, name, method)
            return dataclasses.dataclass(init=False, repr=False, eq=False)(cls)

        return decorated


def fill(self: Any, /, *given: object, **named: object) -> None:
    """Set the fields of a record once; the constructor of each that has none of its own."""
    fields = self.__dataclass_fields__
    if named or len(given) != len(fields):
        self.__dict__.update(_completed(self, dict(zip(fields, given, strict=False)), given, named))
    else:
        self.__dict__.update(zip(fields, given))  # noqa: B905 - as many of both
    if hasattr(self, "__post_init__"):
        self.__post_init__()


def _completed(
    self: Any, values: dict[str, object], given: tuple[object, ...], named: dict[str, object]
) -> dict[str, object]:
    """With what is named, and defaults for the rest."""
    of_class = self.__dataclass_fields__
    values.update(named)
    once = len(values) == len(given) + len(named)
    if len(values) < len(of_class):
        kind: Any = type(self)
        for name, default, make in _defaults_of(kind):
            if name not in values:
                values[name] = default if make is None else make()
    if not once or values.keys() != of_class.keys():
        own = _Signature().__get__(None, type(self))
        own.bind(*given, **named)  # tells what is missing, unknown or too many
    return values


@cache
def _defaults_of(kind: Any) -> list[tuple[str, object, Callable[[], object] | None]]:
    """Fields of a record that have a default: the name, and the default or what makes one."""
    missing, found = dataclasses.MISSING, []
    for name, one in kind.__dataclass_fields__.items():
        make = None if one.default_factory is missing else one.default_factory
        if one.default is not missing or make is not None:
            found.append((name, one.default, make))
    return found


class _Signature:
    """What the constructor of a record takes, found when somebody asks for it."""

    def __get__(self, _: object, cls: Any) -> inspect.Signature:
        kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
        taken = [
            inspect.Parameter(f.name, kind, default=_default(f), annotation=f.type)
            for f in dataclasses.fields(cls)
        ]
        return inspect.Signature(taken)


def _default(one: dataclasses.Field[Any]) -> object:
    if one.default is not dataclasses.MISSING:
        return one.default
    return inspect.Parameter.empty if one.default_factory is dataclasses.MISSING else one.default_factory


def _set_once(self: Any, name: str, value: object) -> None:
    if name in self.__dict__ or name not in self.__dataclass_fields__:
        raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")
    object.__setattr__(self, name, value)


def _keep(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r} of {type(self).__name__}")


def _values(self: Any) -> tuple[object, ...]:
    return tuple(getattr(self, name) for name in self.__dataclass_fields__)


def _equal(self: Any, other: object) -> bool:
    return _values(self) == _values(other) if type(other) is type(self) else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


LONGEST = 72
"""Letters of a value in a ``repr``; of longer ones the kind and the size are told. Our choice."""


def _repr(self: Any) -> str:
    fields = [(f.name, getattr(self, f.name)) for f in dataclasses.fields(self) if f.repr]
    return f"{type(self).__qualname__}({', '.join(f'{name}={_told(value)}' for name, value in fields)})"


def _told(value: object) -> str:
    """A value, or its kind and size where that would fill the screen of who types in a notebook."""
    kind = type(value).__name__
    if kind == "ndarray":
        array: Any = value
        return repr(array.tolist()) if array.size <= 4 else f"<{kind} {array.shape}>"
    several = isinstance(value, tuple | list | dict)
    text = "" if several and len(value) > 3 else repr(value)  # type: ignore[arg-type]
    if text and (len(text) <= LONGEST or isinstance(value, str)):
        return text
    if several:
        return f"<{len(value)} in a {kind}>"  # type: ignore[arg-type]
    name = getattr(value, "name", None) or getattr(value, "title", None)
    return f"<{kind} {name!r}>" if name else f"<{kind}>"
