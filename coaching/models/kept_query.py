"""A query that every request asks: put together once in a process, and planned once on each connection."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Generic, TypeVar

from django.db import connection
from django.db.models import Model
from django.db.models.query import get_related_populators

from coaching.models.scoped import ScopedQuerySet
from coaching.models.statements import asked

Row = TypeVar("Row", bound=Model)


class KeptQuery(Generic[Row]):
    """`make` gives the query with any value in the place of each parameter; it is asked in the same scope."""

    def __init__(self, make: Callable[[], ScopedQuerySet[Row]]) -> None:
        self._make = make

    def rows(self, *params: Any) -> list[Row]:
        """As the query itself gives them, with these parameters in the order in which its SQL has them."""
        kept = self._kept
        kept.rows._check_scope()
        compiler = kept.rows.query.get_compiler(connection=connection)
        found = asked(kept.sql, params)
        return [kept.row(cells) for cells in compiler.apply_converters(found, kept.converters)]

    @cached_property
    def _kept(self) -> "_Kept[Row]":
        rows = self._make()
        compiler = rows.query.get_compiler(connection=connection)
        sql, _ = compiler.as_sql()
        select: Any = compiler.select
        info: Any = compiler.klass_info
        of_model = info["select_fields"]
        return _Kept(
            rows=rows,
            sql=sql,
            model=info["model"],
            names=[select[place][0].target.attname for place in of_model],
            columns=slice(of_model[0], of_model[-1] + 1),
            related=get_related_populators(info, select, connection.alias),
            converters=compiler.get_converters([expression for expression, *_ in select]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Kept(Generic[Row]):
    rows: ScopedQuerySet[Row]
    sql: str
    model: type[Row]
    names: Sequence[str]
    columns: slice
    related: Sequence[Any]
    converters: Any

    def row(self, cells: Sequence[Any]) -> Row:
        made = self.model.from_db(connection.alias, self.names, cells[self.columns])
        for populator in self.related:
            populator.populate(cells, made)
        return made
