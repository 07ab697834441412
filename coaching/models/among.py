"""A lookup for many keys at once, sent as one value: `in` makes a parameter of each, for every query."""

import json
from collections.abc import Iterable
from typing import Any

from django.db.models import AutoField, BigAutoField, ForeignKey, Lookup


class Among(Lookup):
    """`client__among=ids`: rows whose key is one of these whole numbers, of which there may be none."""

    lookup_name = "among"
    prepare_rhs = False

    def __init__(self, lhs: Any, rhs: Iterable[int]) -> None:
        super().__init__(lhs, list(rhs))

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        return f"{column} = ANY(%s::bigint[])", (*params, self.rhs)

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        among = f"{column} IN (SELECT value FROM json_each(%s))"  # noqa: S608 - our own column
        return among, (*params, json.dumps(self.rhs))


for field in (AutoField, BigAutoField, ForeignKey):
    field.register_lookup(Among)
