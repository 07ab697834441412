"""Storing plans that a file brings along, with all their versions, by the rules for plans as written."""

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from coaching.errors import ForbiddenError, InvalidError
from coaching.models import Actor, Plan, PlanVersion, Practice, Prescription
from coaching.operations.audit import record_change
from coaching.operations.import_links import uids_there
from coaching.operations.import_rows import PlanInFile, PlanVersionInFile, RowProblem
from coaching.operations.imports import AS_IT_IS, Asked, Tell, tell_nobody
from coaching.operations.plans import checked_exercises, store_version
from coaching.reads.exports import plan_versions_of
from coaching.reads.plans import PlanContent, content_of


@dataclass(frozen=True, slots=True)
class ImportedPlans:
    """What became of a file of plans; if nothing was written, `plans_new` are those that would have been."""

    rows: int
    bad_rows: int
    plans_new: int
    plans_standing: int
    plans_refused: int
    is_written: bool
    problems: tuple[RowProblem, ...]

    @property
    def has_good(self) -> bool:
        return bool(self.plans_new or self.plans_standing)


@dataclass(frozen=True, slots=True)
class _FilePlan:
    uid: uuid.UUID
    plan: PlanInFile


def import_plans(
    *,
    actor: Actor,
    rows: Sequence[PlanInFile],
    now: datetime,
    asked: Asked = AS_IT_IS,
    tell: Tell = tell_nobody,
) -> ImportedPlans:
    """Check every plan, then store those that are new; nothing while any is bad, unless bad ones are skipped.

    Safe to repeat: a plan's id stands in the file or follows from it, and what stands is never changed.
    Raises ForbiddenError.
    """
    if not actor.is_coach:
        raise ForbiddenError("Only a coach writes plans.")
    practice = Practice.objects.get(id=actor.practice_id)
    named = [_FilePlan(plan.uid or _uid_of(practice, plan), plan) for plan in rows]
    problems = [problem for plan in rows for problem in plan.problems]
    problems += (problem for each in named for problem in _plan_problems(actor, each.plan))
    bad = {problem.line for problem in problems}
    sound = [each for each in named if each.plan.versions and not bad & set(_lines(each.plan))]
    fresh, conflicts = _compared(actor, sound)
    problems += conflicts
    is_written = not asked.is_dry_run and (asked.skips_bad or not problems)
    n_new = len(fresh)
    if is_written:
        failed = list(_store(actor, fresh, now, tell))
        problems += failed
        n_new -= len(failed)
    return ImportedPlans(
        rows=sum(len(_lines(plan)) for plan in rows),
        bad_rows=len({problem.line for problem in problems}),
        plans_new=n_new,
        plans_standing=len(sound) - len(fresh) - len(conflicts),
        plans_refused=len(rows) - len(sound) + len(conflicts) + len(fresh) - n_new,
        is_written=is_written,
        problems=tuple(sorted(problems, key=lambda problem: problem.line)),
    )


def _lines(plan: PlanInFile) -> tuple[int, ...]:
    return tuple(line for version in plan.versions for line in version.lines) or (plan.line,)


def _uid_of(practice: Practice, plan: PlanInFile) -> uuid.UUID:
    said = repr([version.content for version in plan.versions])
    return uuid.uuid5(practice.uid, f"file of plans:{said}")


def _plan_problems(actor: Actor, plan: PlanInFile) -> Iterator[RowProblem]:
    for version in plan.versions:
        try:
            checked_exercises(actor, version.content)
        except InvalidError as error:
            for fault in error.faults:
                line, column = _place_of(version, fault.path)
                yield RowProblem(line, column, fault.code, fault.detail)


def _place_of(version: PlanVersionInFile, path: tuple[str | int, ...]) -> tuple[int, str]:
    """The line and the column of a path like /days/0/blocks/1/prescriptions/0/reps_low."""
    numbers = [step for step in path if isinstance(step, int)]
    if path[0] != "days":
        return version.lines[0], str(path[0])
    day, block, *more = numbers
    is_in_prescription = "prescriptions" in path and path[-1] != "prescriptions"
    line = version.lines[_index(version.content, day, block, more[0] if is_in_prescription else 0)]
    return line, str(path[6] if is_in_prescription else path[4])


def _index(content: PlanContent, day: int, block: int, prescription: int) -> int:
    before = [each for earlier in content.days[:day] for each in earlier.blocks]
    before += content.days[day].blocks[:block]
    return sum(len(each.prescriptions) for each in before) + prescription


def _compared(actor: Actor, plans: Sequence[_FilePlan]) -> tuple[list[_FilePlan], list[RowProblem]]:
    """Those that do not stand yet, and a problem for each whose ids are used for something else."""
    standing = {
        plan.uid: plan
        for plan in Plan.objects.filter(practice_id=actor.practice_id, uid__in=[each.uid for each in plans])
    }
    asked = {uid for each in plans for version in each.plan.versions for uid in version.prescription_uids}
    taken = uids_there(Prescription.objects.filter(practice_id=actor.practice_id), asked)
    fresh: list[_FilePlan] = []
    problems: list[RowProblem] = []
    for each in plans:
        found = standing.get(each.uid)
        uids = {uid for version in each.plan.versions for uid in version.prescription_uids}
        if found is None and not uids & taken:
            fresh.append(each)
        elif found is None:
            detail = "Prescriptions of this plan are there already, in another plan."
            problems.append(RowProblem(each.plan.line, "prescription", "conflict", detail))
        elif not _is_same(found, each.plan):
            detail = "This plan stands with other content; edit it through the API."
            problems.append(RowProblem(each.plan.line, "", "conflict", detail))
    return fresh, problems


def _is_same(plan: Plan, in_file: PlanInFile) -> bool:
    keys = PlanVersion.objects.filter(plan=plan).order_by("number").values_list("id", flat=True)
    standing = [content_of(version) for version in plan_versions_of(list(keys))]
    return standing == [version.content for version in in_file.versions]


def _store(actor: Actor, plans: Sequence[_FilePlan], now: datetime, tell: Tell) -> Iterator[RowProblem]:
    for n_done, each in enumerate(plans, start=1):
        try:
            _store_plan(actor, each, now)
        except IntegrityError:
            yield RowProblem(each.plan.line, "", "conflict", "Another plan got this id meanwhile.")
        tell(n_done, len(plans))


@transaction.atomic
def _store_plan(actor: Actor, each: _FilePlan, now: datetime) -> None:
    versions = each.plan.versions
    plan = Plan.objects.create(
        practice_id=actor.practice_id,
        uid=each.uid,
        name=versions[0].content.name,
        author_id=actor.account_id,
        created_at=now,
    )
    for number, version in enumerate(versions, start=1):
        plan.version = number
        exercises = checked_exercises(actor, version.content)
        store_version(plan, version.content, exercises, now, version.prescription_uids)
    plan.save(update_fields=["version"])
    record_change(
        actor=actor,
        practice_id=actor.practice_id,
        subject_key=None,
        action="create",
        record_kind="plan",
        record_id=str(plan.uid),
        now=now,
        detail={"version": plan.version},
    )
