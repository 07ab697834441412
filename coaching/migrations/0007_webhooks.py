
import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('coaching', '0006_second_factor'),
    ]

    operations = [
        migrations.CreateModel(
            name='Webhook',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('address', models.CharField(max_length=500)),
                ('events', models.JSONField(default=list)),
                ('is_active', models.BooleanField(default=True)),
                ('salt', models.CharField(max_length=64)),
                ('former_salt', models.CharField(blank=True, max_length=64)),
                ('former_salt_until_at', models.DateTimeField(null=True)),
                ('created_at', models.DateTimeField()),
                ('tried_at', models.DateTimeField(null=True)),
                ('failures', models.PositiveIntegerField(default=0)),
                ('failing_since_at', models.DateTimeField(null=True)),
                ('rests_until_at', models.DateTimeField(null=True)),
                ('switched_off', models.CharField(blank=True, max_length=10)),
                ('removed_at', models.DateTimeField(null=True)),
                ('version', models.PositiveIntegerField(default=1)),
                ('practice', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='WebhookDelivery',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('state', models.CharField(default='waiting', max_length=8)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('created_at', models.DateTimeField()),
                ('next_at', models.DateTimeField()),
                ('sent_at', models.DateTimeField(null=True)),
                ('error_code', models.CharField(blank=True, max_length=80)),
                ('event', models.CharField(max_length=20)),
                ('event_key', models.CharField(max_length=120)),
                ('status_code', models.PositiveSmallIntegerField(null=True)),
                ('alert', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='coaching.alert')),
                ('practice', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice')),
                ('webhook', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='coaching.webhook')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddConstraint(
            model_name='webhook',
            constraint=models.UniqueConstraint(fields=('practice', 'uid'), name='webhook_uid_unique'),
        ),
        migrations.AddConstraint(
            model_name='webhook',
            constraint=models.CheckConstraint(condition=models.Q(('switched_off', ''), models.Q(('is_active', False), ('switched_off__in', ['gone', 'failing'])), _connector='OR'), name='webhook_switched_off_is_not_active'),
        ),
        migrations.AddConstraint(
            model_name='webhook',
            constraint=models.CheckConstraint(condition=models.Q(('removed_at__isnull', True), ('is_active', False), _connector='OR'), name='webhook_removed_is_not_active'),
        ),
        migrations.AddConstraint(
            model_name='webhook',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('former_salt', ''), ('former_salt_until_at__isnull', True)), models.Q(models.Q(('former_salt', ''), _negated=True), ('former_salt_until_at__isnull', False)), _connector='OR'), name='webhook_former_salt_ends'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(condition=models.Q(('state', 'waiting')), fields=['next_at'], name='webhookdelivery_waiting_idx'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(fields=['created_at'], name='webhookdelivery_created_idx'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.UniqueConstraint(fields=('practice', 'uid'), name='webhookdelivery_uid_unique'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'sent', 'dead'])), name='webhookdelivery_state_known'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.UniqueConstraint(fields=('webhook', 'event_key'), name='webhookdelivery_once_per_event'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('alert__isnull', False), ('event__in', ['alert.opened', 'alert.worsened', 'alert.acknowledged', 'alert.closed'])), models.Q(('alert__isnull', True), ('event', 'webhook.test')), _connector='OR'), name='webhookdelivery_event_has_its_alert'),
        ),
    ]
