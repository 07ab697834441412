"""`id__any_of`: like `__in`, but on PostgreSQL all ids are one parameter, which costs nothing to write."""

from typing import Any

from django.db.models import Field, ForeignObject
from django.db.models.lookups import In


@ForeignObject.register_lookup  # which looks at no lookups of fields
@Field.register_lookup
class AnyOf(In):
    lookup_name = "any_of"

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        side, params = self.process_lhs(compiler, connection)
        return f"{side} = ANY(%s)", (*params, list(self.rhs))
