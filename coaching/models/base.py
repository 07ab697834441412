"""What every row of a practice has in common."""

import uuid
from collections.abc import Mapping
from typing import Any, ClassVar, Self, TypeVar

from django.db import models
from django.db.models import Q

from coaching.compute import joint_sides
from coaching.models.scoped import OfPractice, ScopedQuerySet

M = TypeVar("M", bound=models.Model)


class ListQuerySet(ScopedQuerySet[M]):
    """Rows that a list shows; `NARROWING` is every word by which it may be narrowed, with its condition."""

    NARROWING: ClassVar[Mapping[str, str]] = {}

    def narrowed(self, asked: Mapping[str, Any]) -> Self:
        """Those that fit all that is asked; it only ever takes rows away."""
        return self.filter(**{self.NARROWING[word]: value for word, value in asked.items()})


def one_of(field: str, values: list[str], name: str) -> models.CheckConstraint:
    """A CHECK that `field` holds one of `values`."""
    return models.CheckConstraint(condition=Q(**{f"{field}__in": values}), name=name)


def within(
    field: str, low: float, high: float, name: str, *, optional: bool = False
) -> models.CheckConstraint:
    """A CHECK that `field` lies in [low, high]; NaN and infinity fail it on every database."""
    condition = Q(**{f"{field}__gte": low, f"{field}__lte": high})
    if optional:
        condition |= Q(**{f"{field}__isnull": True})
    return models.CheckConstraint(condition=condition, name=name)


class PracticeRow(OfPractice):
    """A row that belongs to one practice; `uid` is the id the world sees, unique within the practice."""

    id = models.BigAutoField(primary_key=True)
    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    practice = models.ForeignKey(
        "coaching.Practice", on_delete=models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        abstract = True
        constraints: ClassVar[list[Any]] = [
            models.UniqueConstraint(fields=["practice", "uid"], name="%(class)s_uid_unique"),
        ]


class Joint(models.TextChoices):
    NECK = "neck"
    THORACIC_SPINE = "thoracic_spine"
    LUMBAR_SPINE = "lumbar_spine"
    SHOULDER = "shoulder"
    ELBOW = "elbow"
    WRIST = "wrist"
    HIP = "hip"
    KNEE = "knee"
    ANKLE = "ankle"
    OTHER = "other"


class SiteSide(models.TextChoices):
    LEFT = "left"
    RIGHT = "right"
    MIDLINE = "midline"


MIDLINE_JOINTS = [Joint(joint) for joint in joint_sides.MIDLINE_JOINTS]


def site_is_possible(name: str) -> models.CheckConstraint:
    """A CHECK that a spinal site is midline, a limb's site has a side, and `other` may be either."""
    return models.CheckConstraint(
        condition=Q(joint__in=MIDLINE_JOINTS, side=SiteSide.MIDLINE)
        | Q(joint=Joint.OTHER, side__in=SiteSide.values)
        | (
            Q(joint__in=[j for j in Joint.values if j not in [*MIDLINE_JOINTS, Joint.OTHER]])
            & Q(side__in=[SiteSide.LEFT, SiteSide.RIGHT])
        ),
        name=name,
    )
