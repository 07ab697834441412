"""The changes feed, with what is there already."""

import django.db.models.deletion
from django.db import migrations, models

# Kind, model, the path to its client, and since when it has been there; oldest matters first.
THERE_ALREADY = [
    ("client", "Client", "id", "created_at"),
    ("injury", "Injury", "client_id", "created_at"),
    ("restriction", "Restriction", "injury__client_id", "injury__created_at"),
    ("clearance", "Clearance", "client_id", "recorded_at"),
    ("intervention_note", "InterventionNote", "client_id", "created_at"),
    ("assignment", "Assignment", "client_id", "created_at"),
    ("scheduled_session", "ScheduledSession", "client_id", "assignment__created_at"),
    ("session", "Session", "client_id", "received_at"),
    ("pain_report", "PainReport", "client_id", "received_at"),
    ("alert", "Alert", "client_id", "opened_at"),
]


def tell_what_is_there(apps, schema_editor):
    Change = apps.get_model("coaching", "Change")
    for kind, model, client, at in THERE_ALREADY:
        rows = apps.get_model("coaching", model).objects.order_by("id")
        if kind == "session":
            rows = rows.filter(deleted_at__isnull=True)
        found = rows.values_list("practice_id", client, "uid", at)
        Change.objects.bulk_create(
            (
                Change(practice_id=practice_id, client_id=client_id, kind=kind, record_uid=uid, at=at)
                for practice_id, client_id, uid, at in found.iterator()
            ),
            batch_size=1000,
        )


class Migration(migrations.Migration):
    dependencies = [("coaching", "0004_exchange")]

    operations = [
        migrations.CreateModel(
            name="Change",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("kind", models.CharField(max_length=20)),
                ("record_uid", models.UUIDField()),
                ("is_deleted", models.BooleanField(default=False)),
                ("at", models.DateTimeField()),
                (
                    "client",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="coaching.client",
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="coaching.practice",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["client", "id"], name="change_client_idx"),
                    models.Index(fields=["practice", "id"], name="change_practice_idx"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "client",
                                    "injury",
                                    "restriction",
                                    "clearance",
                                    "intervention_note",
                                    "assignment",
                                    "scheduled_session",
                                    "session",
                                    "pain_report",
                                    "alert",
                                ],
                            )
                        ),
                        name="change_kind_known",
                    ),
                    models.UniqueConstraint(
                        fields=("client", "kind", "record_uid"), name="change_once_per_record"
                    ),
                ],
            },
        ),
        migrations.RunPython(tell_what_is_there, migrations.RunPython.noop),
    ]
