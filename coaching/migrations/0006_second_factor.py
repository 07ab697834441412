
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('coaching', '0005_changes_feed'),
    ]

    operations = [
        migrations.CreateModel(
            name='SecondFactor',
            fields=[
                ('account', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='second_factor', serialize=False, to=settings.AUTH_USER_MODEL)),
                ('secret_sealed', models.CharField(max_length=300)),
                ('made_at', models.DateTimeField()),
                ('confirmed_at', models.DateTimeField(null=True)),
                ('last_step', models.BigIntegerField(default=0)),
                ('recovery_digests', models.JSONField(default=list)),
            ],
        ),
    ]
