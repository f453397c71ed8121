"""Which ends of a joint were named, in every form of the report."""

import csv
import io
import json
from datetime import UTC, datetime

import pypdf

from assistant.account.account import Account, account_of
from assistant.dialogue.messages import Ends, PairConfirmed
from assistant.handover import parts
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.paper import as_pdf
from assistant.handover.summary import standing_words
from assistant.handover.table import as_csv
from assistant.session.record import LINE_START, checksum_of, decode
from tests.account.sessions import Session
from tests.dialogue.test_ends import BRANCH, DROP, TRANSFER

ISSUED = datetime(2026, 11, 27, 8, 30, tzinfo=UTC)


def a_transfer() -> Account:
    """Joint 1 by both ends, 2 by its near end, 3 by a word after a far side that was another's, 4 taken back."""
    calls = ("blue white to slate white", "orange white", "green white to green red", "confirm")
    taken_back = ("brown white to brown red", "brown white to green red", "undo that")
    return account_of([Session(TRANSFER).typed(*calls, *taken_back).log()])


def test_the_account_tells_which_ends_were_named() -> None:
    account = a_transfer()
    assert [row.ends for row in account.rows[:4]] == ["both", "near", "none", ""]
    assert [[row.was_named(side) for side in (0, 1)] for row in account.rows[:4]] == [
        [True, True],
        [True, False],
        [False, False],
        [False, False],
    ]
    assert account.ends_named == {"both": 1, "near": 1, "none": 1}
    assert [standing_words(row) for row in account.rows[:4]] == [
        "confirmed; both ends named",
        "confirmed",
        "confirmed",
        "left",
    ]


def test_a_far_side_that_did_not_fit_is_told_with_the_joint_it_would_have_been_and_what_followed() -> None:
    first, second = a_transfer().slips
    assert (first.expected, first.called, first.far) == ((("old", 3),), (("old", 3),), (("new", 8),))
    assert first.followed_by.startswith("old 3 confirmed by word at ")
    assert second.far == (("new", 9),)
    assert second.followed_by.startswith("old 4 confirmed by colours, both ends named at ")


def test_the_steps_of_the_other_joint_have_the_slip_too() -> None:
    account = a_transfer()
    (line,) = [line for _, line in account.lines if line.came == "green white to green red"]
    assert set(line.joints) == {3, 4}, "pair 8 of the far cable goes to joint 4"


def test_of_a_branch_the_end_that_was_named_is_told_by_its_name() -> None:
    account = account_of([Session(BRANCH).typed("blue white to green red").log()])
    row = account.rows[0]
    assert row.made is not None
    assert row.made.far_ends == ("side",)
    assert [(side.end, row.was_named(at)) for at, side in enumerate(row.sides)] == [
        ("main", True),
        ("onward", False),
        ("side", True),
    ]


def test_a_far_end_alone_is_told_as_that() -> None:
    account = account_of([Session(DROP).typed("blue black").log()])
    row = account.rows[0]
    assert (row.ends, row.was_named(0), row.was_named(1)) == ("far", False, True)
    assert standing_words(row) == "confirmed; far end alone named"


def test_table_and_object_have_it_for_each_pair() -> None:
    rows = list(csv.DictReader(io.StringIO(as_csv(a_transfer()))))
    assert [(row["end"], row["ends"], row["named"]) for row in rows[:8]] == [
        *(("old", "both", "true"), ("new", "both", "true")),
        *(("old", "near", "true"), ("new", "near", "false")),
        *(("old", "none", "false"), ("new", "none", "false")),
        *(("old", "", ""), ("new", "", "")),
    ]
    made = json.loads(json.dumps(as_object(a_transfer(), issued=ISSUED)))
    assert made["ends_named"] == {"both": 1, "near": 1, "none": 1}
    assert made["joints"][0]["confirmed"]["far_ends"] == ["new"]
    assert [pair["named"] for pair in made["joints"][1]["pairs"]] == [True, False]
    assert made["mismatches"][0]["far"] == ["new pair 8 green red"]


def test_page_and_paper_show_it() -> None:
    account = a_transfer()
    ends = "both ends named: 1; near end alone named: 1; no end named: 1"
    slip = "green white to green red (far side: new pair 8 green red)"
    page = as_page(account, issued=ISSUED)
    for named, count in (("both ends named", 1), ("far end alone named", 0), ("no end named", 1)):
        assert f"<td>{named}</td><td>{count}</td>" in page
    assert slip in page
    assert "1 confirmed; both ends named" in page
    paper = " ".join(
        " ".join(
            part.extract_text() for part in pypdf.PdfReader(io.BytesIO(as_pdf(account, issued=ISSUED))).pages
        ).split()
    )
    for text in (ends, slip, "both ends named"):
        assert text in paper
    assert "ends" not in {
        row[0] for row in parts.identity(account_of([Session().typed("1 blue white").log()]), ISSUED).rows
    }


def test_what_an_older_version_wrote_stands_as_near_end_named() -> None:
    """It kept no ends; every call then named the pair that is called."""
    session = Session().typed("1 blue white")
    line, before = session.data().splitlines(keepends=True)[1], session.data()[8:24].decode()
    body = line.partition(b'",')[2].removesuffix(b"}\n")
    old = body.replace(b',"ends":"near","far_ends":[]', b"")
    assert len(old) < len(body)
    written = LINE_START + checksum_of(before, old).encode() + b'",' + old + b"}\n"
    assert decode(written, before)[0].facts == session.records[1].facts
    (fact, _) = session.records[1].facts
    assert isinstance(fact, PairConfirmed)
    assert (fact.ends, fact.far_ends) == (Ends.NEAR, ())
