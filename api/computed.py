"""How the numbers of an answer came about: one shape for all of them."""

from rest_framework import serializers

from coaching.reads.computed import Computed


class ComputedOut(serializers.Serializer[Computed]):
    """How the numbers beside it came about: method, version, and the local days looked at, both included."""

    method = serializers.CharField()
    version = serializers.CharField(help_text="Another one may give other numbers from the same records.")
    from_on = serializers.DateField(
        allow_null=True, help_text="null: not of days, or of all that is known up to until_on."
    )
    until_on = serializers.DateField(allow_null=True, help_text="null: not of days.")
