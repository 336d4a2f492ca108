"""Queries that Django writes once and the database answers often.

Building the SQL of a query takes Django longer than SQLite takes to answer it, and a batch of marks asks
the same few questions each time, only with other keys. A ``Prepared`` query is written as any other, as a
function of its keys; its SQL is kept, by how many keys there are (rounded up, the last key repeated), and
what comes back is converted as Django would.
"""

from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import QuerySet

_MOST = 512  # keys in one query
_Key = TypeVar("_Key", int, str, UUID)
_Kept = tuple[str, tuple[Any, ...], Any, dict[int, Any]]


class Prepared(Generic[_Key]):
    """A query of ``values_list`` rows for some keys.

    ``build`` gets keys and returns a query in which they stand as they are, in any number of places; nothing
    else in it may change from call to call.
    """

    def __init__(
        self, build: Callable[[list[_Key]], QuerySet[Any, Any]], stand_in: Callable[[int], _Key]
    ) -> None:
        self._build: Callable[[list[_Key]], QuerySet[Any, Any]] = build
        self._stand_in: Callable[[int], _Key] = stand_in
        self._kept: dict[tuple[str, int], _Kept] = {}

    def rows(self, keys: Iterable[_Key]) -> list[tuple[Any, ...]]:
        """Return the rows for these keys; none for none. Many keys are asked for in parts."""
        wanted = sorted(set(keys))
        found: list[tuple[Any, ...]] = []
        for first in range(0, len(wanted), _MOST):
            found += self._part(wanted[first : first + _MOST])
        return found

    def _part(self, keys: list[_Key]) -> list[tuple[Any, ...]]:
        size: int = 1 << (len(keys) - 1).bit_length()
        sql, params, compiler, converters = self._written(size)
        padded = [*keys, *keys[-1:] * (size - len(keys))]
        given = {_adapted(self._stand_in(number)): _adapted(key) for number, key in enumerate(padded)}
        with connection.cursor() as cursor:
            cursor.execute(sql, [given.get(one, one) for one in params])
            rows: list[tuple[Any, ...]] = cursor.fetchall()
        if converters:
            rows = [tuple(row) for row in compiler.apply_converters(rows, converters)]
        return rows

    def _written(self, size: int) -> _Kept:
        name = (connection.vendor, size)
        if name not in self._kept:
            query: Any = self._build([self._stand_in(number) for number in range(size)]).query
            compiler = query.get_compiler(DEFAULT_DB_ALIAS)
            sql, params = compiler.as_sql()
            columns = [column[0] for column in compiler.select[: compiler.col_count]]
            self._kept[name] = sql, params, compiler, compiler.get_converters(columns)
        return self._kept[name]


def _adapted(key: Any) -> Any:
    """Return a key as it stands among the parameters."""
    is_text = isinstance(key, UUID) and not connection.features.has_native_uuid_field
    return key.hex if is_text else key


def by_id(build: Callable[[list[int]], QuerySet[Any, Any]]) -> Prepared[int]:
    """Prepare a query for integer keys."""
    return Prepared(build, lambda number: -(10**15) - number)  # no row has a key below zero


def by_uuid(build: Callable[[list[UUID]], QuerySet[Any, Any]]) -> Prepared[UUID]:
    """Prepare a query for UUIDs."""
    return Prepared(build, lambda number: UUID(int=number))  # none of version 4


def by_text(build: Callable[[list[str]], QuerySet[Any, Any]]) -> Prepared[str]:
    """Prepare a query for texts, such as codes."""
    return Prepared(build, lambda number: f"\x01stand-in {number}")
