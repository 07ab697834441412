"""Tombstones of who was erased, what a practice keeps how long, and which installation a database is of."""

import django.db.models.deletion
import uuid
from django.db import migrations, models

from coaching.models.row_policies import secured, secured_by_parent


class Migration(migrations.Migration):

    dependencies = [
        ('coaching', '0011_people'),
    ]

    operations = [
        migrations.CreateModel(
            name='ErasedDigest',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=6)),
                ('digest', models.CharField(max_length=128)),
            ],
        ),
        migrations.CreateModel(
            name='Erasure',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('client_digest', models.CharField(max_length=64)),
                ('erased_at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='Installation',
            fields=[
                ('name', models.CharField(default='this', max_length=10, primary_key=True, serialize=False)),
                ('mark', models.UUIDField(default=uuid.uuid4)),
                ('seen_at', models.DateTimeField()),
                ('table_oid', models.BigIntegerField(null=True)),
                ('is_held', models.BooleanField(default=False)),
            ],
        ),
        migrations.AddField(
            model_name='practice',
            name='keeps_audit_years',
            field=models.PositiveSmallIntegerField(blank=True, default=6, null=True),
        ),
        migrations.AddField(
            model_name='practice',
            name='keeps_clients_years',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='practice',
            name='keeps_sent_mail_days',
            field=models.PositiveSmallIntegerField(blank=True, default=30, null=True),
        ),
        migrations.AddField(
            model_name='practice',
            name='keeps_tombstones_days',
            field=models.PositiveSmallIntegerField(blank=True, default=365, null=True),
        ),
        migrations.AddField(
            model_name='practice',
            name='version',
            field=models.PositiveIntegerField(default=1),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('keeps_clients_years__gte', 1), ('keeps_clients_years__lte', 100)), ('keeps_clients_years__isnull', True), _connector='OR'), name='practice_keeps_clients_possible'),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('keeps_audit_years__gte', 1), ('keeps_audit_years__lte', 100)), ('keeps_audit_years__isnull', True), _connector='OR'), name='practice_keeps_audit_possible'),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('keeps_sent_mail_days__gte', 3), ('keeps_sent_mail_days__lte', 3650)), ('keeps_sent_mail_days__isnull', True), _connector='OR'), name='practice_keeps_sent_mail_possible'),
        ),
        migrations.AddConstraint(
            model_name='practice',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('keeps_tombstones_days__gte', 90), ('keeps_tombstones_days__lte', 9999)), ('keeps_tombstones_days__isnull', True), _connector='OR'), name='practice_keeps_tombstones_possible'),
        ),
        migrations.AddField(
            model_name='erasure',
            name='practice',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        migrations.AddField(
            model_name='eraseddigest',
            name='erasure',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='digests', to='coaching.erasure'),
        ),
        migrations.AddConstraint(
            model_name='erasure',
            constraint=models.UniqueConstraint(fields=('practice', 'client_digest'), name='erasure_once_per_client'),
        ),
        migrations.AddIndex(
            model_name='eraseddigest',
            index=models.Index(fields=['digest'], name='eraseddigest_idx'),
        ),
        migrations.AddConstraint(
            model_name='eraseddigest',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['record', 'token'])), name='eraseddigest_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='eraseddigest',
            constraint=models.UniqueConstraint(fields=('erasure', 'digest'), name='eraseddigest_once'),
        ),
        migrations.AddConstraint(
            model_name='eraseddigest',
            constraint=models.CheckConstraint(condition=models.Q(('digest', ''), _negated=True), name='eraseddigest_not_empty'),
        ),
        secured("coaching_erasure"),
        secured_by_parent("coaching_eraseddigest", key="erasure_id", parent="coaching_erasure"),
    ]
