"""What one practice's records of one client must be after each request: plain dictionaries, no database."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

LATEST_AHEAD = timedelta(hours=24)
INSTANTS = {"performed_at", "ended_at", "reported_at"}
KNOWN_EXERCISES = {"back_squat", "barbell_bench_press"}
Body = dict[str, Any]


def meant(value: Any, key: str = "") -> Any:
    """A body as it is meant: instants as instants, so that two spellings of one content are equal."""
    if isinstance(value, dict):
        return {name: meant(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [meant(inner) for inner in value]
    return datetime.fromisoformat(value) if key in INSTANTS and isinstance(value, str) else value


@dataclass(frozen=True)
class KeptSession:
    """A session; `content` is what was sent last, `reports` also what was given to it on its own."""

    content: Body
    version: int = 1
    is_deleted: bool = False


@dataclass(frozen=True)
class KeptReport:
    content: Body
    sent_with: str | None  # the session that the report named itself
    held_by: str | None
    version: int = 1


@dataclass
class Ledger:
    sessions: dict[str, KeptSession] = field(default_factory=dict)
    reports: dict[str, KeptReport] = field(default_factory=dict)
    deleted_early: set[str] = field(default_factory=set)  # before anything came in under the id
    reports_gone: set[str] = field(default_factory=set)
    is_archived: bool = False

    def shown(self, uid: str) -> Body:
        """The session as GET must show it: with the reports it holds, in the order they came in."""
        held = [
            report.content | {"id": report_uid}
            for report_uid, report in self.reports.items()
            if report.held_by == uid
        ]
        return self.sessions[uid].content | {"pain_reports": held}

    def kept(self) -> set[str]:
        return {uid for uid, session in self.sessions.items() if not session.is_deleted}

    def alone(self) -> set[str]:
        return {uid for uid, report in self.reports.items() if report.held_by is None}

    def get(self, uid: str) -> int:
        if uid not in self.sessions:
            return 410 if uid in self.deleted_early else 404
        return 410 if self.sessions[uid].is_deleted else 200

    def put(self, uid: str, body: Body, expected: int | None, now: datetime) -> int:
        if is_malformed(body):
            return 422
        if self.is_archived:
            return 410
        if uid in self.deleted_early:
            return 410
        standing, content = self.sessions.get(uid), meant(body)
        if standing is None:
            return 404 if expected is not None else self._store(uid, content, 1, now)
        if standing.is_deleted:
            return 410
        if standing.content == content:
            return 200
        if expected is None:
            return 409
        return 412 if expected != standing.version else self._store(uid, content, standing.version + 1, now)

    def patch(self, uid: str, patch: Body, expected: int | None, now: datetime) -> int:
        if expected is None:
            return 428
        if self.get(uid) != 200:
            return self.get(uid)
        return self.put(uid, self.shown(uid) | meant(patch), expected, now)

    def delete(self, uid: str, expected: int | None) -> int:
        if expected is None:
            return 428
        if self.get(uid) == 404:
            self.deleted_early.add(uid)
            return 204
        if self.get(uid) == 410:
            return 410
        standing = self.sessions[uid]
        if expected != standing.version:
            return 412
        self._let_go(uid)
        self.sessions[uid] = replace(standing, is_deleted=True)
        return 204

    def get_report(self, uid: str) -> int:
        if uid in self.reports:
            return 200
        return 410 if uid in self.reports_gone else 404

    def put_report(self, uid: str, body: Body, expected: int | None, now: datetime) -> int:
        if not 0 <= body["pain"] <= 10:
            return 422
        if self.is_archived:
            return 410
        content = meant({key: value for key, value in body.items() if key != "session"})
        named, standing = body.get("session"), self.reports.get(uid)
        if standing is None:
            if uid in self.reports_gone:
                return 410
            return 404 if expected is not None else self._store_report(uid, content, named, 1, now)
        if standing.content == content and named in (standing.sent_with, standing.held_by):
            return 200
        if expected is None:
            return 409
        if expected != standing.version:
            return 412
        return self._store_report(uid, content, named, standing.version + 1, now)

    def delete_report(self, uid: str, expected: int | None) -> int:
        if expected is None:
            return 428
        standing = self.reports.get(uid)
        if standing is None:
            if uid in self.reports_gone:
                return 410
        elif expected != standing.version:
            return 412
        else:
            del self.reports[uid]
            self._raise_versions({standing.held_by})
        self.reports_gone.add(uid)
        return 204

    def _store_report(self, uid: str, content: Body, named: str | None, version: int, now: datetime) -> int:
        if content["reported_at"] > now + LATEST_AHEAD or (named is not None and named not in self.sessions):
            return 422
        if named is not None and self.sessions[named].is_deleted:
            return 410
        held_before = self.reports[uid].held_by if uid in self.reports else None
        self.reports[uid] = KeptReport(content, named, named, version)
        self._raise_versions({held_before, named})
        return 201 if version == 1 else 200

    def _raise_versions(self, holders: set[str | None]) -> None:
        """A session shows its reports, so that it has a new version when one of them changes."""
        for uid in holders - {None}:
            holder = self.sessions[str(uid)]
            self.sessions[str(uid)] = replace(holder, version=holder.version + 1)

    def _store(self, uid: str, content: Body, version: int, now: datetime) -> int:
        reports = content["pain_reports"]
        ahead = [content["performed_at"], *(report["reported_at"] for report in reports)]
        if max(ahead) > now + LATEST_AHEAD:
            return 422
        if any(row["exercise"] not in KNOWN_EXERCISES for row in content["sets"]):
            return 422
        if self._is_taken(uid, content):
            return 409
        self._let_go(uid)
        self.sessions[uid] = KeptSession(content, version)
        for report in reports:
            alone = {key: value for key, value in report.items() if key != "id"}
            self.reports[report["id"]] = KeptReport(alone, None, uid)
        return 201 if version == 1 else 200

    def _is_taken(self, uid: str, content: Body) -> bool:
        """Whether an id of a set or a report stands elsewhere, or twice in the content itself."""
        others = [self.sessions[other].content for other in self.kept() - {uid}]
        used = [row["id"] for other in others for row in other["sets"]]
        used += [report for report, kept in self.reports.items() if kept.held_by != uid]
        wanted = [row["id"] for row in (*content["sets"], *content["pain_reports"])]
        return len(set(wanted)) != len(wanted) or not set(wanted).isdisjoint(used)

    def _let_go(self, uid: str) -> None:
        self.reports = {key: kept for key, kept in self.reports.items() if kept.held_by != uid}


def is_malformed(body: Body) -> bool:
    return any(row["load"] < 0 for row in body["sets"])
