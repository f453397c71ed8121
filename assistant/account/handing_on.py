"""What the logs of a splice come to for the one who goes on with it: the account, as the beginning of a new log.

Where the logs do not tell how a pair stands, or contradict one another, it is to be called again: that is cheap, and
a wrong pair that passes for right is not.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from assistant.account.account import Account, Row
from assistant.account.chain import last_of
from assistant.account.contradictions import TWICE, Contradiction
from assistant.account.copies import sums_of
from assistant.account.walk import ReadLog
from assistant.cable.splice_plan import JointNumber
from assistant.dialogue.messages import EarlierWork, JointsCarried, LogHead, PairState
from assistant.dialogue.state import UNTOUCHED


def handed_on(account: Account, expected: JointNumber | None, sha256: Mapping[str, str]) -> EarlierWork:
    """Give what the next log begins with.

    Args:
        account: of all logs of the splice that are at hand.
        expected: the joint that was to be called next in the newest of them.
        sha256: of the bytes of each log up to its last whole record, by its name.

    """
    again = _to_call_again(account)
    known = {row.joint.number: _known(row, again=row.joint.number in again) for row in account.rows}
    people = [one.person for one in account.sittings if one.person]
    return EarlierWork(
        logs=tuple(_head(log, sha256[log.name]) for log in account.chain.tips(account.logs)),
        joints=tuple(_runs(known)),
        built=account.built,
        expected=expected,
        again=tuple(sorted(again)),
        people=tuple(reversed(dict.fromkeys(reversed(people)))),
        first_day=account.first_day.isoformat(),
        last_day=max(one.ended for one in account.sittings).date().isoformat(),
        anew=account.identity.anew,
        finished=account.finished is not None,
    )


def _to_call_again(account: Account) -> frozenset[JointNumber]:
    doubtful = {row.joint.number for row in account.rows if row.doubt}
    at_odds = {
        account.rows[account.row_of[one.lead]].joint.number
        for one in account.contradictions
        if one.lead in account.row_of and one.what != TWICE and not _is_settled(account, one)
    }
    return frozenset(n for n in doubtful | at_odds if account.plan.by_number[n].kind.joined)


def _is_settled(account: Account, one: Contradiction) -> bool:
    """Tell whether somebody who knew of both entries has dealt with the pair since."""
    both = [entry for entry in (one.earlier, one.later) if entry is not None]
    if len(both) < 2:
        return False
    for change in account.changes:
        known = {**account.chain.knows.get(change.log, {}), change.log: change.record - 1}
        if change.lead == one.lead and all(entry.record <= known.get(entry.log, 0) for entry in both):
            return True
    return False


def _known(row: Row, *, again: bool) -> PairState:
    if not again:
        return row.known
    return replace(UNTOUCHED, faults=row.known.faults, reversed_on_purpose=row.known.reversed_on_purpose)


def _runs(known: Mapping[JointNumber, PairState]) -> Iterator[JointsCarried]:
    """Put joints of which the same is known, and whose numbers follow one another, together."""
    run: JointsCarried | None = None
    for number in sorted(known):
        of_it = known[number]
        if run is not None and run.last == number - 1 and run.known == of_it:
            run = replace(run, last=number)
            continue
        if run is not None and run.known != UNTOUCHED:
            yield run
        run = JointsCarried(first=number, last=number, known=of_it)
    if run is not None and run.known != UNTOUCHED:
        yield run


def _head(log: ReadLog, sha256: str) -> LogHead:
    sums, last = sums_of(log), last_of(log)
    return LogHead(name=log.name, first_sum=sums.get(1, ""), records=last, last_sum=sums.get(last, ""), sha256=sha256)
