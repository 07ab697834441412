"""Whether the role that the service runs under is held by row-level security."""

from django.db import connection

FACTS = """
    SELECT rolname, rolsuper, rolbypassrls,
        EXISTS (SELECT 1 FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'
                AND relname LIKE 'coaching\\_%%' AND pg_has_role(rolname, relowner, 'MEMBER')),
        has_schema_privilege(rolname, 'public', 'CREATE')
    FROM pg_roles WHERE rolname = current_user
"""


def role_faults() -> tuple[str, ...]:
    """What lets the role of DATABASE_URL see or do more than it should; nothing on other databases."""
    if connection.vendor != "postgresql":
        return ()
    with connection.cursor() as cursor:
        cursor.execute(FACTS, [])
        name, is_superuser, bypasses, owns, may_create = cursor.fetchone()
    if is_superuser:
        return (f"The role {name} is a superuser, so row-level security does not hold for it.",)
    faults = (
        (bypasses, f"The role {name} has BYPASSRLS, so row-level security does not hold for it."),
        (owns, f"The role {name} owns the tables, or is a member of their owner: it can switch it off."),
        (may_create, f"The role {name} may create tables in the schema public."),
    )
    return tuple(words for is_so, words in faults if is_so)
