"""RFC 7396 merge patches, the one way in which a PATCH changes a record."""

from typing import Any

from rest_framework import serializers


def merge_patch(target: Any, patch: Any) -> Any:
    """Null removes a member, an object merges, everything else replaces."""
    if not isinstance(patch, dict):
        return patch
    merged = dict(target) if isinstance(target, dict) else {}
    for key, value in patch.items():
        if value is None:
            merged.pop(key, None)
        else:
            merged[key] = merge_patch(merged.get(key), value)
    return merged


def writable(serializer: Any, shown: Any) -> Any:
    """What is shown of a record, as a body that `serializer` could have taken."""
    child = getattr(serializer, "child", None)
    if isinstance(shown, list) and child is not None:
        return [writable(child, row) for row in shown]
    if isinstance(shown, dict) and isinstance(serializer, serializers.Serializer):
        return {key: writable(field, shown[key]) for key, field in serializer.fields.items() if key in shown}
    return shown


def value_once_removed(field: Any) -> Any:
    """What a member means that a patch took out. Raises ValidationError where there must be one."""
    if field.allow_null:
        return None
    if field.default is not serializers.empty:
        return field.default() if callable(field.default) else field.default
    if getattr(field, "allow_blank", False):
        return ""
    raise serializers.ValidationError("There must be a value here.", code="null")
