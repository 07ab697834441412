"""Rows that belong to a practice, and the QuerySet that binds every question about them to it."""

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from django.db import models
from django.db.models import BooleanField, ForeignKey, Func
from django.db.models.lookups import Exact, IsNull
from django.db.models.signals import class_prepared
from django.db.models.sql.where import AND, OR, WhereNode
from django.dispatch import receiver

from coaching.models.scope import EVERYWHERE, NOWHERE, Scope, UnscopedQueryError, current_scope

Row = TypeVar("Row", bound=models.Model)


class ScopedQuerySet(models.QuerySet[Row]):
    """Begun within a practice it sees only that one's rows; begun outside of all it raises when asked."""

    _scope: Scope = NOWHERE

    def __init__(self, model: Any = None, query: Any = None, using: Any = None, hints: Any = None) -> None:
        super().__init__(model, query, using, hints)
        if query is None and model is not None:
            self._scope = current_scope()
            if self._scope.practice_id is not None:
                _bind(self.query, self._scope.practice_id)

    def _clone(self) -> Any:
        clone = super()._clone()  # type: ignore[misc]  # not in the stubs, as the others below
        clone._scope = self._scope
        return clone

    def _check_scope(self) -> None:
        if self._scope == NOWHERE:
            raise UnscopedQueryError(f"{self.model.__name__} asked for outside of any practice.")
        if not current_scope().holds(self._scope):
            raise UnscopedQueryError(f"{self.model.__name__} asked for in a scope it was not begun in.")

    def _fetch_all(self) -> None:
        if self._result_cache is None:
            self._check_scope()
        super()._fetch_all()

    def iterator(self, chunk_size: int | None = None) -> Iterator[Any]:
        self._check_scope()
        return super().iterator(chunk_size)

    def count(self) -> int:
        self._check_scope()
        return super().count()

    def exists(self) -> bool:
        self._check_scope()
        return super().exists()

    def aggregate(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        self._check_scope()
        return super().aggregate(*args, **kwargs)

    def resolve_expression(self, *args: Any, **kwargs: Any) -> Any:
        self._check_scope()
        return super().resolve_expression(*args, **kwargs)

    def update(self, **kwargs: Any) -> int:
        self._check_scope()
        for name in ("practice", "practice_id"):
            if name in kwargs:
                _check_practice(self.model, kwargs[name])
        return super().update(**kwargs)

    def delete(self) -> tuple[int, dict[str, int]]:
        self._check_scope()
        return super().delete()

    def _update(self, values: Sequence[tuple[Any, Any, Any]]) -> int:
        """The update of `save`: no row moves to another practice."""
        self._check_scope()
        for field, _, value in values:
            if field.name == "practice":
                _check_practice(self.model, value)
        return super()._update(values)  # type: ignore[misc,no-any-return]

    def _insert(self, objs: Sequence[Any], *args: Any, **kwargs: Any) -> Any:
        """The insert of `save` and `bulk_create`: no row is made in another practice."""
        self._check_scope()
        for row in objs:
            _check_practice(self.model, getattr(row, _practice_field(self.model).attname, None))
        return super()._insert(objs, *args, **kwargs)  # type: ignore[misc]

    # As Django marks its own, so that managers have them.
    _update.queryset_only = False  # type: ignore[attr-defined]
    _insert.queryset_only = False  # type: ignore[attr-defined]
    delete.queryset_only = True  # type: ignore[attr-defined]


def statement_of(rows: models.QuerySet[Any]) -> tuple[str, tuple[Any, ...]]:
    """The query with its parameters, for whoever asks it as a part of another one. Raises EmptyResultSet."""
    if isinstance(rows, ScopedQuerySet):
        rows._check_scope()
    return rows.query.sql_with_params()


class Unindexed(Func):
    """The column itself. SQLite, which keeps no statistics, must not take its index for a better one's."""

    arity = 1
    template = "%(expressions)s"

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template="+%(expressions)s", **context)


class OfPractice(models.Model):
    """A row of one practice, found by its own column or by the parent that has one.

    Every manager asks through `ScopedQuerySet`, the base manager too: the other end of a foreign key, `save`
    and `delete` are bound like everything else.
    """

    practice_by: ClassVar[str] = "practice"
    # Rows without a practice are everybody's to read.
    has_shared_rows: ClassVar[bool] = False

    if not TYPE_CHECKING:  # for the checker Django's own manager, which models may put theirs in place of
        objects = ScopedQuerySet.as_manager()

    class Meta:
        abstract = True

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Bound here as well: Django deletes a single row past every QuerySet."""
        if current_scope() == NOWHERE:
            raise UnscopedQueryError(f"{type(self).__name__} deleted outside of any practice.")
        _check_practice(type(self), getattr(self, _practice_field(type(self)).attname))
        return super().delete(*args, **kwargs)


@receiver(class_prepared)
def _bind_base_manager(sender: Any, **_: Any) -> None:
    """Not by `Meta`, which a model would have to inherit, and which would be in every migration."""
    if issubclass(sender, OfPractice):
        sender._meta.base_manager_name = "objects"


def _practice_field(model: Any) -> Any:
    return model._meta.get_field(model.practice_by)


def is_bound_by_parent(model: Any) -> bool:
    field = _practice_field(model)
    return isinstance(field, ForeignKey) and field.name != "practice"


def _bind(query: Any, practice_id: int) -> None:
    """Written straight into the WHERE, since this runs for every query there is."""
    query.get_initial_alias()
    query.where.add(_condition(query.model, practice_id), AND)


def _condition(model: Any, practice_id: int) -> WhereNode:
    column = _practice_field(model).get_col(model._meta.db_table)
    conditions: list[Any] = [Exact(Unindexed(column), practice_id)]
    if is_bound_by_parent(model):
        conditions = [_ParentIsOurs(column, source=_parents_sql(model, practice_id))]
    elif model.has_shared_rows:
        conditions.append(IsNull(column, True))
    return WhereNode(conditions, connector=OR)


class _ParentIsOurs(Func):
    """Asked row by row, by the parent's key: a join would be in the way of updates and locks."""

    arity = 1
    template = "EXISTS(%(source)s = %(expressions)s)"
    output_field = BooleanField()


@lru_cache(maxsize=10_000)
def _parents_sql(model: Any, practice_id: int) -> str:
    """Up to the table that has the practice's column; the last comparison is with the child's own key."""
    joins, level = "", 1
    parent = _practice_field(model).related_model
    while is_bound_by_parent(parent):
        field = _practice_field(parent)
        joins += f' JOIN "{field.related_model._meta.db_table}" p{level + 1}'
        joins += f' ON p{level + 1}."id" = p{level}."{field.column}"'
        parent, level = field.related_model, level + 1
    ours = f'p{level}."practice_id" = {int(practice_id)}'
    if parent.has_shared_rows:
        ours = f'({ours} OR p{level}."practice_id" IS NULL)'
    first = _practice_field(model).related_model._meta.db_table
    return f'SELECT 1 FROM "{first}" p1{joins} WHERE {ours} AND p1."id"'  # noqa: S608 - our own names


def check_practice_of(rows: Iterable[models.Model]) -> None:
    """For rows that are inserted past every QuerySet. Raises UnscopedQueryError."""
    for row in rows:
        model = type(row)
        _check_practice(model, getattr(row, _practice_field(model).attname))


def _check_practice(model: Any, practice: Any) -> None:
    """Within a practice only its own rows are written; of a child, its parent has been found within it."""
    scope = current_scope()
    if scope == EVERYWHERE or is_bound_by_parent(model):
        return
    practice_id = practice.pk if isinstance(practice, models.Model) else practice
    if practice_id != scope.practice_id:
        raise UnscopedQueryError(f"{model.__name__} written to another practice.")
