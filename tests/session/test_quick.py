"""What is read quickly is exactly what the slow way reads; what is not written as usual is left to the slow way.

The slow way, `read_any`, stands for the outside here: it is the one that read all logs so far, and `test_record` holds
it to the format.
"""

import json
from dataclasses import fields
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue.messages import Heard, Typed
from assistant.session import quick
from assistant.session.quick import read_usual
from assistant.session.record import MOST_RECORDS, ForeignRecordError, encode, read, read_any
from tests.account.sessions import Session
from tests.session import strategies
from tests.session.test_record import AT

FRAME = len('{"sum":"0123456789abcdef",')


def body_of(record: Any) -> bytes:
    return encode(record, "0123456789abcdef")[0][FRAME : -len("}\n")]


def outcome(reader: Any, body: bytes) -> str:
    """Give what comes of reading, to the last type: 1, 1.0 and True are three things here."""
    try:
        return repr(reader(body))
    except ForeignRecordError as error:
        return f"refused: {error}"


def same(body: bytes) -> None:
    assert outcome(read, body) == outcome(read_any, body)


@settings(deadline=None, max_examples=200)
@given(strategies.records())
def test_every_record_is_read_the_same_in_both_ways(record) -> None:
    same(body_of(record))


@pytest.mark.parametrize("kind", [*strategies.INPUTS, *strategies.FACTS], ids=lambda kind: kind.__name__)
@settings(deadline=None, max_examples=30)
@given(data=st.data())
def test_every_kind_is_read_the_same_in_both_ways(kind, data) -> None:
    made = data.draw(strategies.of_type(kind))
    came, facts = (made, ()) if kind in strategies.INPUTS else (Typed("x", 1), (made,))
    record = strategies.Record(number=1, at=AT, input=came, facts=facts)
    same(body_of(record))


def test_the_records_that_fill_a_log_are_read_quickly() -> None:
    session = Session().typed("blue white", "pair three", "mark wet", "undo that", "note damp", "where am i", "finish")
    heard = Heard(judgement="accepted", words="orange white", readings=(), after=session.state.announcement)
    session.typed("no").put(heard)
    slow = [one.number for one in session.records if read_usual(body_of(one)) is None]
    assert slow == [1, 8], "only the opening, and the question whether to finish"


# --- what nobody wrote as usual ----------------------------------------------------------------------------------

USUAL = {"after": "0" * 16, "number": 1, "at": AT, "input": {"text": "x", "after": 1, "during": 0, "tag": "typed"}}
SAID = {"text": "x", "tag": "said"}
CONFIRMED = {"pair": 2, "how": "number", "by": "keys", "asked_back": False, "tag": "pair-confirmed"}
READING = {"ear": "whisper", "words": "x", "margin": 1.5, "likelihood_ratio": -1, "confidence": None}
HEARD = {"judgement": "accepted", "words": "x", "readings": [READING], "sound_sha256": "", "after": 1, "tag": "heard"}
values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.sampled_from(["number", "keys", "said", "1"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text() | st.just("tag"), inner, max_size=3),
    max_leaves=5,
)


@settings(deadline=None, max_examples=500)
@given(data=st.data(), value=values)
def test_a_field_that_holds_anything_is_read_or_refused_the_same(data, value) -> None:
    content = json.loads(
        json.dumps(USUAL | {"facts": [SAID, CONFIRMED], "input": data.draw(st.sampled_from([HEARD, USUAL["input"]]))})
    )
    parts = [content, content["input"], *content["facts"], *content["input"].get("readings", [])]
    part = data.draw(st.sampled_from(parts))
    name = data.draw(st.sampled_from([*part, "new"]))
    if data.draw(st.booleans()):
        part[name] = value
    else:
        part.pop(name, None)
    for ascii_only in (True, False):
        try:
            body = json.dumps(content, separators=(",", ":"), ensure_ascii=ascii_only).encode()[1:-1]
        except UnicodeEncodeError:
            continue
        same(body)


@settings(deadline=None, max_examples=500)
@given(data=st.data(), byte=st.integers(0, 255))
def test_a_byte_changed_anywhere_is_read_or_refused_the_same(data, byte) -> None:
    content = USUAL | {"facts": [SAID, CONFIRMED], "input": data.draw(st.sampled_from([HEARD, USUAL["input"]]))}
    body = bytearray(json.dumps(content, separators=(",", ":")).encode()[1:-1])
    body[data.draw(st.integers(0, len(body) - 1))] = byte
    same(bytes(body))


@pytest.mark.parametrize(
    "facts",
    [
        b'[{"text":"x","tag":"moved-to","tag":"said"}]',
        b'[{"text":"x","tag":"said","tag":"moved-to"}]',
        b'[{"text":"x","tag":"said","\\u0074ag":"repeated"}]',
        b'[{"\\u0074ag":"repeated","text":"x","tag":"said"}]',
        b'[{"text":"x","new":{"a":1,"tag":"said"}}]',
        b'[{"text":"x","tag":"repeated","new":{"a":1,"tag":"said"}}]',
        b'[{"text":",\\"tag\\":\\"said\\"}","tag":"repeated"}]',
        b'[{"text":"x","text":"y","tag":"said"}]',
        b'[{"text":"x", "tag":"said"}]',
        b'[{"text":"x","tag":"said" }]',
        b'[{"text":"\\ud83d\\ude00","tag":"said"}]',
        b'[{"text":"\\ud83d","tag":"said"}]',
        b'[{"text":"\xed\xa0\xbd","tag":"said"}]',
        b'[{"text":"\xff","tag":"said"}]',
        b'[{"text":"x","new":"\xff","tag":"said"}]',
        b'[{"text":"x","new":NaN,"tag":"said"}]',
        b'[{"seconds":NaN,"tag":"pace-set"}]',
        b'[{"seconds":1e999,"tag":"pace-set"}]',
        b'[{"seconds":3,"tag":"pace-set"}]',
        b'[{"seconds":-0,"tag":"pace-set"}]',
        b'[{"pair":1.0,"tag":"moved-to"}]',
        b'[{"pair":1e2,"tag":"moved-to"}]',
        b'[{"pair":true,"tag":"moved-to"}]',
        b'[{"pair":123456789012345678901234567890,"tag":"moved-to"}]',
        b'[{"pair":' + b"1" * 5000 + b',"tag":"moved-to"}]',
        b'[{"text":"x","new":' + b"1" * 5000 + b',"tag":"said"}]',
        b'[{"text":"x","new":' + b"[" * 1900 + b"]" * 1900 + b',"tag":"said"}]',
        b'[{"text":"x","new":' + b"[" * 900 + b"]" * 900 + b',"tag":"said"}]',
        b'[{"tag":"held"}]',
        b'[{"tag":"held"},{"new":1,"tag":"held"}]',
        b'{"tag":"held"}',
        b"[[]]",
        b"[]}",
        b"[],",
        b'[],"facts":[{"tag":"held"}]',
        b'[],"new":1',
        b'[],"number":0',
        b'[],"number":' + str(MOST_RECORDS + 1).encode(),
        b'[],"number":true',
        b'[],"input":{"last":3,"until":"","why":"","tag":"records-lost"}',
        b'[],"input":{"tag":"speech-ended"}',
        b'[],"input":{"text":"x","tag":"typed"}',
    ],
)
def test_what_is_not_written_as_usual_is_read_or_refused_the_same(facts) -> None:
    body = json.dumps(USUAL, separators=(",", ":")).encode()[1:-1] + b',"facts":' + facts
    same(body)


def test_an_utterance_is_kept_with_all_its_fields() -> None:
    kept = {one.name for one in fields(Heard)} - {"meaning"}
    assert set(quick._Heard.__struct_fields__) == kept
