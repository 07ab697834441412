"""What is left of a person who was erased: digests, so that nothing of them comes back, and no name."""

import hashlib
import uuid
from collections.abc import Collection
from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import one_of
from coaching.models.scoped import OfPractice, ScopedQuerySet


class DigestKind(models.TextChoices):
    RECORD = "record"
    TOKEN = "token"  # noqa: S105 - a kind, not a secret  # nosec B105


def id_digest(uid: uuid.UUID) -> str:
    """The digest of a record's id, which is random enough for it to lead nowhere."""
    return hashlib.sha256(uid.bytes).hexdigest()


class Erasure(OfPractice):
    """One client of a practice, erased; the digest of the client's id is all that tells whom."""

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey(
        "coaching.Practice", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    client_digest = models.CharField(max_length=64)
    erased_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["practice", "client_digest"], name="erasure_once_per_client"),
        ]


class ErasedDigestQuerySet(ScopedQuerySet["ErasedDigest"]):
    def of_records(self, practice_id: int, uids: Collection[uuid.UUID]) -> "ErasedDigestQuerySet":
        """Those of these ids that belonged to somebody who was erased from the practice."""
        digests = [id_digest(uid) for uid in uids]
        return self.filter(erasure__practice_id=practice_id, kind=DigestKind.RECORD, digest__in=digests)

    def of_token(self, digest: str) -> "ErasedDigestQuerySet":
        """The token with this digest, if its bearer was erased."""
        return self.filter(kind=DigestKind.TOKEN, digest=digest)


class ErasedDigest(OfPractice):
    """An id that must not be used again, or a token that answers 410 instead of 401."""

    practice_by = "erasure"

    id = models.BigAutoField(primary_key=True)
    erasure = models.ForeignKey(Erasure, on_delete=models.CASCADE, related_name="digests", db_index=False)
    kind = models.CharField(max_length=6)
    digest = models.CharField(max_length=128)

    objects: ClassVar = ErasedDigestQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("kind", DigestKind.values, "eraseddigest_kind_known"),
            models.UniqueConstraint(fields=["erasure", "digest"], name="eraseddigest_once"),
            models.CheckConstraint(condition=~Q(digest=""), name="eraseddigest_not_empty"),
        ]
        indexes = [models.Index(fields=["digest"], name="eraseddigest_idx")]
