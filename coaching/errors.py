"""What can go wrong, each with a stable code; what HTTP makes of it is the API's business."""

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class FieldFault:
    """One faulty field: where (a path of keys and indexes), a stable code, a sentence."""

    path: tuple[str | int, ...]
    code: str
    detail: str


class ForbearError(Exception):
    """Base of all errors that a caller may meet."""

    code: ClassVar[str] = "error"

    def __init__(self, detail: str, faults: tuple[FieldFault, ...] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = faults


class InvalidError(ForbearError):
    """The content cannot be accepted; `faults` say which fields."""

    code = "invalid"

    @classmethod
    def at(cls, field: str, code: str, detail: str) -> "InvalidError":
        """One faulty field."""
        return cls(detail, (FieldFault((field,), code, detail),))


class NotFoundError(ForbearError):
    """Not there, or not yours to see: the answer is the same."""

    code = "not_found"


class ForbiddenError(ForbearError):
    """You may see it, but not do this to it."""

    code = "forbidden"


class ConsentMissingError(ForbearError):
    """No health data is stored without the client's recorded consent."""

    code = "consent_missing"


class DiffersError(ForbearError):
    """What was sent is not what is stored; `standing` is that record, if the caller may see it."""

    def __init__(
        self, detail: str, faults: tuple[FieldFault, ...] = (), *, standing: object | None = None
    ) -> None:
        super().__init__(detail, faults)
        self.standing = standing


class ConflictError(DiffersError):
    """Another content stands under this id, or another row holds it."""

    code = "conflict"


class StaleVersionError(DiffersError):
    """The version named is not the current one."""

    code = "stale_version"


class VersionRequiredError(ForbearError):
    """An edit must name the version it edits."""

    code = "version_required"


class GoneError(ForbearError):
    """It was here and has been deleted or erased."""

    code = "gone"


class TooManyAttemptsError(ForbearError):
    """Too many failures; try again after `retry_after_s`."""

    code = "too_many_attempts"

    def __init__(self, detail: str, retry_after_s: int) -> None:
        super().__init__(detail)
        self.retry_after_s = retry_after_s


class SignInError(ForbearError):
    """The sign-in was refused; never says which part was wrong."""

    code = "sign_in_refused"


class SecondFactorNeededError(ForbearError):
    """The password is right, and the account asks for a code of its second factor as well."""

    code = "second_factor_needed"


class LinkError(ForbearError):
    """An invitation or a reset link that is unknown, used or too old."""

    code = "link_invalid"


class MarkError(ForbearError):
    """A mark of the changes feed that names a place yet to come, as after a restored backup."""

    code = "bad_mark"


class TrailError(ForbearError):
    """The audit trail cannot be written, so nothing is shown and nothing is changed."""

    code = "trail_unavailable"
