"""Operations of migrations: row-level security for a table, on PostgreSQL; on other databases nothing."""

from typing import Any

from django.db.migrations.operations.base import Operation

# In brackets of their own they are worked out once for a statement, not once for a row.
OURS = "(SELECT NULLIF(NULLIF(current_setting('forbear.practice', true), ''), '*')::bigint)"
EVERYWHERE = "(SELECT current_setting('forbear.practice', true)) = '*'"


def secured(table: str, *, column: str = "practice_id", has_shared_rows: bool = False) -> "RowPolicies":
    """Rows of the practice in `column`; shared ones, without a practice, may be read by all."""
    policies = {"of_practice": f"FOR ALL USING ({column} = {OURS} OR {EVERYWHERE})"}
    if has_shared_rows:
        policies["shared"] = f"FOR SELECT USING ({column} IS NULL)"
    return RowPolicies(table, policies)


def secured_by_parent(table: str, *, key: str, parent: str, is_parent_shared: bool = False) -> "RowPolicies":
    """Rows whose parent can be seen, as its policy says; a shared parent's may be read, not written."""
    seen = f"EXISTS (SELECT 1 FROM {parent} WHERE {parent}.id = {table}.{key}"  # noqa: S608 - our own names
    if not is_parent_shared:
        return RowPolicies(table, {"of_parent": f"FOR ALL USING ({EVERYWHERE} OR {seen}))"})
    policies = {
        "of_parent": f"FOR ALL USING ({EVERYWHERE} OR {seen} AND {parent}.practice_id = {OURS}))",
        "shared": f"FOR SELECT USING ({seen}))",
    }
    return RowPolicies(table, policies)


def secured_by_place(table: str, *, key: str, places: tuple[str, ...]) -> "RowPolicies":
    """Rows that one of the tables `places` points at with `key`, in a row that can be seen."""
    seen = " OR ".join(
        f"EXISTS (SELECT 1 FROM {place} WHERE {place}.{key} = {table}.id)"  # noqa: S608 - our own names
        for place in places
    )
    return RowPolicies(table, {"of_place": f"FOR ALL USING ({EVERYWHERE} OR {seen})"})


class RowPolicies(Operation):
    """Row-level security on a table. Unlike RunPython it asks for no models, which take long to build."""

    reversible = True
    reduces_to_sql = True

    def __init__(self, table: str, policies: dict[str, str]) -> None:
        self.table = table
        self.policies = policies

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The models stay as they are."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor != "postgresql":
            return
        for name, rule in self.policies.items():
            schema_editor.execute(f"CREATE POLICY {name} ON {self.table} {rule}")
        schema_editor.execute(f"ALTER TABLE {self.table} ENABLE ROW LEVEL SECURITY")
        schema_editor.execute(f"ALTER TABLE {self.table} FORCE ROW LEVEL SECURITY")

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor != "postgresql":
            return
        schema_editor.execute(f"ALTER TABLE {self.table} NO FORCE ROW LEVEL SECURITY")
        schema_editor.execute(f"ALTER TABLE {self.table} DISABLE ROW LEVEL SECURITY")
        for name in self.policies:
            schema_editor.execute(f"DROP POLICY {name} ON {self.table}")

    def describe(self) -> str:
        return f"Secure the rows of {self.table}"
