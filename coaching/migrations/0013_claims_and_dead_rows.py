"""When a client of a night was claimed, and finding what is dead in the outbox without reading all of it."""


from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('coaching', '0012_erasure'),
    ]

    operations = [
        migrations.AddField(
            model_name='nightclient',
            name='claimed_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddIndex(
            model_name='mailrow',
            index=models.Index(condition=models.Q(('state', 'dead')), fields=['created_at'], name='mailrow_dead_idx'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(condition=models.Q(('state', 'dead')), fields=['created_at'], name='webhookdelivery_dead_idx'),
        ),
    ]
