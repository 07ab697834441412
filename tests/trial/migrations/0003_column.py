from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("trial", "0002_index")]

    operations = [
        migrations.AddField("lift", "rir", models.IntegerField(db_default=0)),
        migrations.AddField("lift", "seconds", models.IntegerField(null=True)),
    ]
