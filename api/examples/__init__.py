"""What each operation is asked and answers, as a coach would meet it: one JSON file per tag, by operation id.

Every request here is sent to the service by the tests, and every answer held against what comes back.
"""

import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent


def _read() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for path in sorted(FOLDER.glob("*.json")):
        for operation_id, example in json.loads(path.read_text(encoding="utf-8")).items():
            found[operation_id] = {"parameters": {}, "request": None, "answers": {}} | example
    return found


EXAMPLES = _read()
