from django.db import migrations

from coaching.models.busy_tables import ValidateCheck


class Migration(migrations.Migration):
    dependencies = [("trial", "0006_check")]

    operations = [ValidateCheck("lift", "trial_lift_reps_possible")]
