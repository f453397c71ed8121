"""Checks asked before the work, by kind of place, with the caution that each stands for.

Wordings are our own; what they rest on stands beside them. They defer to site rules, the local code
and the licensed or qualified person. The tool tests nothing itself.
"""

from dataclasses import dataclass

from assistant.cable.splice_plan import Site

EVERYWHERE = frozenset(Site)


@dataclass(frozen=True, slots=True, kw_only=True)
class SafetyCheck:
    """One question that is answered with yes when it has been done."""

    name: str
    asks: str
    rests_on: str
    sites: frozenset[Site] = EVERYWHERE


CHECKS: tuple[SafetyCheck, ...] = (
    SafetyCheck(
        name="traffic",
        asks="Is the opening guarded and the traffic signed, and one ear free?",
        rests_on="29 CFR 1926.956, California Title 8 8616; one free ear: common practice, no source",
        sites=frozenset({Site.MANHOLE, Site.BURIED, Site.CABINET}),
    ),
    SafetyCheck(
        name="atmosphere",
        asks="Is the manhole gas tested, and ventilated as your rules ask?",
        rests_on="29 CFR 1910.268(o)(2); some state rules are stricter (WAC 296-32-340)",
        sites=frozenset({Site.MANHOLE}),
    ),
    SafetyCheck(
        name="attendant",
        asks="Is someone with first aid training at hand where your rules ask for one?",
        rests_on="California Title 8 8616, WAC 296-32-340",
        sites=frozenset({Site.MANHOLE}),
    ),
    SafetyCheck(
        name="power",
        asks="Are you clear of power conductors, taking each as live until the utility says otherwise?",
        rests_on="WAC 296-32-23514, 296-32-23524",
        sites=frozenset({Site.AERIAL, Site.BURIED}),
    ),
    SafetyCheck(
        name="lightning",
        asks="Is the sky clear of thunder?",
        rests_on="OSHA 3863 lightning fact sheet",
        sites=frozenset({Site.AERIAL, Site.BURIED, Site.CABINET}),
    ),
    SafetyCheck(
        name="voltage",
        asks="Are shield and pairs checked for voltage with a known good detector?",
        rests_on="a city's cabling guidelines; a trade magazine of 1996",
    ),
    SafetyCheck(
        name="bonding",
        asks="Is the shield bonded across the opening and to ground?",
        rests_on="a city's cabling guidelines",
    ),
    SafetyCheck(
        name="sharp edges",
        asks="Are gloves on, sharp armour taped, and no fibre end looked into?",
        rests_on="gloves and tape: common practice, no source; fibre: California Title 8 8617",
    ),
)
ON_RESUME = "voltage"
"""Asked again whenever work is taken up: check each time work resumes (trade magazine 1996)."""
ALL_IN_ONE = "all"
"""Name of the one question that stands for all checks of a place."""


def checks_for(site: Site) -> tuple[SafetyCheck, ...]:
    """Give the checks of a kind of place, in the order in which they are asked."""
    return tuple(check for check in CHECKS if site in check.sites)


def question_of(name: str, site: Site) -> str:
    """Give the question of a check; that of all in one names each of them, and one that is no more asked its name."""
    if name == ALL_IN_ONE:
        names = ", ".join(check.name for check in checks_for(site))
        return f"Are all checks of this {site.value} job done: {names}?"
    return next((check.asks for check in CHECKS if check.name == name), name)
