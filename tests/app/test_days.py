"""A splice of 900 pairs by two people over three days: what they were told is what one account has.

The other side of each comparison is what the people of `tests.bench.days` kept by themselves from what was said, and
the logs as plain JSON, read without the program.
"""

import json
from collections import Counter
from pathlib import Path

import pytest

from assistant.account.account import Account
from assistant.account.chain import Fit
from assistant.app import replay, report
from assistant.crew import logs as crew
from assistant.dialogue.state import Standing
from assistant.session.journal import load
from assistant.session.replay import rebuild, rerun
from assistant.words.numbers import spoken
from tests.bench.days import FIRST, SECOND, Splice, three_days

PAIRS = 900


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Splice:
    return three_days(tmp_path_factory.mktemp("days"), PAIRS)


@pytest.fixture(scope="module")
def account(made: Splice) -> Account:
    return report.account_from(logs_of(made))[0]


def logs_of(made: Splice) -> list[Path]:
    return sorted((made.folder / "all").glob("*.jsonl"))


def facts_of(path: Path) -> list[dict[str, object]]:
    return [fact for line in path.read_text().splitlines() for fact in json.loads(line)["facts"]]


def test_there_were_twenty_interruptions_on_two_devices(made: Splice) -> None:
    assert sum(made.interruptions.values()) >= 20
    assert set(made.interruptions) == {"kill", "dead battery", "talk", "question", "hold", "slip"}
    assert len(logs_of(made)) == 4
    assert list((made.folder / "two").glob("*.torn1")), "what the battery tore is kept"


def test_no_pair_was_asked_again(made: Splice) -> None:
    """Each pair was confirmed once, and told to be so once, but for what a slip or a hold called too early."""
    confirmed = Counter(
        fact["pair"] for path in logs_of(made) for fact in facts_of(path) if fact["tag"] == "pair-confirmed"
    )
    assert confirmed == dict.fromkeys(range(1, PAIRS + 1), 1)
    assert sorted(made.made_by) == list(range(1, PAIRS + 1))
    mismatches = sum(fact["tag"] == "mismatch" for path in logs_of(made) for fact in facts_of(path))
    assert mismatches == made.interruptions["slip"], "nobody was asked for another pair than the next one"


def test_there_is_one_account_and_no_contradiction(made: Splice, account: Account) -> None:
    assert account.tally == {Standing.CONFIRMED: PAIRS}
    assert account.contradictions == ()
    assert account.doubtful == ()
    assert {row.joint.number: row.made.person for row in account.rows if row.made} == made.made_by
    assert {FIRST, SECOND} == set(made.made_by.values())
    assert {f.finder for f in account.findings} == set(made.marked.values())
    assert {f.mender for f in account.findings} == {SECOND}
    assert account.finished is not None


def test_the_logs_are_in_the_order_of_the_chain_although_a_clock_was_two_days_back(account: Account) -> None:
    assert [link.fit for link in account.chain.links] == [Fit.FITS] * 3
    assert all(link.to_the_byte for link in account.chain.links)
    assert [one.name for one in account.logs] == list(account.chain.order)
    firsts = [one.records[0].at for one in account.logs]
    assert firsts != sorted(firsts), "by the clocks they are not"
    (notice,) = account.notices
    assert "its clock is 25 h 31 min behind" in notice


def test_each_day_opened_with_who_what_is_done_what_waits_and_faults(made: Splice, account: Account) -> None:
    opened = [line for line in made.told if "Going on" in line]
    done, marked = 0, 0
    for line, before, name in zip(opened, account.logs[:-1], (FIRST, SECOND, SECOND), strict=True):
        facts = facts_of(made.folder / "all" / before.name)
        done += sum(fact["tag"] == "pair-confirmed" for fact in facts)
        marked += sum(fact["tag"] == "fault-marked" for fact in facts)
        assert f"after {name}: total done {spoken(done)}, total not done {spoken(PAIRS - done)}." in line
        assert line.partition("Faults outstanding: ")[2].partition(".")[0].count("pair ") == marked


def test_every_form_and_check_takes_them(made: Splice, tmp_path: Path) -> None:
    for suffix in (".html", ".csv", ".json"):
        report.report(logs_of(made), tmp_path / f"splice{suffix}")
    done = json.loads((tmp_path / "splice.json").read_text())
    assert done["tally"]["confirmed"] == PAIRS
    assert done["contradictions"] == []
    assert done["finished"]["person"] == SECOND
    assert "finished: 2026-03-04" in (tmp_path / "splice.csv").read_text(encoding="utf-8-sig")
    for path in logs_of(made):
        told, good = replay.checked(path, None)
        assert good, told


def test_todays_rules_come_to_the_same_and_each_log_stands_by_itself(made: Splice) -> None:
    for path in logs_of(made):
        assert list(rerun(load(path).records)) == []
    last = max(logs_of(made), key=lambda path: path.stat().st_mtime)
    assert not rebuild(load(last).records).left()


def test_the_crew_counts_each_joint_once(made: Splice) -> None:
    found = list(crew.roll_up(made.folder / "all"))
    assert len(found) == 1, "it is one splice"
    people = Counter(joint.person for joint in found[0].joints)
    assert people == Counter(made.made_by.values())


DEMO = Path(__file__).parents[2] / "demo_sessions" / "three-days"


def test_the_demo_of_three_days_is_one_account_and_comes_to_the_same_by_todays_rules() -> None:
    logs = sorted(DEMO.glob("*.jsonl"))
    assert len(logs) == 4
    assert [list(rerun(load(path).records)) for path in logs] == [[]] * 4
    account, _ = report.account_from(logs)
    assert account.tally == {Standing.CONFIRMED: 30}
    assert account.contradictions == ()
