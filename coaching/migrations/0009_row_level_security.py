"""On PostgreSQL no row is seen or written but those of the practice that the transaction names."""

from django.db import migrations

from coaching.models.row_policies import secured, secured_by_parent, secured_by_place

OWN = [
    "alert",
    "assignment",
    "auditevent",
    "calendarfeed",
    "change",
    "clearance",
    "client",
    "consent",
    "devicetoken",
    "injury",
    "interventionnote",
    "invitation",
    "jointday",
    "liftday",
    "loggedset",
    "mailrow",
    "membership",
    "night",
    "nightclient",
    "painreport",
    "plan",
    "prescription",
    "referral",
    "restriction",
    "scheduledsession",
    "score",
    "session",
    "webhook",
    "webhookdelivery",
]
SHARED = ["exercise", "jointstress"]
# The child, its key, and the parent.
CHILDREN = [
    ("bodymass", "client_id", "client"),
    ("planversion", "plan_id", "plan"),
    ("planday", "version_id", "planversion"),
    ("block", "day_id", "planday"),
    ("prescriptionalternative", "prescription_id", "prescription"),
]
CHILDREN_OF_EXERCISES = ["musclerole", "exercisealternative"]


class Migration(migrations.Migration):
    dependencies = [("coaching", "0008_edits")]

    operations = [
        secured("coaching_practice", column="id"),
        *(secured(f"coaching_{name}") for name in OWN),
        *(secured(f"coaching_{name}", has_shared_rows=True) for name in SHARED),
        *(
            secured_by_parent(f"coaching_{name}", key=key, parent=f"coaching_{parent}")
            for name, key, parent in CHILDREN
        ),
        *(
            secured_by_parent(
                f"coaching_{name}", key="exercise_id", parent="coaching_exercise", is_parent_shared=True
            )
            for name in CHILDREN_OF_EXERCISES
        ),
        secured_by_parent("coaching_secondfactor", key="account_id", parent="coaching_account"),
        # An account is a person's, in one practice or several.
        secured_by_place(
            "coaching_account", key="account_id", places=("coaching_membership", "coaching_client")
        ),
    ]
