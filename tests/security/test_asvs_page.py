import re
from pathlib import Path

PAGE = Path(__file__).with_name("ASVS.md").read_text()
TESTS = Path(__file__).parent.parent


def test_every_test_that_the_page_names_is_there():
    named = re.findall(r"`(\S+\.py)::(\w+)`", PAGE)
    assert len(named) == PAGE.count("\n| ") - 2
    missing = [each for each in named if f"def {each[1]}(" not in (TESTS / each[0]).read_text()]
    assert missing == []
