from django.db import migrations, models

from coaching.models.busy_tables import AddIndexOnBusyTable


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("trial", "0001_tables")]

    operations = [AddIndexOnBusyTable("lift", models.Index(fields=["reps"], name="trial_lift_reps_idx"))]
