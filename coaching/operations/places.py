"""Where a practice or a client is: zone, country, and the emergency number that people there call."""

from functools import cache
from zoneinfo import available_timezones

from coaching.errors import FieldFault

EU_COUNTRIES = (
    *("AT", "BE", "BG", "CY", "CZ", "DE", "DK", "EE", "ES", "FI", "FR", "GR", "HR", "HU"),
    *("IT", "LT", "LU", "LV", "MT", "NL", "PL", "PT", "RO", "SE", "SI", "SK"),
)
# Numbers from memory; whoever sets up a practice checks them, since local rules come first.
EMERGENCY_TEXTS = {
    **dict.fromkeys(EU_COUNTRIES, "112"),
    "AU": "000",
    "BR": "192",
    "CA": "911",
    "CH": "144 or 112",
    "GB": "999 or 112",
    "IE": "112 or 999",
    "IN": "112",
    "IS": "112",
    "JP": "119",
    "KR": "119",
    "MX": "911",
    "NO": "113 or 112",
    "NZ": "111",
    "SG": "995",
    "US": "911",
    "ZA": "112 or 10177",
}
EMERGENCY_TEXT_ELSEWHERE = "your local emergency number"
NOT_PLACES = {"Factory", "localtime"}


def emergency_text_of(country: str) -> str:
    """What completes the sentence "call ..." in this country; generic where the number is not known."""
    return EMERGENCY_TEXTS.get(country, EMERGENCY_TEXT_ELSEWHERE)


def place_faults(*, zone: str | None = None, country: str | None = None) -> tuple[FieldFault, ...]:
    """What is wrong with a zone or a country; one that is not given is not judged."""
    faults = []
    if zone is not None and zone not in _zone_names():
        faults.append(FieldFault(("zone",), "unknown_zone", "Give an IANA zone name like Europe/Berlin."))
    if country is not None and not (
        len(country) == 2 and country.isascii() and country.isalpha() and country.isupper()
    ):
        faults.append(
            FieldFault(("country",), "unknown_country", "Give a country as two capital letters, like DE.")
        )
    return tuple(faults)


@cache
def _zone_names() -> frozenset[str]:
    """Names are compared with this list, never turned into a path."""
    return frozenset(available_timezones() - NOT_PLACES)
