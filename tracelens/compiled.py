"""One loop, two ways to run it: compiled on a large log, as plain Python on a small one.

A state machine over events is written once, as a plain function over integer arrays. Compiling it
takes seconds and pays above some ten thousand rows; below, the interpreter is faster. numba is
optional and is imported only when something is compiled.

    def running_total(values, total):           # arrays in, results written into arrays
        s = 0
        for i in range(len(values)):
            s += values[i]
            total[i] = s
        return s

    s = compiled(running_total, rows=len(values))(values, total)

What such a function must keep to, so that both ways give the same numbers:

- Arguments are numbers, numpy arrays, or (named) tuples of them. Arrays are indexed by element,
  `a[i]` or `a[i, j]`, never sliced: as plain Python they arrive as memoryviews, whose elements are
  Python integers and several times faster to reach than numpy's.
- Results go into arrays that the caller made; what is returned is a number or a tuple of numbers.
- No uint64 array: numba makes a float of uint64 with int64, and a float is not exact. (Refused.)
- Compiled it lets go of the interpreter: another thread may run, but not touch the same arrays.
- int64 wraps around when compiled and does not when plain: the caller keeps values in range.
- With `pointers` arrays arrive as bare pointers to their first elements, of one dimension and
  without `len()`: two to three times as fast where many functions hand one array on, for an array
  is passed as seven words, and every index into it is tested for being counted from the end.
- Functions that it calls by their plain name, from whatever module of this package, are compiled
  with it. Compiled code does not check indices; NUMBA_BOUNDSCHECK=1 makes it, for the tests, and
  then passes arrays.

TRACELENS_PLAIN=1 and TRACELENS_COMPILED=1 in the environment force one way.
"""

import hashlib
import os
import types
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from importlib.util import find_spec
from pathlib import Path
from tempfile import gettempdir
from threading import Lock
from typing import Any, Final

import numpy as np

Memory = Any
"""An array where compiled, a memoryview as plain Python: both are indexed alike."""

WORTH_COMPILING: Final = 50_000
"""Rows from which on even a cold start of the compiler is repaid."""


def is_compiled(rows: int) -> bool:
    """Whether `compiled` gives machine code for so many rows."""
    if os.environ.get("TRACELENS_PLAIN") == "1":
        return False
    wanted = rows > WORTH_COMPILING or os.environ.get("TRACELENS_COMPILED") == "1"
    return wanted and find_spec("numba") is not None


def slow_without_numba(rows: int) -> bool:
    """Whether so many rows are worth compiling for, but there is nothing to compile with."""
    return rows > WORTH_COMPILING and not find_spec("numba")


def compiled(
    function: Callable[..., Any], rows: int, *, pointers: bool = False
) -> Callable[..., Any]:
    """`function`, compiled if `rows` are many and numba is there, else as plain Python.

    Arrays that are not contiguous are copied for the compiled form, so write results into fresh
    ones. What is read-only is handed over as it is and must not be written to.
    """
    return _machine_code(function, pointers) if is_compiled(rows) else _plain(function)


@cache
def _plain(function: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(function)
    def run(*arguments: Any) -> Any:
        return function(*map(_as_view, arguments))

    return run


@cache
def _machine_code(function: Callable[..., Any], pointers: bool) -> Callable[..., Any]:
    dispatcher = _compile(function, {})
    ready: set[Any] = set()
    bare = pointers and not _checks_bounds()

    @wraps(function)
    def run(*arguments: Any) -> Any:
        given = tuple(map(_bare if bare else _as_array, arguments))
        kinds = tuple(map(dispatcher.typeof_pyval, given))
        if kinds not in ready:
            with _one_at_a_time():
                dispatcher.compile(kinds)
            ready.add(kinds)
        return dispatcher(*given)

    return run


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Let one process of this user compile; the others wait, and find its work in the cache."""
    try:
        import fcntl

        place = Path(gettempdir()) / f"tracelens-compiles-{os.getuid()}"
        flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
        lock = os.open(place, flags, 0o600)
    except (ImportError, OSError):  # no such locks here, or no room for the file: each for itself
        yield
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


_TEACHING: Final = Lock()


class _Pointer:
    """The address of an array's first element; keeps the array alive."""

    def __init__(self, array: np.ndarray) -> None:
        self.array = array
        self.address = array.ctypes.data


@cache
def _teach_pointers() -> None:
    """Let numba take a `_Pointer` for a C pointer to the elements of its array."""
    from numba.core import cgutils, types
    from numba.extending import NativeValue, typeof_impl, unbox
    from numba.np.numpy_support import from_dtype

    @typeof_impl.register(_Pointer)
    def _type(pointer: _Pointer, _context: Any) -> Any:
        return types.CPointer(from_dtype(pointer.array.dtype))

    @unbox(types.CPointer)
    def _unbox(kind: Any, thing: Any, c: Any) -> Any:
        number = c.pyapi.object_getattr_string(thing, "address")
        address = c.pyapi.long_as_voidptr(number)
        c.pyapi.decref(number)
        pointer = c.builder.bitcast(address, c.context.get_value_type(kind))
        return NativeValue(pointer, is_error=cgutils.is_not_null(c.builder, c.pyapi.err_occurred()))


def _bare(argument: Any) -> Any:
    if not isinstance(argument, np.ndarray):
        return argument
    if argument.ndim != 1 or not argument.flags.c_contiguous:
        raise TypeError("a pointer to what is no plain row of numbers")
    _refuse_uint64(argument)
    with _TEACHING:  # once, whichever thread comes first
        _teach_pointers()
    return _Pointer(argument)


def _as_view(argument: Any) -> Any:
    if isinstance(argument, np.ndarray):
        _refuse_uint64(argument)
        return argument.data
    if isinstance(argument, np.generic):
        return argument.item()
    return _through_tuple(_as_view, argument)


class _Alias:
    """The same elements, for numpy to make an array of that does not say it is read-only."""

    def __init__(self, array: np.ndarray) -> None:
        self._array = array
        told = array.__array_interface__
        self.__array_interface__ = {**told, "data": (told["data"][0], False)}


def _as_array(argument: Any) -> Any:
    if isinstance(argument, np.ndarray):
        _refuse_uint64(argument)
        ready = np.ascontiguousarray(argument)
        # numba would compile another version for arrays that are read-only. As plain Python the
        # function gets such an array as it is, so that a test would see it write there.
        return ready if ready.flags.writeable else np.asarray(_Alias(ready))
    return _through_tuple(_as_array, argument)


def _through_tuple(convert: Callable[[Any], Any], argument: Any) -> Any:
    if not isinstance(argument, tuple):
        return argument
    items = map(convert, argument)
    make = getattr(type(argument), "_make", None)  # a named tuple keeps its type
    return make(items) if make else tuple(items)


def _refuse_uint64(array: np.ndarray) -> None:
    if array.dtype == np.uint64:
        raise TypeError("uint64 array in a compiled function; view or cast it to int64")


def _compile(function: Callable[..., Any], done: dict[Any, Any]) -> Any:
    """numba's version of `function`, with the package's functions that it calls compiled too."""
    if function in done:
        return done[function]
    import numba

    callees = {name: _compile(callee, done) for name, callee in _callees(function)}
    linked = types.FunctionType(
        function.__code__,
        {**function.__globals__, **callees},
        function.__name__,
        function.__defaults__,
    )
    linked.__qualname__, linked.__module__ = function.__qualname__, function.__module__
    dispatcher: Any
    try:
        dispatcher = numba.njit(cache=True, nogil=True)(linked)
    except RuntimeError:  # nowhere to keep the cache: compile every time
        dispatcher = numba.njit(nogil=True)(linked)
    _stamp(dispatcher, _fingerprint(function))
    done[function] = dispatcher
    return dispatcher


def _callees(function: Callable[..., Any]) -> Iterator[tuple[str, Callable[..., Any]]]:
    package = f"{__name__.partition('.')[0]}."
    for name in function.__code__.co_names:
        value = function.__globals__.get(name)
        if not isinstance(value, types.FunctionType) or value is function:
            continue
        if value.__module__ == function.__module__ or value.__module__.startswith(package):
            yield name, value


def _stamp(dispatcher: Any, fingerprint: str) -> None:
    """Let numba's cache expire with what a function calls and the constants it names.

    numba looks at the age of the function's own file only; a helper or an event code that
    changed in another module would leave old machine code in use.
    """
    index: Any = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
    if hasattr(index, "_source_stamp"):
        index._source_stamp = fingerprint


def _checks_bounds() -> bool:
    import numba

    return bool(getattr(numba.config, "BOUNDSCHECK", None))


def _fingerprint(function: Callable[..., Any]) -> str:
    """A hash of the code of `function` and its callees, and of the constants that they name."""
    import numba

    digest = hashlib.sha256(f"{numba.__version__} {_checks_bounds()}".encode())
    waiting, seen = [function], set()
    while waiting:
        one = waiting.pop()
        if one in seen:
            continue
        seen.add(one)
        code = one.__code__
        digest.update(code.co_code)
        digest.update(repr((code.co_consts, code.co_names, code.co_varnames)).encode())
        waiting += [callee for _, callee in _callees(one)]
        for name in code.co_names:
            value = one.__globals__.get(name)
            if isinstance(value, int | float | str | tuple | np.ndarray):
                digest.update(f"{name}={value!r}".encode())
    return digest.hexdigest()
