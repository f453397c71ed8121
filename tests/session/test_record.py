"""Records as lines: every message comes back as it went in, and what old logs hold stays readable."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue.messages import (
    BEFORE_NUMBERS,
    AnnouncementNumber,
    Asked,
    Attendance,
    Channel,
    Check,
    Heard,
    MovedTo,
    PairConfirmed,
    PairState,
    Said,
    SessionSettings,
    SpeechEnded,
    Typed,
)
from assistant.dialogue.tags import FACT_TAGS, INPUT_TAGS, QUESTION_TAGS
from assistant.session.journal import load
from assistant.session.record import (
    CAME_TAGS,
    FIRST_SUM,
    LaterFact,
    LaterInput,
    Record,
    RecordError,
    decode,
    encode,
)
from assistant.session.replay import rebuild
from assistant.words.intents import Fault
from tests.session import strategies
from tests.session.lines import line_of
from tests.tables import DATA

LOGS = sorted((DATA / "logs").glob("*.jsonl"))
AT = "2026-11-25T08:00:00.250+00:00"


def record(came: Any, *facts: Any, number: int = 1) -> Record:
    return Record(number=number, at=AT, input=came, facts=facts)


# --- there and back --------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", strategies.INPUTS, ids=lambda kind: kind.__name__)
@settings(deadline=None, max_examples=20)
@given(data=st.data(), before=strategies.sums)
def test_every_input_comes_back(kind, data, before) -> None:
    came = record(data.draw(strategies.of_type(kind)))
    line, checksum = encode(came, before)
    assert decode(line, before) == (came, checksum)
    assert type(decode(line, before)[0].input) is kind


@pytest.mark.parametrize("kind", strategies.FACTS, ids=lambda kind: kind.__name__)
@settings(deadline=None, max_examples=20)
@given(data=st.data(), before=strategies.sums)
def test_every_fact_comes_back(kind, data, before) -> None:
    happened = record(SpeechEnded(), data.draw(strategies.of_type(kind)))
    line, checksum = encode(happened, before)
    assert decode(line, before) == (happened, checksum)
    assert type(decode(line, before)[0].facts[0]) is kind


@pytest.mark.parametrize("kind", strategies.QUESTIONS, ids=lambda kind: kind.__name__)
@settings(deadline=None, max_examples=20)
@given(data=st.data())
def test_every_question_comes_back(kind, data) -> None:
    asked = record(SpeechEnded(), Asked(data.draw(strategies.of_type(kind))))
    found = decode(encode(asked, FIRST_SUM)[0], FIRST_SUM)[0]
    assert found == asked
    assert type(found.facts[0].question) is kind


@settings(deadline=None, max_examples=50)
@given(st.lists(strategies.records(), min_size=1, max_size=4))
def test_records_come_back_one_after_the_other(many) -> None:
    before, lines = FIRST_SUM, []
    for one in many:
        line, before = encode(one, before)
        lines.append(line)
    assert b"".join(lines).count(b"\n") == len(many), "a record is one line, whatever its texts hold"
    before = FIRST_SUM
    for one, line in zip(many, lines, strict=True):
        found, before = decode(line, before)
        assert found == one


@settings(deadline=None)
@given(st.binary(min_size=1, max_size=20))
def test_a_typed_line_of_any_bytes_can_be_kept(typed) -> None:
    # what Python makes of bytes on standard input that are no UTF-8 (docs.python.org, codecs, "surrogateescape")
    text = typed.decode("utf-8", "surrogateescape")
    line, _ = encode(record(Typed(text, BEFORE_NUMBERS)), FIRST_SUM)
    halves = re.sub("[\ud800-\udfff]", "\N{REPLACEMENT CHARACTER}", text)
    assert decode(line, FIRST_SUM)[0].input == Typed(halves, BEFORE_NUMBERS), "what is read is well-formed"
    assert line.decode("utf-8"), "other programs must be able to read the log as UTF-8"


# --- what is refused ---------------------------------------------------------------------------------


def test_the_format_stays_what_it_is() -> None:
    content = {
        "number": 7,
        "at": AT,
        "input": {"text": "pair two", "after": 4, "tag": "typed"},
        "facts": [{"pair": 2, "how": "number", "by": "typed", "asked_back": False, "tag": "pair-confirmed"}],
    }
    wanted = record(
        Typed("pair two", AnnouncementNumber(4)),
        PairConfirmed(pair=2, how=Check.NUMBER, by=Channel.TYPED, asked_back=False),
        number=7,
    )
    line = line_of(content, "0123456789abcdef")
    assert decode(line, "0123456789abcdef")[0] == wanted
    assert json.loads(encode(wanted, FIRST_SUM)[0]).keys() == {"sum", "after", "number", "at", "input", "facts"}
    assert json.loads(encode(wanted, "0123456789abcdef")[0])["after"] == "0123456789abcdef"


def test_fields_that_a_later_version_adds_are_passed_over() -> None:
    content = {"number": 1, "at": AT, "colour": "red", "input": {"tag": "typed", "text": "x", "new": 1}, "facts": []}
    assert decode(line_of(content), FIRST_SUM)[0] == record(Typed("x", BEFORE_NUMBERS))


GOOD = {"number": 1, "at": AT, "input": {"tag": "typed", "text": "x"}, "facts": []}


@pytest.mark.parametrize(
    "change",
    [
        {"number": "1"},
        {"number": True},
        {"number": 1.0},
        {"at": 5},
        {"input": {"text": "x"}},
        {"input": 3},
        {"facts": [{"pair": 3}]},
        {"facts": ["moved-to"]},
        {"facts": 3},
    ],
    ids=str,
)
def test_a_line_that_is_no_record_is_refused_although_its_checksum_fits(change) -> None:
    assert decode(line_of(GOOD), FIRST_SUM)[0] == record(Typed("x", BEFORE_NUMBERS))
    with pytest.raises(RecordError, match="no record of a session"):
        decode(line_of(GOOD | change), FIRST_SUM)


@pytest.mark.parametrize(
    "came", [{"tag": "typed", "text": 5}, {"tag": "typed"}, {"tag": "never-heard-of", "way": "new"}], ids=str
)
def test_what_a_later_version_takes_in_is_read_as_far_as_it_is_known(came) -> None:
    moved = {"tag": "moved-to", "pair": 3}
    found, _ = decode(line_of(GOOD | {"input": came, "facts": [moved]}), FIRST_SUM)
    assert found.input == LaterInput(came["tag"])
    assert found.facts == (MovedTo(3),)


@pytest.mark.parametrize(
    ("fact", "pair"),
    [
        ({"tag": "typed", "text": "x"}, None),
        ({"tag": "moved-to", "pair": "3"}, None),
        ({"tag": "answered", "yes": 1}, None),
        ({"tag": "asked", "question": {"tag": "moved-to", "pair": 3}}, None),
        ({"tag": "fault-marked", "pair": 3, "fault": "haunted", "by": "keys"}, 3),
        ({"tag": "glued", "pair": 7}, 7),
    ],
    ids=str,
)
def test_what_a_later_version_states_is_set_apart_with_the_pair_it_is_about(fact, pair) -> None:
    said = {"tag": "said", "text": "x"}
    found, _ = decode(line_of(GOOD | {"facts": [fact, said]}), FIRST_SUM)
    assert found.later == (LaterFact(fact["tag"], pair),)
    assert found.facts == (Said("x"),)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda line: line[:-1],
        lambda line: line[:-2] + b"\n",
        lambda line: line + b"\n",
        lambda line: line + line,
        lambda line: b" " + line,
        lambda line: line.replace(b'"sum"', b'"SUM"'),
        lambda line: line.replace(b"orange", b"orangf"),
        lambda line: b"",
        lambda line: b"\n",
        lambda line: bytes(len(line)),
    ],
)
def test_a_line_that_is_not_as_it_was_written_is_refused(spoil) -> None:
    line, _ = encode(record(Typed("orange white", BEFORE_NUMBERS), Said("Two, orange white, confirmed.")), FIRST_SUM)
    assert decode(line, FIRST_SUM)
    with pytest.raises(RecordError):
        decode(spoil(line), FIRST_SUM)


@given(strategies.sums.filter(lambda before: before != FIRST_SUM))
def test_a_line_belongs_behind_one_line_only(before) -> None:
    line, _ = encode(record(Typed("orange white", BEFORE_NUMBERS)), FIRST_SUM)
    with pytest.raises(RecordError, match="checksum"):
        decode(line, before)


# --- old logs load for ever ----------------------------------------------------------------------------


def _parts(kinds: Any) -> Iterator[type]:
    """Give the classes and enumerations that stand inside messages."""
    for kind in kinds:
        hints = get_type_hints(kind)
        for hint in (hints[name] for name in hints if (kind, name) not in NOT_WRITTEN):
            for part in get_args(hint) or (hint,):
                if isinstance(part, type) and issubclass(part, Enum):
                    yield part
                elif is_dataclass(part) and part not in QUESTION_TAGS:
                    if part not in FLAT:
                        yield part
                    yield from _parts([part])


FLAT = (SessionSettings, Attendance)
"""What is written into the object that it is a part of."""
NOT_WRITTEN = {(Heard, "meaning")}


def _written(kind: Any) -> Iterator[str]:
    """Give the names under which a message stands in a log."""
    for name, hint in get_type_hints(kind).items():
        if hint in FLAT:
            yield from _written(hint)
        elif (kind, name) not in NOT_WRITTEN:
            yield name


def current_table() -> dict[tuple[str, str, str], tuple[str, ...]]:
    """Give all that today's version may write: what it is, its word, its name; and its fields."""
    found: dict[tuple[str, str, str], tuple[str, ...]] = {}
    tables: Mapping[str, Mapping[Any, str]] = {"input": CAME_TAGS, "fact": FACT_TAGS, "question": QUESTION_TAGS}
    for what, tags in tables.items():
        for kind, tag in tags.items():
            found[what, tag, kind.__name__] = tuple(_written(kind))
    for part in _parts([*CAME_TAGS, *FACT_TAGS, *QUESTION_TAGS]):
        if issubclass(part, Enum):
            found |= {("value", str(value.value), f"{part.__name__}.{value.name}"): () for value in part}
        else:
            found["part", "-", part.__name__] = tuple(field.name for field in fields(part))
    return found


def golden_table() -> dict[tuple[str, str, str], tuple[str, ...]]:
    lines = (DATA / "record_tags.txt").read_text(encoding="utf-8").splitlines()
    split = [line.split("\t") for line in lines if not line.startswith("#")]
    return {(what, word, name): tuple(names) for what, word, name, *names in split}


def test_the_golden_file_holds_at_least_what_version_0_1_0_wrote() -> None:
    assert len(golden_table()) >= 88


@pytest.mark.parametrize("entry", sorted(golden_table()), ids=" ".join)
def test_what_logs_held_once_still_means_the_same(entry) -> None:
    now = current_table()
    assert entry in now, "old logs hold this: it may not be renamed or taken away"
    assert set(golden_table()[entry]) <= set(now[entry]), "old logs hold these fields"


def test_what_logs_may_hold_now_is_in_the_golden_file() -> None:
    golden = golden_table()
    new = [
        "\t".join([*entry, *names])
        for entry, names in current_table().items()
        if entry not in golden or not set(names) <= set(golden[entry])
    ]
    assert not new, "add these to tests/data/record_tags.txt, and a log that holds them to tests/data/logs"


def test_tags_are_words_and_no_two_are_the_same() -> None:
    for tags in (INPUT_TAGS, FACT_TAGS, QUESTION_TAGS):
        assert len(set(tags.values())) == len(tags)
        assert [tag for tag in tags.values() if not re.fullmatch("[a-z]+(-[a-z]+)*", tag)] == []


def _words_in(value: object) -> Iterator[str]:
    match value:
        case dict():
            for inner in value.values():
                yield from _words_in(inner)
        case list():
            for inner in value:
                yield from _words_in(inner)
        case str():
            yield value


def test_the_old_logs_hold_every_tag_and_value() -> None:
    held = {
        word
        for log in LOGS
        for line in log.read_text(encoding="utf-8").splitlines()
        for word in _words_in(json.loads(line))
    }
    lacking = [entry for entry in golden_table() if entry[0] != "part" and entry[1] not in held]
    assert not lacking, "add a log of this version that holds them; never change an old one"


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.name)
def test_an_old_log_still_loads(log: Path) -> None:
    loaded = load(log)
    assert len(loaded.records) == log.read_bytes().count(b"\n") > 10
    assert loaded.torn == b""
    assert loaded.length == log.stat().st_size


def test_an_old_session_still_comes_to_the_same() -> None:
    state = rebuild(load(DATA / "logs" / "working_session_0_1_0.jsonl").records)
    assert dict(state.pairs) == {
        1: PairState(confirmed=Check.NUMBER_AND_COLOURS),
        2: PairState(confirmed=Check.COLOURS),
        3: PairState(confirmed=Check.COLOURS),  # the first time by its number, and taken back
        4: PairState(confirmed=Check.COLOURS),
        5: PairState(faults=(Fault.WET,)),
    }
    assert state.expected == 6
    assert (state.plan.to_join, state.cable.pairs) == (tuple(range(1, 7)), 25)
    assert (state.opened, state.ended, state.held) == (True, False, False)


def test_an_old_record_is_read_to_the_last_field() -> None:
    loaded = load(DATA / "logs" / "every_message_0_1_0.jsonl").records
    heard = loaded[2].input
    assert [(r.ear, r.words, r.margin, r.likelihood_ratio, r.confidence) for r in heard.readings] == [
        ("whisper", "pair nine", 3.25, -0.5, None),
        ("vosk", "pair nine", 99.0, 0.0, 0.875),
    ]
    assert loaded[2].facts[1] == Asked(question=type(loaded[2].facts[1].question)("pair nine"))
    broken = next(one for one in loaded if type(one.input).__name__ == "DeviceFailed")
    assert broken.input.reason == "it was unplugged – fällt aus"
    assert broken.at.startswith("2026-11-25T08:00:")
