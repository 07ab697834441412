"""`id__any_of=ids`: like `in`, which makes a parameter of each id, but all of them are sent as one value."""

import json
from collections.abc import Iterable
from typing import Any

from django.db.models import Field, ForeignObject, Lookup


@ForeignObject.register_lookup  # which looks at no lookups of fields
@Field.register_lookup
class AnyOf(Lookup):
    """Rows whose key is one of these whole numbers, of which there may be none."""

    lookup_name = "any_of"
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
