"""The public doors: what is given is of the type asked for, and what is handed out is read-only.

What a type cannot say, such as finite or above zero, each class and function says by itself.
"""

import inspect
from collections.abc import Callable, Iterable, Mapping
from functools import wraps
from itertools import chain, repeat
from types import MappingProxyType, UnionType
from typing import Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import ArrayLike

from rfcal.errors import ArgumentError
from rfcal.maths.arguments import numbers, shown
from rfcal.readings.sweep import NPort, Sweep


class _Kind(NamedTuple):
    """What a type hint asks for."""

    fits: Callable[[Any], bool]
    words: str
    odd: Callable[[Any], Any] = lambda value: value  # what of it does not fit


def guarded(thing: Any) -> Any:
    """A function, or a class with its methods, that refuses what its type hints do not allow.

    A class that looks at its own numbers once it is made is read-only by itself, and has words of
    its own for them.
    """
    if inspect.isfunction(thing):
        return _checked(thing)
    if not inspect.isclass(thing):
        return read_only(thing)
    for name, method in [*vars(thing).items()]:
        if isinstance(method, classmethod):
            setattr(thing, name, classmethod(_checked(method.__func__)))
        elif inspect.isfunction(method) and (name == "__init__" or not name.startswith("_")):
            late = name == "__init__" and hasattr(thing, "__post_init__")
            setattr(thing, name, _checked(method, late=late))
    return thing


def _checked(function: Callable[..., Any], *, late: bool = False) -> Callable[..., Any]:
    """A function behind its door; what only takes arrays looks at them itself, and is let be."""
    hints, made = get_type_hints(function), function.__name__ == "__init__"
    hints.pop("return", None)
    limited = "float" if late else "nothing"
    kinds = {
        name: kind
        for name, hint in hints.items()
        if (kind := _kind(hint)) and limited not in str(hint)
    }
    if not kinds:
        return function
    parameters = inspect.signature(function).parameters
    named = [p.name for p in parameters.values() if p.kind < p.VAR_POSITIONAL]
    rest = next((p.name for p in parameters.values() if p.kind == p.VAR_POSITIONAL), "")
    what = function.__qualname__.removesuffix(".__init__")

    def check(args: tuple[Any, ...], given: dict[str, Any]) -> None:
        stated = zip(chain(named, repeat(rest)), args, strict=False)
        for name, value in chain(stated, given.items()):
            kind = kinds.get(name)
            if kind and not kind.fits(value) and value is not parameters[name].default:
                found = shown(kind.odd(value))
                raise ArgumentError(f"{what}: {name} must be {kind.words}, found {found}")

    @wraps(function)
    def door(*args: Any, **given: Any) -> Any:
        if late:
            function(*args, **given)
            return check(args, given)
        check(args, given)
        result = function(*args, **given)
        if not hasattr(type(result), "__post_init__"):
            read_only(args[0] if made else result)
        return result

    return door


def _number(*kinds: type) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, kinds) and not isinstance(value, bool)


def _several_numbers(value: Any) -> bool:
    try:
        return numbers(value, "").ndim > 0
    except ArgumentError:
        return False


_REAL = int, float, np.integer, np.floating
_PLAIN = {
    bool: _Kind(lambda value: isinstance(value, bool | np.bool_), "True or False"),
    int: _Kind(_number(int, np.integer), "a whole number"),
    float: _Kind(_number(*_REAL), "a real number"),
    complex: _Kind(_number(*_REAL, complex, np.complexfloating), "a number"),
    str: _Kind(lambda value: isinstance(value, str), "a text"),
    type(None): _Kind(lambda value: value is None, "None"),
    Callable: _Kind(callable, "a function"),
    np.ndarray: _Kind(_several_numbers, "an array of numbers"),
    Sweep: _Kind(lambda value: isinstance(value, Sweep), "a Sweep, as rfcal.read gives it"),
    NPort: _Kind(lambda value: isinstance(value, NPort), "a network of scikit-rf"),
}


def _kind(hint: Any) -> _Kind | None:
    """What a type hint asks for; None where it asks for nothing that can be told."""
    origin, inner = get_origin(hint) or hint, get_args(hint)
    if hint in (Any, object, ArrayLike):  # arrays are looked at where they are used
        return None
    if origin in _PLAIN:
        return _PLAIN[origin]
    if origin is Literal:
        return _Kind(lambda value: value in inner, f"one of {', '.join(map(repr, inner))}")
    if origin in (Union, UnionType):
        kinds = [kind for part in inner if (kind := _kind(part))]
        words = " or ".join(kind.words for kind in kinds)
        any_of = _Kind(lambda value: any(kind.fits(value) for kind in kinds), words)
        return any_of if len(kinds) == len(inner) else None
    if not inspect.isclass(origin):
        return None
    if issubclass(origin, Iterable) and inner:
        return None if inner == (ArrayLike,) else _several(origin, inner)
    name = origin.__name__
    article = "an" if name[0] in "AEIOU" else "a"
    return _Kind(lambda value: isinstance(value, origin), f"{article} {name}")


def _several(origin: type, inner: tuple[Any, ...]) -> _Kind:
    """A mapping, whose values are looked at, or a sequence; lists do where tuples do."""
    mapping, fixed = issubclass(origin, Mapping), origin is tuple and ... not in inner
    kinds = [_kind(part) for part in inner[mapping:] if part is not ...]
    of: Any = Mapping if mapping else list | tuple if origin is tuple else Iterable

    def odd(value: Any) -> Any:
        held = isinstance(value, dict | MappingProxyType | list | tuple)  # and not made when asked
        items = () if not held else value.values() if isinstance(value, Mapping) else value
        each = zip(items, kinds if fixed else repeat(kinds[0]), strict=False)
        return next((item for item, kind in each if kind and not kind.fits(item)), value)

    def fits(value: Any) -> bool:
        if not isinstance(value, of) or (isinstance(value, str | bytes | Mapping) and not mapping):
            return False
        if fixed and len(value) != len(kinds):
            return False
        return odd(value) is value

    if inner == (str, float):
        return _Kind(fits, "a mapping from names to numbers", odd)
    words = "a mapping" if mapping else f"a sequence of {len(kinds)}" if fixed else "a sequence"
    told = " or ".join(dict.fromkeys(kind.words for kind in kinds if kind))
    return _Kind(fits, f"{words}, each {told}" if told else words, odd)


_CLOSED: WeakValueDictionary[int, Any] = WeakValueDictionary()
"""What was made read-only already, with all it holds, by its number."""

_ATOMS = {bool, bytes, float, int, str, type(None)}  # most of what is held


def read_only(thing: Any) -> Any:
    """The same; arrays, mappings and lists that it holds can no longer be written to.

    What is no dataclass itself is handed back as a read-only view or copy.
    """
    kind = type(thing)
    if kind is np.ndarray and thing.flags.writeable:
        thing = thing.view()
        thing.setflags(write=False)
    elif kind is dict or kind is MappingProxyType:
        return MappingProxyType({name: read_only(value) for name, value in thing.items()})
    elif kind is list or kind is tuple:
        return tuple([read_only(value) for value in thing])
    elif hasattr(kind, "__dataclass_fields__") and _CLOSED.get(id(thing)) is not thing:
        held = getattr(thing, "__dict__", {})  # with slots, it has seen to its arrays itself
        if held:
            _CLOSED[id(thing)] = thing
        held |= {name: read_only(v) for name, v in held.items() if type(v) not in _ATOMS}
    return thing
