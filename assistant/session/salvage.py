"""Reading a log that may not be what was written: every record that can be proven, and where others are lost.

A line is proven by its own checksum, which covers its text and the checksum of the line before. Newer lines
name that checksum themselves, so that each is proven alone; older ones are proven behind their neighbour.
Proven lines are put in the order of their numbers, by their links. Must not know files.
"""

import hashlib
import re
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace

from assistant.cable.splice_plan import JointNumber
from assistant.session.record import (
    FIRST_SUM,
    LINE_START,
    SUM_LENGTH,
    Record,
    RecordError,
    RecordsLost,
    after_of,
    checksum_of,
    decode,
    encode,
    proven,
    read,
)

_PIECE = re.compile(rb'\{"sum":"(.{16})",(.*)\}', re.DOTALL)
_NUMBER = re.compile(rb'"number":(\d{1,12})[,}]')
_FRAME = len(LINE_START) + SUM_LENGTH + len('",}\n')
"""Bytes of a line besides its text."""
_BODY = len(LINE_START) + SUM_LENGTH + len('",')
"""Where the text of a line begins."""
LONGEST_SET_RIGHT, MOST_SET_RIGHT = 8192, 4
"""Bytes of a line in which a changed bit is looked for, and lines of a log: it takes a second for the longest."""
_FIRST_WEIGHT = 1 << 40
"""Weight of the run that begins the log: without the beginning nothing that follows has a meaning."""


@dataclass(frozen=True, slots=True)
class Damage:
    """One place where the log is not what was written."""

    line: int
    """1 upward, in the file as it is."""
    what: str


@dataclass(frozen=True, slots=True)
class Known:
    """The beginning of a log of which it is known already what it comes to."""

    number: int
    """Of its last record; as many lines, for nothing in it is lost."""
    sum: str
    """Checksum of that record."""
    length: int
    """Bytes."""
    digest: str
    """SHA-256 of these bytes, taken when each of their lines was proven."""


@dataclass(frozen=True, slots=True)
class LoadedLog:
    """What a log holds."""

    records: tuple[Record, ...]
    """In order; where some are lost a record of `RecordsLost` stands for them."""
    last_sum: str
    length: int
    """Bytes up to what is torn."""
    torn: bytes
    """What stands at the end without its line end: a record that was cut off while it was written."""
    sums: tuple[str, ...] = ()
    """Checksum of each record."""
    lines: tuple[bytes, ...] = ()
    """Line of each record, as it was written."""
    damages: tuple[Damage, ...] = ()
    """Where the file is not what was written; empty where it is."""
    known: Known | None = None
    """The beginning that was proven and not read, since it is known what it comes to; records, sums and lines are
    those behind it. None where all were read."""

    @property
    def last_number(self) -> int:
        """Number of the last record; 0 where there is none."""
        if self.records:
            return self.records[-1].last_number
        return self.known.number if self.known else 0

    @property
    def count(self) -> int:
        """How many records are there, without those that are lost."""
        return sum(not isinstance(record.input, RecordsLost) for record in self.records)


def follow(record: Record, checksum: str) -> tuple[int, str]:
    """Give the number that the next record must have, and the checksum that it must follow."""
    came = record.input
    if isinstance(came, RecordsLost):
        return came.last + 1, came.next_sum or checksum
    return record.number + 1, checksum


def lines_of(data: bytes) -> list[bytes]:
    """Cut a log into its lines, each with its end; the last may lack it."""
    parts = data.split(b"\n")
    return [part + b"\n" for part in parts[:-1]] + ([parts[-1]] if parts[-1] else [])


def read_log(data: bytes, known: Known | None = None) -> LoadedLog:
    """Read a log, be it whole or not; nothing raises.

    Where it begins with just the bytes that are known already, only the lines behind them are read and proven.
    """
    if known is not None and not _begins_with(data, known):
        known = None
    lines = lines_of(data[known.length :] if known else data)
    torn = lines.pop() if lines and not lines[-1].endswith(b"\n") else b""
    before = known.sum if known else FIRST_SUM
    records: list[Record] = []
    sums: list[str] = []
    wanted = known.number + 1 if known else 1
    for line in lines:
        try:
            record, checksum = decode(line, before)
        except RecordError:
            return _Salvage(data).log()
        if record.number != wanted:
            return _Salvage(data).log()
        records.append(record)
        sums.append(checksum)
        wanted, before = follow(record, checksum)
    if torn and (LINE_START in torn[1:] or _is_whole(torn, before)):
        return _Salvage(data).log()
    return LoadedLog(
        tuple(records), before, len(data) - len(torn), torn, tuple(sums), tuple(lines), damages=(), known=known
    )


def known_of(data: bytes, number: int, last_sum: str) -> Known:
    """Give what is to be known of a whole log, or beginning of one, whose lines are proven."""
    return Known(number, last_sum, len(data), hashlib.sha256(data).hexdigest())


def _begins_with(data: bytes, known: Known) -> bool:
    """Tell whether a log begins with just what is known."""
    there = memoryview(data)[: known.length]
    last = data.rfind(b"\n", 0, known.length - 1) + 1
    return (
        known.length > 0
        and data.count(b"\n", 0, known.length) == known.number
        and data.startswith(LINE_START + known.sum.encode(), last)
        and hashlib.sha256(there).hexdigest() == known.digest
    )


def first_and_last(data: bytes) -> tuple[Record, Record] | None:
    """Give the first and the last record of a whole log without reading those between, which takes far longer.

    None where the log is not whole, or holds no record.
    """
    lines = [line for line in lines_of(data) if line.endswith(b"\n")]
    if not lines or proven(lines, FIRST_SUM) is None:
        return None
    try:
        return read(_body(lines[0])), read(_body(lines[-1]))
    except RecordError:
        return None


def _body(line: bytes) -> bytes:
    return line[_BODY:-2]


def _is_whole(torn: bytes, before: str) -> bool:
    """Tell whether what seems torn is a whole record whose line end was changed; what is cut off has no more bytes."""
    found = _PIECE.fullmatch(torn[:-1])
    return found is not None and checksum_of(before, found.group(2)).encode() == found.group(1)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line that may be a record, and what can be said of it."""

    place: int
    """Number of the line in the file."""
    order: int
    """Its turn among all pieces."""
    body: bytes
    checksum: str
    after: str
    record: Record

    @property
    def key(self) -> tuple[int, str]:
        """What it must follow."""
        return self.record.number, self.after

    @property
    def whole(self) -> bytes:
        """The line as it was written."""
        return LINE_START + self.checksum.encode() + b'",' + self.body + b"}\n"

    @property
    def next_key(self) -> tuple[int, str]:
        """What must follow it."""
        return follow(self.record, self.checksum)


@dataclass(slots=True)
class _Piece:
    """Bytes between two line ends or beginnings of lines."""

    place: int
    data: bytes
    line: _Line | None = None
    unproven: _Line | None = None
    """What it reads as, where its checksum does not fit; the next line may prove it."""
    carried: str = ""
    """The checksum that stands in it."""
    sums: frozenset[str] = frozenset()
    """Checksums that may stand before it."""


class _Salvage:
    """Puts together what can be proven."""

    def __init__(self, data: bytes) -> None:
        self._length = len(data)
        self._pieces, self._torn = _cut(data)
        self._prove()
        runs = _runs([piece.line for piece in self._pieces if piece.line is not None])
        self._kept = [line for run in _best(runs) for line in run]

    def log(self) -> LoadedLog:
        """Give the log with gaps where records are lost."""
        records: list[Record] = []
        sums: list[str] = []
        lines: list[bytes] = []
        wanted = (1, FIRST_SUM)
        last = ""

        def add(record: Record, checksum: str, line: bytes) -> None:
            records.append(record)
            sums.append(checksum)
            lines.append(line)

        for line in self._kept:
            if line.key != wanted:
                gap = _lost(wanted[0], line, last)
                made, checksum = encode(gap, wanted[1])
                add(gap, checksum, made)
            add(line.record, line.checksum, line.whole)
            wanted, last = line.next_key, line.record.at
        behind = self._lost_behind()
        if behind:
            gap = Record(
                number=wanted[0], at=last, input=RecordsLost(last=wanted[0] + behind - 1, until="", why=_WHY), facts=()
            )
            made, checksum = encode(gap, wanted[1])
            add(gap, checksum, made)
            wanted = follow(gap, checksum)
        return LoadedLog(
            tuple(records),
            wanted[1],
            self._length - len(self._torn),
            self._torn,
            tuple(sums),
            tuple(lines),
            tuple(self._damages()),
        )

    def _prove(self) -> None:
        """Check each piece alone, behind the one before it, and by the one behind it."""
        sums = {FIRST_SUM}
        before: _Piece | None = None
        for order, piece in enumerate(self._pieces):
            piece.sums = frozenset(sums)
            _read_piece(piece, order)
            line = piece.line
            if line and before and before.unproven and before.unproven.checksum == line.after:
                before.line = before.unproven
            sums = {piece.carried} if piece.carried else set()
            sums |= {one.checksum for one in (piece.line, piece.unproven) if one is not None}
            before = piece
        spoilt = [(order, piece) for order, piece in enumerate(self._pieces) if piece.line is None]
        for order, piece in spoilt[:MOST_SET_RIGHT]:
            piece.line = _set_right(piece, order)

    def _lost_behind(self) -> int:
        """Count the pieces behind the last record that is kept: each was a record."""
        last = max((line.order for line in self._kept), default=-1)
        return sum(piece.line is None for piece in self._pieces[last + 1 :])

    def _damages(self) -> Iterator[Damage]:
        kept = {line.order: line for line in self._kept}
        wanted, newest = 1, 0
        for order, piece in enumerate(self._pieces):
            line = kept.get(order)
            if line is None:
                yield Damage(piece.place, _what(piece))
                wanted += piece.line is None
                continue
            if line.record.number < newest:
                yield Damage(piece.place, f"is record {line.record.number}, in the wrong place: lines were moved")
                continue
            if line.record.number > wanted:
                lost = line.record.number - wanted
                yield Damage(
                    piece.place,
                    f"is record {line.record.number}: {lost} before it {'is' if lost == 1 else 'are'} lost or moved",
                )
            if not piece.data.startswith(line.whole[:-1]):
                yield Damage(piece.place, f"record {line.record.number} is whole: a changed sign is set right")
            elif not piece.data.endswith(b"\n"):
                yield Damage(piece.place, f"record {line.record.number} is whole, its line end was changed")
            wanted, newest = line.next_key[0], line.record.number


_WHY = "the file is damaged there"


def _lost(first: int, behind: _Line, last_at: str) -> Record:
    lost = RecordsLost(last=behind.record.number - 1, until=behind.record.at, why=_WHY, next_sum=behind.after)
    return Record(number=first, at=last_at or behind.record.at, input=lost, facts=())


def _cut(data: bytes) -> tuple[list[_Piece], bytes]:
    """Cut at line ends, and where a line begins in another one, whose end was changed; give what is torn too."""
    pieces: list[_Piece] = []
    for place, line in enumerate(lines_of(data), 1):
        at = 0
        while (begin := line.find(LINE_START, at + 1)) >= 0:
            pieces.append(_Piece(place, line[at:begin]))
            at = begin
        pieces.append(_Piece(place, line[at:]))
    if pieces and not data.endswith(b"\n") and _PIECE.fullmatch(pieces[-1].data[:-1]) is None:
        return pieces[:-1], pieces[-1].data
    return pieces, b""


def _read_piece(piece: _Piece, order: int) -> None:
    """Read a piece and prove it by its own checksum, or behind one of the checksums that may stand before it."""
    if len(piece.data) < _FRAME:
        return
    # by its places, so that a changed sign around checksum and text costs nothing
    piece.carried = piece.data[len(LINE_START) : _BODY - 2].decode("latin-1")
    body = piece.data[_BODY:-2]
    try:
        record = read(body)
    except RecordError:
        return
    named = after_of(body)
    may_follow = [named] if named is not None else sorted(piece.sums)
    for after in may_follow:
        line = _Line(piece.place, order, body, checksum_of(after, body), after, record)
        if line.checksum == piece.carried:
            piece.line = line
            return
        piece.unproven = line


def _runs(lines: list[_Line]) -> list[list[_Line]]:
    """Put lines that follow one another by number and checksum together; equal ones count once."""
    distinct = {(line.record.number, line.checksum): line for line in sorted(lines, key=lambda one: -one.order)}
    longest: dict[tuple[int, str], int] = {}
    depths: dict[int, int] = {}
    for line in sorted(distinct.values(), key=lambda one: -one.record.number):
        depths[line.order] = 1 + longest.get(line.next_key, 0)
        longest[line.key] = max(longest.get(line.key, 0), depths[line.order])
    open_runs: dict[tuple[int, str], list[_Line]] = {}
    runs: list[list[_Line]] = []
    # of two lines that follow the same one, that which more follow belongs there
    for line in sorted(distinct.values(), key=lambda one: (one.record.number, -depths[one.order], one.order)):
        run = open_runs.pop(line.key, None)
        if run is None:
            run = []
            runs.append(run)
        run.append(line)
        open_runs[line.next_key] = run
    return [run for run in runs if run[0].record.number > 1 or run[0].after == FIRST_SUM]


def _best(runs: list[list[_Line]]) -> list[list[_Line]]:
    """Choose runs that do not overlap and have a gap between them, so that most records are kept.

    Two runs without a gap in the numbers between them do not belong together: nothing is lost between
    them, and yet one does not follow the other.
    """
    runs = sorted(runs, key=lambda run: run[-1].record.last_number)
    ends = [run[-1].record.last_number for run in runs]
    best: list[tuple[int, int, bool]] = [(0, 0, False)]
    for index, run in enumerate(runs):
        first = run[0].record.number
        weight = len(run) + (_FIRST_WEIGHT if first == 1 else 0)
        before = bisect_left(ends, first - 1, 0, index)
        with_it = best[before][0] + weight
        best.append((with_it, before, True) if with_it > best[index][0] else (best[index][0], index, False))
    chosen, index = [], len(runs)
    while index:
        _, before, taken = best[index]
        if taken:
            chosen.append(runs[index - 1])
        index = before
    return chosen[::-1]


def _set_right(piece: _Piece, order: int) -> _Line | None:
    """Find the one bit that was changed, if it was one: with it set right the checksum fits again."""
    if not _FRAME <= len(piece.data) <= LONGEST_SET_RIGHT:
        return None
    data = bytearray(piece.data)
    for at in range(len(LINE_START), len(data) - 2):
        for bit in range(8):
            data[at] ^= 1 << bit
            body = bytes(data[_BODY:-2])
            named = after_of(body)
            carried = data[len(LINE_START) : _BODY - 2]
            for after in (named,) if named is not None else piece.sums:
                if checksum_of(after, body).encode() == carried:
                    return _made(piece.place, order, body, after)
            data[at] ^= 1 << bit
    return None


def _made(place: int, order: int, body: bytes, after: str) -> _Line | None:
    try:
        return _Line(place, order, body, checksum_of(after, body), after, read(body))
    except RecordError:
        return None


def _what(piece: _Piece) -> str:
    if piece.line is not None:
        return f"is record {piece.line.record.number} again, or of another log: lines were put in or moved"
    if piece.unproven is not None:
        return f"record {piece.unproven.record.number} was changed, or the line before it"
    number = _NUMBER.search(piece.data)
    return f"is no whole record{f' (it was record {int(number.group(1))})' if number else ''}"


def with_doubts(log: LoadedLog, doubts: dict[int, tuple[JointNumber, ...]]) -> LoadedLog:
    """Name the joints that have to be called again, by the number of the first record that is lost.

    Only for what was found lost in reading: where a repaired log names its own gaps, these stay as they are.
    """
    records, sums, lines = list(log.records), list(log.sums), list(log.lines)
    for index, record in enumerate(records):
        came = record.input
        if isinstance(came, RecordsLost) and record.number in doubts:
            records[index] = replace(record, input=replace(came, doubtful=doubts[record.number]))
            after = after_of(lines[index][_BODY:])
            assert after is not None
            lines[index], sums[index] = encode(records[index], after)
    last = follow(records[-1], sums[-1])[1] if records else FIRST_SUM
    return replace(log, records=tuple(records), sums=tuple(sums), lines=tuple(lines), last_sum=last)
