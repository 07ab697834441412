"""Service tokens, records merged into another one, and practices that close."""

import uuid

import django.db.models.deletion
from django.db import migrations, models

from coaching.models.row_policies import secured, secured_by_parent


class Migration(migrations.Migration):
    dependencies = [("coaching", "0010_audit")]

    operations = [
        migrations.CreateModel(
            name="ServiceToken",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("uid", models.UUIDField(default=uuid.uuid4, editable=False)),
                ("name", models.CharField(max_length=80)),
                ("scopes", models.JSONField(default=list)),
                ("sees_all_clients", models.BooleanField(default=False)),
                ("token_digest", models.CharField(max_length=64, unique=True)),
                ("created_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("last_used_at", models.DateTimeField(null=True)),
                ("revoked_at", models.DateTimeField(null=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="coaching.membership",
                    ),
                ),
                (
                    "practice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="coaching.practice",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.UniqueConstraint(fields=("practice", "uid"), name="servicetoken_uid_unique"),
                    models.CheckConstraint(
                        condition=models.Q(("name", ""), _negated=True), name="servicetoken_has_name"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("expires_at__gt", models.F("created_at"))),
                        name="servicetoken_ends_after_it_begins",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ServiceTokenCoach",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "token",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="coaching.servicetoken",
                    ),
                ),
                (
                    "coach",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="coaching.membership",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("token", "coach"), name="servicetokencoach_named_once"),
                ],
            },
        ),
        migrations.AddField(
            model_name="servicetoken",
            name="coaches",
            field=models.ManyToManyField(
                related_name="+", through="coaching.ServiceTokenCoach", to="coaching.membership"
            ),
        ),
        secured("coaching_servicetoken"),
        secured_by_parent("coaching_servicetokencoach", key="token_id", parent="coaching_servicetoken"),
        migrations.AddField(
            model_name="client",
            name="merged_into",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="duplicates",
                to="coaching.client",
            ),
        ),
        migrations.AddConstraint(
            model_name="client",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("merged_into__isnull", True),
                    models.Q(("account__isnull", True), ("archived_at__isnull", False)),
                    _connector="OR",
                ),
                name="client_merged_is_archived",
            ),
        ),
        migrations.AddField(
            model_name="practice",
            name="closed_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="practice",
            name="keep_until_on",
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddConstraint(
            model_name="practice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("closed_at__isnull", True), ("keep_until_on__isnull", True)),
                    models.Q(("closed_at__isnull", False), ("keep_until_on__isnull", False)),
                    _connector="OR",
                ),
                name="practice_closed_is_kept_until",
            ),
        ),
    ]
