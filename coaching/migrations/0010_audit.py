"""The trail is append-only in the database itself; one door, opened by name for one transaction, leads past."""

from django.db import migrations, models

POSTGRESQL = """
CREATE FUNCTION coaching_auditevent_keep() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    door text := current_setting('forbear.audit_door', true);
BEGIN
    IF TG_OP = 'DELETE' AND door = 'retention' THEN
        RETURN OLD;
    ELSIF TG_OP = 'TRUNCATE' AND door = 'flush' THEN
        RETURN NULL;
    ELSIF TG_OP = 'UPDATE' AND door = 'erasure'
        AND ROW(NEW.id, NEW.practice_id, NEW.at, NEW.subject_key, NEW.action, NEW.record_kind, NEW.read_hour)
            IS NOT DISTINCT FROM
            ROW(OLD.id, OLD.practice_id, OLD.at, OLD.subject_key, OLD.action, OLD.record_kind, OLD.read_hour)
        AND NEW.record_id IN ('', OLD.record_id)
        AND NEW.detail IN ('{}'::jsonb, OLD.detail)
        AND (NEW.account_id IS NULL OR NEW.account_id = OLD.account_id)
        AND (NEW.device_id IS NULL OR NEW.device_id = OLD.device_id) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'the audit trail is append-only' USING ERRCODE = 'insufficient_privilege';
END $$;
CREATE TRIGGER auditevent_rows_kept BEFORE UPDATE OR DELETE ON coaching_auditevent
    FOR EACH ROW EXECUTE FUNCTION coaching_auditevent_keep();
CREATE TRIGGER auditevent_table_kept BEFORE TRUNCATE ON coaching_auditevent
    FOR EACH STATEMENT EXECUTE FUNCTION coaching_auditevent_keep();
"""
POSTGRESQL_BACK = """
DROP TRIGGER auditevent_rows_kept ON coaching_auditevent;
DROP TRIGGER auditevent_table_kept ON coaching_auditevent;
DROP FUNCTION coaching_auditevent_keep();
"""
SQLITE = [
    f"CREATE TRIGGER auditevent_kept_from_{verb.lower()} BEFORE {verb} ON coaching_auditevent "
    "BEGIN SELECT RAISE(ABORT, 'the audit trail is append-only'); END"
    for verb in ("UPDATE", "DELETE")
]
SQLITE_BACK = [f"DROP TRIGGER auditevent_kept_from_{verb}" for verb in ("update", "delete")]


def run(schema_editor, on_postgresql, on_sqlite):
    statements = [on_postgresql] if schema_editor.connection.vendor == "postgresql" else on_sqlite
    for statement in statements:
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [
        ("coaching", "0009_row_level_security"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="auditevent",
            index=models.Index(fields=["account_id", "at"], name="auditevent_account_idx"),
        ),
        migrations.RunPython(
            lambda apps, editor: run(editor, POSTGRESQL, SQLITE),
            lambda apps, editor: run(editor, POSTGRESQL_BACK, SQLITE_BACK),
        ),
    ]
