from tests.faults.outcomes import Ledger


def test_a_ledger_sums_each_fault_and_tells_the_usual_and_the_worst_recovery():
    ledger = Ledger()
    ledger.note("kill -9 of a worker", recovered_s=4.0)
    ledger.note("mail server hangs", doubled=2, times=30)
    ledger.note("kill -9 of a worker", lost=1, recovered_s=5.9)
    ledger.note("kill -9 of a worker", recovered_s=4.4)
    assert ledger.table() == (
        "fault                times  lost  doubled  recovered in s, median  worst\n"
        "kill -9 of a worker      3     1        0                     4.4    5.9\n"
        "mail server hangs       30     0        2                       -      -"
    )


def test_where_nothing_struck_there_is_no_table():
    assert Ledger().table() == ""


def test_a_ledger_with_a_file_is_read_by_whoever_comes_after(tmp_path):
    Ledger(tmp_path / "faults.jsonl").note("disk full", recovered_s=1.5)
    assert Ledger(tmp_path / "faults.jsonl").table() == Ledger(tmp_path / "faults.jsonl").table() != ""
