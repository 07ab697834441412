from django.db import migrations

from coaching.models.busy_tables import DropColumn


class Migration(migrations.Migration):
    unused_since = "0.0.9"
    dependencies = [("trial", "0009_unused")]

    operations = [DropColumn("trial_lift", "old_note", "varchar(20) NULL")]
