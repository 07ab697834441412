"""What may be said about who has reviewed the urgency of the red-flag symptoms."""

from coaching.compute import red_flags
from coaching.models import UrgencySignOff


def urgency_review_note(country: str) -> str:
    """Names the newest review for this country and this version of the table, or says that there is none."""
    review = (
        UrgencySignOff.objects.filter(country=country, table_version=red_flags.VERSION)
        .order_by("-signed_on", "-id")
        .first()
    )
    if review is None:
        return red_flags.SIGN_OFF
    return (
        f"The urgency of each symptom was reviewed for {review.country} on {review.signed_on} by "
        f"{review.clinician_name}, {review.clinician_profession}. It is no diagnosis and no clearance."
    )
