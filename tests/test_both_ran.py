"""The check that both databases ran the same tests: it names what one of them missed."""

from __future__ import annotations

from tests.only_sqlite import REASONS, faults_of

HERE = "tests.services.test_records"


def test_the_same_tests_on_both_are_no_fault() -> None:
    cases = [
        (HERE, "test_a[on-sqlite]"),
        (HERE, "test_a[on-postgresql]"),
        (HERE, "test_b[ink-on-sqlite-2]"),
        (HERE, "test_b[ink-on-postgresql-2]"),
        (HERE, "test_without_an_archive"),
    ]
    assert faults_of(cases, whole_run=False) == []


def test_as_many_but_not_the_same_are_named() -> None:
    cases = [(HERE, "test_a[on-sqlite-1]"), (HERE, "test_a[on-postgresql-2]")]
    assert faults_of(cases, whole_run=False) == [
        f"{HERE}::test_a[-1] ran on SQLite alone",
        f"{HERE}::test_a[-2] ran on PostgreSQL alone",
    ]


def test_what_is_left_out_must_be_listed() -> None:
    assert faults_of([("tests.services.test_kill", "test_a[sqlite-alone-0]")], whole_run=False) == []
    assert faults_of([(HERE, "test_a[sqlite-alone]")], whole_run=False) == [
        "a test ran on SQLite alone that is not listed"
    ]


def test_a_whole_run_has_everything_that_is_listed_and_a_server() -> None:
    found = faults_of([("tests.services.test_backup", "test_a[sqlite-alone]")], whole_run=True)
    assert len(found) == len(REASONS)  # all that are listed but the one that ran, and the missing server
    assert "no test ran on PostgreSQL" in found
    assert "services.test_kill is listed and no such test ran" in found
