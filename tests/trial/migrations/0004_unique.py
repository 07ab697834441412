from django.db import migrations, models

from coaching.models.busy_tables import AddUniqueOnBusyTable


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("trial", "0003_column")]

    operations = [
        AddUniqueOnBusyTable("lift", models.UniqueConstraint(fields=["name"], name="trial_lift_name_once"))
    ]
