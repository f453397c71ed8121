"""Plan text (TOML, our own form) -> Plan. Every error names line and column and what to do.

The form is described in `demo_sessions/README.md`. Must not know files: text comes in.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import pairwise
from typing import Any, TypeVar

from assistant.cable.colour_code import Order
from assistant.cable.counts import (
    LARGEST_NUMBER,
    POSITIONS,
    SERVICE,
    CalledNumber,
    Count,
    CountError,
    Run,
    read_counts,
    read_name,
    read_runs,
)
from assistant.cable.makeup import PAIRS_PER_SUPER_UNIT, Cable, CableError, Makeup, Position
from assistant.cable.splice_plan import End, JoinKind, Joint, JointNumber, JointWork, Place, Plan, Site
from assistant.cable.toml_text import PlacedError, TomlSource, read_toml, shown

MOST_ENDS = 40
PLAN_KEYS = ("title", "site", "joints", "order", "end", "join", "protect")
END_KEYS = ("name", "pairs", "gauge", "count", "units", "multi_unit", "super_unit", "screened", "naming")
JOIN_KEYS = ("kind", "from", "to", "branch", "reason")
PROTECT_KEYS = ("pairs", "reason")
ORDERS = ("ascending", "descending", "listed")
GAUGES = (19, 22, 24, 26)
"""AWG sizes that 7 CFR 1755.890 lists."""
_E = TypeVar("_E", bound=Enum)


class PlanError(PlacedError):
    """A plan that cannot be followed; says where and what to do."""


def read_plan(text: str) -> Plan:
    """Read a plan.

    Raises:
        PlanError: it is no TOML, or no plan that can be followed.

    """
    try:
        data = read_toml(text)
    except PlacedError as error:
        raise PlanError(error.message, error.line, error.column) from error
    return _Reader(TomlSource(text.replace("\r\n", "\n")), data).plan()


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the plan with where it stands."""

    source: TomlSource
    name: str
    index: int
    values: dict[str, Any]

    def error(self, key: str, message: str, offset: int | None = None) -> PlanError:
        return PlanError(message, *self.source.locate(self.name, self.index, key, offset))

    def check_keys(self, allowed: tuple[str, ...], needed: tuple[str, ...]) -> None:
        title = f"[[{self.name}]]" if self.name else "the plan"
        for key in self.values:
            if key not in allowed:
                place = self.source.locate_key(self.name, self.index, key)
                raise PlanError(f"{title} has no {shown(key)}; it may have {', '.join(allowed)}", *place)
        for key in needed:
            if key not in self.values:
                raise self.error("", f"{title} needs {key!r}; add it")

    def text(self, key: str, usual: str = "") -> str:
        value = self.values.get(key, usual)
        if not isinstance(value, str):
            raise self.error(key, f"{key!r} is a text in quotation marks, not {shown(value)}")
        return value

    def number(self, key: str) -> int | None:
        value = self.values.get(key)
        if value is not None and (not isinstance(value, int) or isinstance(value, bool)):
            raise self.error(key, f"{key!r} is a whole number, not {shown(value)}")
        if value is not None and abs(value) > LARGEST_NUMBER:
            raise self.error(key, f"{key!r} is at most {LARGEST_NUMBER}; correct the number")
        return value

    def choice(self, key: str, kind: type[_E], usual: str) -> _E:
        value = self.text(key, usual)
        try:
            return kind(value)
        except ValueError:
            choices = ", ".join(str(member.value) for member in kind)
            raise self.error(key, f"{key!r} cannot be {shown(value)}; choose from {choices}") from None

    def read(self, key: str, reader: Callable[[str], Any]) -> Any:
        try:
            return reader(self.text(key))
        except CountError as error:
            raise self.error(key, str(error), error.at) from error


class _Reader:
    """Reads one plan; keeps what later tables refer to."""

    def __init__(self, source: TomlSource, data: dict[str, Any]) -> None:
        self._source = source
        self._data = data
        self._ends: list[End] = []
        self._names: dict[str, int] = {}
        self._used: dict[Place, tuple[int, str]] = {}

    def plan(self) -> Plan:
        top = _Table(self._source, "", 0, self._data)
        top.check_keys(PLAN_KEYS, ())
        for name in ("end", "join"):
            if self._data.get(name, []) == []:
                raise top.error(name, f"the plan needs {name!r}; add a table [[{name}]]")
        site = top.choice("site", Site, "") if "site" in self._data else None
        work = top.choice("joints", JointWork, "single")
        order = top.text("order", "listed")
        if order not in ORDERS:
            raise top.error("order", f"'order' cannot be {shown(order)}; choose from {', '.join(ORDERS)}")
        for table in self._tables("end"):
            self._read_end(table)
        joints_read = [joint for table in self._tables("join") for joint in self._read_join(table)]
        protected = self._read_protected()
        ordered = _in_order(joints_read, order)
        joints = tuple(
            replace(joint, number=JointNumber(number), protect=_reason(joint, protected))
            for number, joint in enumerate(ordered, 1)
        )
        return Plan(top.text("title"), tuple(self._ends), joints, site, work)

    def _tables(self, name: str) -> Iterator[_Table]:
        found = self._data.get(name, [])
        top = _Table(self._source, "", 0, self._data)
        tables = isinstance(found, list) and all(isinstance(values, dict) for values in found)
        if not tables or (found and not self._source.headings(name)):
            raise top.error(name, f"write each {name} as a table of its own: [[{name}]]")
        for index, values in enumerate(found):
            yield _Table(self._source, name, index, values)

    # --- ends ---

    def _read_end(self, table: _Table) -> None:
        table.check_keys(END_KEYS, ("name", "pairs"))
        name = table.text("name").lower()
        if not re.fullmatch(r"[a-z][a-z0-9]*", name):
            raise table.error("name", f"{shown(name)} is no name: use one word of letters and figures")
        if name in self._names:
            raise table.error("name", f"there is an end {name!r} already; give each its own name")
        if len(self._ends) >= MOST_ENDS:
            raise table.error("name", f"a splice has at most {MOST_ENDS} ends here; make two plans of it")
        pairs = table.number("pairs")
        assert pairs is not None
        makeup = self._read_makeup(table)
        try:
            cable = Cable(pairs, makeup)
        except CableError as error:
            raise table.error("pairs", str(error)) from error
        gauge = table.number("gauge")
        if gauge is not None and gauge not in GAUGES:
            raise table.error("gauge", f"gauge {gauge} AWG is not listed; choose from 19, 22, 24, 26")
        naming = table.choice("naming", Order, "ring-first") if "naming" in table.values else None
        counts = self._read_end_counts(table, cable)
        self._names[name] = len(self._ends)
        self._ends.append(End(name, cable, counts, gauge, naming))

    def _read_makeup(self, table: _Table) -> Makeup:
        units = table.text("units")
        if units and not re.fullmatch(r"[0-9]{1,3}(\+[0-9]{1,3})*", units):
            raise table.error("units", f"{shown(units)} is no lay-up of a group; write 8+8+9 or 12+13")
        screened = table.values.get("screened", False)
        if not isinstance(screened, bool):
            raise table.error("screened", f"'screened' is true or false, not {shown(screened)}")
        multi_unit, super_unit = table.number("multi_unit"), table.number("super_unit")
        for key in ("units", "multi_unit", "super_unit"):
            if key not in table.values:
                continue
            try:
                Makeup(
                    units=tuple(int(n) for n in units.split("+")) if key == "units" and units else (),
                    multi_unit=(multi_unit or 0) if key == "multi_unit" else 0,
                    super_unit=(super_unit or 0) if key == "super_unit" else PAIRS_PER_SUPER_UNIT,
                )
            except CableError as error:
                raise table.error(key, str(error)) from error
        return Makeup(
            units=tuple(int(n) for n in units.split("+")) if units else (),
            multi_unit=multi_unit or 0,
            super_unit=super_unit or PAIRS_PER_SUPER_UNIT,
            screened=screened,
        )

    def _read_end_counts(self, table: _Table, cable: Cable) -> tuple[Count, ...]:
        if "count" not in table.values:
            return ()
        counts: tuple[Count, ...] = table.read("count", read_counts)
        numbers = sum(len(count.run) for count in counts)
        if numbers > cable.pairs:
            message = f"the counts have {numbers} numbers, but the cable only {cable.pairs} pairs; correct one of them"
            raise table.error("count", message)
        by_place = sorted(counts, key=lambda count: (count.name, count.run.first))
        for before, after in pairwise(by_place):
            if before.name == after.name and after.run.first <= before.run.last:
                at = max(before.run.at, after.run.at)
                raise table.error("count", f"{before} and {after} overlap; give each number to one pair", at)
        return counts

    # --- joins ---

    def _read_join(self, table: _Table) -> list[Joint]:
        table.check_keys(JOIN_KEYS, ("kind", "from"))
        kind = table.choice("kind", JoinKind, "")
        keys = [key for key in ("from", "to", "branch") if key in table.values]
        wanted = {JoinKind.BRANCH: ["from", "to", "branch"]}.get(kind, ["from", "to"] if kind.joined else ["from"])
        for key in wanted:
            if key not in keys:
                raise table.error("", f"a {kind.value} join needs {key!r}; add it or change the kind")
        for key in keys:
            if key not in wanted:
                raise table.error(key, f"a {kind.value} join has no {key!r}; leave it out or change the kind")
        columns = [self._read_places(table, key) for key in keys]
        for key, column in zip(keys[1:], columns[1:], strict=True):
            if len(column) != len(columns[0]):
                raise table.error(
                    key, f"{len(column)} pairs here, but {len(columns[0])} in 'from'; a join is pair for pair"
                )
        reason = table.text("reason")
        self._take(table, keys, columns)
        return [
            Joint(number=JointNumber(0), kind=kind, places=places, reason=reason)
            for places in zip(*columns, strict=True)
        ]

    def _take(self, table: _Table, keys: Sequence[str], columns: list[list[Place]]) -> None:
        for key, column in zip(keys, columns, strict=True):
            for place in column:
                if place in self._used:
                    line, _ = self._source.locate("join", *self._used[place])
                    message = f"{self._name(place)} is used already, at line {line}; put each pair into one join"
                    raise table.error(key, message)
                self._used[place] = (table.index, key)

    def _read_places(self, table: _Table, key: str) -> list[Place]:
        """Read "END COUNT 301-400", "END pairs 1-25" or "END service 1-4"."""

        def read(text: str) -> list[Place]:
            end_name, at = read_name(text)
            if end_name not in self._names:
                raise CountError(
                    f"there is no end {shown(end_name)}; the plan has {', '.join(self._names)}", at - len(end_name)
                )
            index = self._names[end_name]
            name, at = read_name(text, at)
            self._check_count(self._ends[index], name, at - len(name))
            return [Place(index, p) for run in read_runs(text, at) for p in self._positions(index, name, run)]

        places: list[Place] = table.read(key, read)
        doubled = next((place for place, times in Counter(places).items() if times > 1), None)
        if doubled is not None:
            place = doubled
            raise table.error(key, f"{self._name(place)} stands here twice; name each pair once")
        return places

    def _check_count(self, end: End, name: str, at: int) -> None:
        if name in (POSITIONS, SERVICE, *(count.name for count in end.counts)):
            return
        known = ", ".join(str(count) for count in end.counts)
        remedy = f"it carries {known}" if known else "use pairs, it carries none"
        raise CountError(f"{end.name} carries no count {shown(name)}; {remedy}", at)

    def _positions(self, index: int, name: str, run: Run) -> list[Position]:
        end = self._ends[index]
        if name == POSITIONS:
            if run.last > end.cable.pairs:
                raise CountError(f"{end.name} has pairs 1-{end.cable.pairs}, not {run.last}", run.at)
            return [Position(number) for number in range(run.first, run.last + 1)]
        if name == SERVICE:
            if run.last > end.cable.service_pairs:
                known = f"service pairs 1-{end.cable.service_pairs}, not {run.last}"
                none = "no service pairs; only a screened cable has some"
                raise CountError(f"{end.name} has {known if end.cable.service_pairs else none}", run.at)
            return [Position(end.cable.carrier_pairs + number) for number in range(run.first, run.last + 1)]
        found = []
        for number in range(run.first, run.last + 1):
            positions = end.positions_of(CalledNumber(number), name)
            if not positions:
                raise CountError(f"{end.name} carries no {name} {number}; correct the range or the end's count", run.at)
            found.append(positions[0])
        return found

    def _name(self, place: Place) -> str:
        end = self._ends[place.end]
        count, number = end.called(place.position)
        if not count and number > end.cable.carrier_pairs:
            return f"{end.name} service {number - end.cable.carrier_pairs}"
        return f"{end.name} {count or 'pair'} {number}"

    # --- protected pairs ---

    def _read_protected(self) -> dict[Place, str]:
        protected: dict[Place, str] = {}
        for table in self._tables("protect"):
            table.check_keys(PROTECT_KEYS, ("pairs", "reason"))
            reason = table.text("reason").strip()
            if not reason:
                raise table.error("reason", "say why the pairs are protected; the reason is spoken at the splice")
            for place in self._read_places(table, "pairs"):
                if place in protected:
                    raise table.error("pairs", f"{self._name(place)} is protected already; name it once")
                if place not in self._used:
                    raise table.error("pairs", f"{self._name(place)} is in no join; put it into one, or leave it out")
                protected[place] = reason
        return protected


def _reason(joint: Joint, protected: dict[Place, str]) -> str:
    return next((protected[place] for place in joint.places if place in protected), "")


def _in_order(joints: list[Joint], order: str) -> list[Joint]:
    """Order by end and position, up or down; `listed` keeps the joins as they stand."""
    if order == "listed":
        return joints
    sign = -1 if order == "descending" else 1
    return sorted(joints, key=lambda joint: (joint.lead.end, sign * joint.lead.position))
