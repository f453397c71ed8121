"""A second session of a splice: it finds the earlier logs, asks once, and no default loses or doubles work."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from assistant.app import replay
from assistant.app.report import account_from
from assistant.app.work import WorkOptions, work
from assistant.dialogue.state import State
from assistant.errors import AssistantError
from assistant.session.journal import FileJournal, load
from assistant.session.record import FIRST_SUM, checksum_of, decode, encode
from tests.account.sessions import SWAPPED, TWO_WAYS
from tests.bench.days import DayClock, Ear, typing

NINE = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
NO_SITE = TWO_WAYS.replace('site = "aerial"\n', "")


class Shop:
    """A folder of logs and a plan, and sessions in it, each an hour after the one before."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.logs = folder / "logs"
        self.plan = folder / "plan.toml"
        self.plan.write_text(NO_SITE)
        self.at = NINE
        self.ear = Ear()

    def work(self, *lines: str, **more: object) -> tuple[State, Path]:
        self.at += timedelta(hours=1)
        self.ear = Ear()
        plan = None if more.get("resume") is not None or more.get("cable") else self.plan
        options = {"plan": plan, "log": self.logs, "typed": True, "voice": "print", "untuned": True, **more}
        with typing(list(lines)):
            return work(WorkOptions(**options), screen=self.ear, clock=DayClock(self.at))  # type: ignore[arg-type]

    @property
    def said(self) -> str:
        return "\n".join(line for line in self.ear.lines if line.startswith("< "))

    @property
    def shown(self) -> str:
        return "\n".join(self.ear.lines)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    found = Shop(tmp_path)
    found.work("blue white", "orange white", "stop for today", person="crew one")
    return found


def done(state: State) -> list[int]:
    return [number for number in state.plan.to_join if not state.of(number).left]


def test_it_is_asked_once_and_yes_goes_on(shop: Shop) -> None:
    state, log = shop.work("yes", "green white", person="crew two")
    assert done(state) == [1, 2, 3]
    assert shop.said.count("Go on with it?") == 1
    assert "Going on, crew two, after crew one: total done two, total not done one eight." in shop.said
    again, _ = shop.work("brown white", resume="")
    assert done(again) == [1, 2, 3, 4]
    assert "Go on" not in shop.said, "the same log goes on after a crash without being asked"
    assert replay.checked(log, None)[1]


def test_no_other_entry_is_taken_before_it_is_answered(shop: Shop) -> None:
    state, _ = shop.work("green white", "confirm", "stop for today", "finish", "undo that", "yes", "green white")
    assert done(state) == [1, 2, 3]
    assert shop.said.count("Say yes, or no.") == 5


def test_without_an_answer_nothing_is_begun_and_that_is_one_line(shop: Shop) -> None:
    for lines in ((), ("no",), ("no", "no"), ("blue white",)):
        with pytest.raises(AssistantError, match="was not answered, and nothing was begun") as found:
            shop.work(*lines)
        assert "\n" not in str(found.value)
    state, log = shop.work("yes", "green white")
    assert done(state) == [1, 2, 3], "what was not answered is no work, and is not gone on with"
    logs = list(shop.logs.glob("*.jsonl"))
    assert len(logs) == 6
    account, _ = account_from(logs)
    assert account.contradictions == ()
    assert [link.log for link in account.chain.links] == [log.name]


def test_what_was_not_answered_is_not_taken_up_again(shop: Shop) -> None:
    with pytest.raises(AssistantError):
        shop.work()
    with pytest.raises(AssistantError, match="holds no unfinished session"):
        shop.work(resume="")
    newest = max(shop.logs.glob("*.jsonl"))
    with pytest.raises(AssistantError, match="nothing was begun in it"):
        shop.work(resume=str(newest))


def test_a_new_one_needs_two_answers_and_counts_nothing(shop: Shop) -> None:
    state, _ = shop.work("no", "yes", "blue white")
    assert done(state) == [1]
    with pytest.raises(AssistantError, match="logs of several splices"):
        shop.work("yes")
    state, _ = shop.work("orange white", go_on=str(max(shop.logs.glob("*.jsonl"))))
    assert done(state) == [1, 2]
    state, _ = shop.work("blue white", new=True)
    assert done(state) == [1]
    assert "Go on" not in shop.said


def test_it_can_be_said_beforehand(shop: Shop, tmp_path: Path) -> None:
    state, _ = shop.work("green white", go_on="")
    assert done(state) == [1, 2, 3]
    assert "Go on with it?" not in shop.said
    empty = Shop(tmp_path / "logs")
    empty.logs = tmp_path / "none"
    with pytest.raises(AssistantError, match="holds no work of this splice"):
        empty.work(go_on="")
    with pytest.raises(AssistantError, match="leave out --new and --asking"):
        shop.work(go_on="", new=True)
    with pytest.raises(AssistantError, match="leave out --go-on and --new"):
        shop.work(resume="", new=True)


def test_a_finished_splice_is_asked_about_even_if_it_was_said_beforehand(shop: Shop) -> None:
    shop.work("green white", "finish the splice", "yes", go_on="")
    assert "Not done: " in shop.said
    assert "That is final. Finish all the same?" in shop.said
    state, _ = shop.work("brown white", "yes", "brown white", go_on="")
    assert done(state) == [1, 2, 3, 4]
    assert "was finished on" in shop.said


def test_a_log_that_was_gone_on_from_is_not_taken_up_again(shop: Shop) -> None:
    one = next(shop.logs.glob("*.jsonl"))
    records = load(one).records[:-1]  # as a kill leaves it
    before, lines = FIRST_SUM, []
    for record in records:
        line, before = encode(record, before)
        lines.append(line)
    one.write_bytes(b"".join(lines))
    _, two = shop.work("yes", "green white")
    with pytest.raises(AssistantError, match=f"the work went on from it in {two.name}"):
        shop.work(resume=str(one))
    state, log = shop.work("brown white", resume="")
    assert (log, done(state)) == (two, [1, 2, 3, 4])


def test_a_log_in_use_is_refused(shop: Shop) -> None:
    one = next(shop.logs.glob("*.jsonl"))
    journal, _ = FileJournal.reopen(one)
    with pytest.raises(AssistantError, match="another session is at work on this splice"):
        shop.work("yes")
    journal.close()
    assert done(shop.work("yes")[0]) == [1, 2]


def test_another_plan_of_the_same_title_is_left_alone_and_told(shop: Shop) -> None:
    shop.plan.write_text(SWAPPED.replace('site = "aerial"\n', ""))
    state, _ = shop.work("blue white")
    assert done(state) == [1]
    assert "is of another plan with the same title" in shop.shown


def test_a_place_tells_splices_of_one_plan_apart(shop: Shop) -> None:
    shop.work("blue white", place="yard")
    assert "of no place that was given" in shop.shown
    shop.work("blue white", place="hill")
    with pytest.raises(AssistantError, match=r"several splices by this plan .* give the --place of one"):
        shop.work("yes")
    state, log = shop.work("yes", "orange white", place="yard")
    assert done(state) == [1, 2]
    assert account_from([log])[0].place == "yard"


def test_pairs_of_some_cable_are_of_the_same_splice_only_where_the_place_says_so(shop: Shop) -> None:
    for place, asked in (("", False), ("", False), ("yard", False), ("yard", True)):
        state, _ = shop.work("yes" if asked else "blue white", cable=25, place=place)
        assert ("Go on with it?" in shop.said) == asked
        assert done(state) == [1]


def test_a_damaged_earlier_log_has_its_lost_pairs_called_again(shop: Shop) -> None:
    one = next(shop.logs.glob("*.jsonl"))
    lines = one.read_bytes().splitlines(keepends=True)
    lines[1] = lines[1].replace(b"blue white", b"green white")
    one.write_bytes(b"".join(lines))
    state, _ = shop.work("yes")
    assert done(state) == [2], "that record 2 was pair 1 nobody can prove any more"
    assert "To be called again, since the logs do not tell: pair one." in shop.said
    assert "record 2 is lost" in shop.shown


def test_an_earlier_log_without_its_beginning_is_told_and_left_alone(shop: Shop) -> None:
    one = next(shop.logs.glob("*.jsonl"))
    first, *rest = one.read_bytes().splitlines(keepends=True)
    one.write_bytes(b"".join([first.replace(b"a", b"e"), *rest]))
    assert done(shop.work("blue white")[0]) == [1]
    assert "its beginning cannot be read" in shop.shown


def test_what_a_later_version_wrote_is_refused_with_what_to_do(shop: Shop) -> None:
    one = next(shop.logs.glob("*.jsonl"))
    lines = one.read_bytes().splitlines(keepends=True)
    record, checksum = decode(lines[0], FIRST_SUM)
    made = encode(record, FIRST_SUM)[0]
    assert made == lines[0]
    body = b'"after":"%s","number":2,"at":"2026-11-25T10:00:12.000+00:00","input":{"tag":"typed","text":"x","after":1},'
    body = body % checksum.encode() + b'"facts":[{"tag":"glued","pair":3},{"tag":"moved-to","pair":2}]'
    one.write_bytes(lines[0] + b'{"sum":"%s",' % checksum_of(checksum, body).encode() + body + b"}\n")
    with pytest.raises(AssistantError, match="was written by a later version"):
        shop.work("yes")
    assert done(shop.work("blue white", new=True)[0]) == [1]


def test_a_device_that_has_only_the_last_log_goes_on_all_the_same(shop: Shop, tmp_path: Path) -> None:
    _, two = shop.work("yes", "green white", "stop for today")
    other = Shop(tmp_path / "logs")
    other.logs, other.at = tmp_path / "card", NINE - timedelta(days=400)
    other.logs.mkdir()
    (other.logs / "copied.jsonl").write_bytes(two.read_bytes())
    state, three = other.work("yes", "brown white")
    assert done(state) == [1, 2, 3, 4]
    assert "which was not given" in other.shown
    account, _ = account_from([three, *shop.logs.glob("*.jsonl")])
    assert account.contradictions == ()
    assert [log.name for log in account.logs][-1] == three.name
    assert all(row.made and row.made.log for row in account.rows if row.how)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_cannot_be_written_is_one_line(shop: Shop) -> None:
    shop.logs.chmod(0o500)
    with pytest.raises(AssistantError, match="cannot be made"):
        shop.work("yes")
    shop.logs.chmod(0o700)


def test_in_any_order_and_by_keys(shop: Shop, tmp_path: Path) -> None:
    keys = tmp_path / "keys.txt"
    keys.write_text("+\n3.31\n...0\n")
    state, _ = shop.work(keys=keys, typed=False, any_order=True)
    assert done(state) == [1, 2, 3]
    assert "Stopped for today." in shop.said
    assert "Pairs in any order" not in shop.said


def test_questions_only_ask_nothing_of_earlier_work(tmp_path: Path) -> None:
    found = Shop(tmp_path)
    found.work("blue white", "stop for today", cable=25, place="yard")
    found.work("pair 3", cable=25, asking=True, place="yard")
    assert "Go on" not in found.said
