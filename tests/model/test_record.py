"""Records behave as the standard library's frozen dataclasses."""

import inspect
import pickle
from dataclasses import FrozenInstanceError, field, fields, replace
from typing import Any

import pytest

from lightdose.model.record import dataclass


@dataclass(frozen=True)
class Lamp:
    """A record compared by its fields."""

    name: str
    height_m: float = 0.2
    notes: tuple[str, ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", self.name.strip())


@dataclass(frozen=True, eq=False)
class Field:
    """A record compared by identity, as those are that hold arrays."""

    value: float


@pytest.mark.identity
def test_record_equals_one_with_the_same_fields_and_hashes_alike() -> None:
    """Equality and hash follow the fields, and another class is never equal."""
    assert Lamp(" left") == Lamp("left")
    assert hash(Lamp("left")) == hash(Lamp("left"))
    assert Lamp("left") != Lamp("right")
    assert Lamp("left") != ("left", 0.2, ())
    assert Field(1.0) != Field(1.0)
    assert len({Field(1.0), Field(1.0)}) == 2


@pytest.mark.identity
@pytest.mark.parametrize("name", ["name", "height_m", "colour"])
def test_record_cannot_be_changed(name: str) -> None:
    """Neither a field nor a new attribute can be set or deleted after construction."""
    lamp = Lamp("left")
    with pytest.raises(FrozenInstanceError):
        setattr(lamp, name, "other")
    with pytest.raises(FrozenInstanceError):
        delattr(lamp, name)
    assert lamp == Lamp("left")


@pytest.mark.identity
def test_record_works_with_the_standard_functions() -> None:
    """`fields` and `replace` take it, and the shown form is that of a dataclass."""
    assert [f.name for f in fields(Lamp)] == ["name", "height_m", "notes"]
    assert replace(Lamp("left"), height_m=0.3) == Lamp("left", 0.3)
    assert repr(Lamp("left")) == "Lamp(name='left', height_m=0.2)"
    assert pickle.loads(pickle.dumps(Lamp("left", 0.3))) == Lamp("left", 0.3)
    assert list(inspect.signature(Lamp).parameters) == ["name", "height_m", "notes"]
    assert inspect.signature(Lamp).parameters["height_m"].default == 0.2


@pytest.mark.identity
@pytest.mark.parametrize(
    ("given", "named", "told"),
    [
        ((), {}, "missing.*'name'"),
        (("left", 0.2, (), 1), {}, "too many"),
        (("left",), {"name": "right"}, "multiple values.*'name'"),
        (("left",), {"colour": "blue"}, "unexpected.*'colour'"),
    ],
)
def test_record_takes_each_field_once_and_nothing_else(
    given: tuple[Any, ...], named: dict[str, Any], told: str
) -> None:
    """What is missing, given twice, unknown or too many is told by its name."""
    with pytest.raises(TypeError, match=told):
        Lamp(*given, **named)


@pytest.mark.identity
def test_record_that_is_not_frozen_is_refused() -> None:
    """The decorator makes frozen records only."""
    with pytest.raises(TypeError, match="frozen"):
        dataclass(frozen=False)
