"""Ids that client apps make, as they may stand in an address."""

from django.urls import register_converter
from django.urls.converters import UUIDConverter


class MadeId(UUIDConverter):
    """RFC 9562, section 4: written in lower case, read in either; no braces and no urn:uuid: before it."""

    regex = "[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}"


register_converter(MadeId, "made")
