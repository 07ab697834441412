from django.db import migrations, models

from coaching.models.busy_tables import AddCheckOnBusyTable


class Migration(migrations.Migration):
    dependencies = [("trial", "0005_unique_where")]

    operations = [
        AddCheckOnBusyTable(
            "lift",
            models.CheckConstraint(condition=models.Q(reps__gte=0), name="trial_lift_reps_possible"),
        )
    ]
