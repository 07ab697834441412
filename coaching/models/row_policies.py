"""Operations of migrations: row-level security for a table, on PostgreSQL; on other databases nothing."""

from typing import Any

from django.db.migrations.operations import RunPython

# In brackets of their own they are worked out once for a statement, not once for a row.
OURS = "(SELECT NULLIF(NULLIF(current_setting('forbear.practice', true), ''), '*')::bigint)"
EVERYWHERE = "(SELECT current_setting('forbear.practice', true)) = '*'"


def secured(table: str, *, column: str = "practice_id", has_shared_rows: bool = False) -> RunPython:
    """Rows of the practice in `column`; shared ones, without a practice, may be read by all."""
    policies = {"of_practice": f"FOR ALL USING ({column} = {OURS} OR {EVERYWHERE})"}
    if has_shared_rows:
        policies["shared"] = f"FOR SELECT USING ({column} IS NULL)"
    return _operation(table, policies)


def secured_by_parent(table: str, *, key: str, parent: str, is_parent_shared: bool = False) -> RunPython:
    """Rows whose parent can be seen, as its policy says; a shared parent's may be read, not written."""
    seen = f"EXISTS (SELECT 1 FROM {parent} WHERE {parent}.id = {table}.{key}"  # noqa: S608 - our own names
    if not is_parent_shared:
        return _operation(table, {"of_parent": f"FOR ALL USING ({EVERYWHERE} OR {seen}))"})
    policies = {
        "of_parent": f"FOR ALL USING ({EVERYWHERE} OR {seen} AND {parent}.practice_id = {OURS}))",
        "shared": f"FOR SELECT USING ({seen}))",
    }
    return _operation(table, policies)


def secured_by_place(table: str, *, key: str, places: tuple[str, ...]) -> RunPython:
    """Rows that one of the tables `places` points at with `key`, in a row that can be seen."""
    seen = " OR ".join(
        f"EXISTS (SELECT 1 FROM {place} WHERE {place}.{key} = {table}.id)"  # noqa: S608 - our own names
        for place in places
    )
    return _operation(table, {"of_place": f"FOR ALL USING ({EVERYWHERE} OR {seen})"})


def _operation(table: str, policies: dict[str, str]) -> RunPython:
    def secure(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor != "postgresql":
            return
        for name, rule in policies.items():
            schema_editor.execute(f"CREATE POLICY {name} ON {table} {rule}")
        schema_editor.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        schema_editor.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")

    def release(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor != "postgresql":
            return
        schema_editor.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
        schema_editor.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")
        for name in policies:
            schema_editor.execute(f"DROP POLICY {name} ON {table}")

    return RunPython(secure, release)
