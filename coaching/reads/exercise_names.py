"""What the exercises of a practice are called: the shared catalogue and its own entries."""

from coaching.models import Exercise


def exercise_names(practice_id: int) -> tuple[tuple[int, str], ...]:
    """Key and name of each, always in the same order."""
    return tuple(Exercise.objects.known_to(practice_id).order_by("id").values_list("id", "name"))
