"""What tests of commands share."""

import json

import pytest
from django.core.management import CommandError, call_command


@pytest.fixture
def json_of(capsys):
    """Type a command with --json; what it said as an object, and the code it ended with."""

    def run(*words):
        code = 0
        try:
            call_command(*words, "--json")
        except CommandError as ended:
            code = ended.returncode
        return json.loads(capsys.readouterr().out), code

    return run
