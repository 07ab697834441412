"""Why a backup is not made, or not put back; one sentence each, for whoever typed the command."""


class BackupFailedError(Exception):
    """It could not be done: a program is missing, the database refused, a row is not as it was."""


class BackupRefusedError(Exception):
    """The file does not fit: it is not whole, or of another kind, or newer than this code."""
