from django.db import migrations


class Migration(migrations.Migration):
    """The code of this release no longer knows the column; the one before it still does."""

    dependencies = [("trial", "0008_key")]

    operations = [
        migrations.SeparateDatabaseAndState(state_operations=[migrations.RemoveField("lift", "old_note")])
    ]
