"""What is said in training: sentences of ours, their single words, and other English.

usage: python models_readme/fitting/texts.py FOLDER_OF_ENGLISH OUT.json [SEED]     (in the project's environment)
FOLDER_OF_ENGLISH holds plain text files (we took Debian's package `fortunes`); any English will do.
OUT.json: {"items": [[kind, text to speak, transcript], ...], "join": sentences to be put together from
single words, "vocabulary": every word of ours, "other": words that are not ours}. Kinds: say (a sentence of
ours), word (one word of ours, to be joined), talk (other speech), other (one word that is not ours).
"""

import json
import random
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from phrases import COMING, GOING, NEAR, PEOPLE, PLACES, TALK, THINGS

from assistant.words.grammar import sample
from assistant.words.intents import CallPair, MarkFault
from assistant.words.numbers import DIGITS, NUMBER_WORDS, TEENS, TENS
from assistant.words.vocabulary import ALL_INTENTS, ENTRIES, Scope, text_sentences

RINGS = ("blue", "orange", "green", "brown", "slate", "slate", "grey", "gray")
TIPS = ("white", "red", "black", "yellow", "violet", "violet", "purple", "mauve")
COLOURS = frozenset({*RINGS, *TIPS})
RING_ORDER, TIP_ORDER = ("blue", "orange", "green", "brown", "slate"), ("white", "red", "black", "yellow", "violet")
SENTENCES, JOINED, TALKED, WORDS_OTHER = 13_000, 40_000, 14_000, 6_500
LONGEST_TALK = 64
"""Characters; longer than any sentence of ours."""

rng = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 5)


def below_hundred(n: int) -> str:
    """Say 0 to 99 as one number."""
    if n < 20:
        return (*DIGITS, *TEENS)[n]
    return TENS[n // 10 - 2] + (f" {DIGITS[n % 10]}" if n % 10 else "")


def digits(n: int) -> str:
    """Say a number digit by digit."""
    return " ".join(DIGITS[int(d)] for d in str(n))


def number(n: int) -> str:
    """Say a number as people do."""
    if n < 100:
        return below_hundred(n)
    hundreds, rest = divmod(n, 100)
    if hundreds > 9:
        return digits(n)
    if rest > 9 and rng.random() < 0.35:
        return f"{DIGITS[hundreds]} {below_hundred(rest)}"
    return f"{DIGITS[hundreds]} hundred" + (rng.choice([" ", " and "]) + below_hundred(rest) if rest else "")


def a_number() -> int:
    """Give a pair's number: mostly of two or three digits."""
    chance = rng.random()
    return (
        rng.randrange(1, 100)
        if chance < 0.4
        else rng.randrange(100, 1000)
        if chance < 0.92
        else rng.randrange(1000, 3600)
    )


def called(n: int) -> str:
    """Say a number as a call."""
    spoken = digits(n) if n > 9 and rng.random() < 0.5 else number(n)
    return spoken if n > 9 and rng.random() < 0.5 else f"pair {spoken}"


def colours() -> str:
    """Say two colours in either order."""
    ring, tip = rng.choice(RINGS), rng.choice(TIPS)
    return f"{ring} {tip}" if rng.random() < 0.55 else f"{tip} {ring}"


def coded() -> str:
    """Say a number with the colours that belong to it, or, one time in seven, with others."""
    n = a_number()
    ring, tip = RING_ORDER[(n - 1) % 5], TIP_ORDER[(n - 1) // 5 % 5]
    ring = rng.choice(["slate", "grey", "gray"]) if ring == "slate" else ring
    tip = rng.choice(["violet", "purple", "mauve"]) if tip == "violet" else tip
    said = colours() if rng.random() < 0.15 else f"{ring} {tip}" if rng.random() < 0.7 else f"{tip} {ring}"
    return f"{called(n)} {said}"


def coming() -> str:
    """Say a sentence that the vocabulary will have."""
    text = rng.choice(COMING)
    holes = {
        "{n}": lambda: called(a_number()),
        "{m}": lambda: number(a_number()),
        "{c}": colours,
        "{d}": lambda: rng.choice(DIGITS),
    }
    for hole, fill in holes.items():
        while hole in text:
            text = text.replace(hole, fill(), 1)
    return text


def of_the_grammar() -> str:
    """Say any sentence of the program's own grammar; faults are asked for more often."""
    scope = Scope(ALL_INTENTS, digits=rng.choice([2, 3, 3, 4]))
    row = next(e for e in ENTRIES if e.intent is MarkFault) if rng.random() < 0.2 else rng.choice(ENTRIES)
    if row.intent is CallPair and rng.random() < 0.5:
        return colours()
    return " ".join(sample(row.voice(scope), rng))


def ours() -> str:
    """Say a sentence of ours."""
    chance = rng.random()
    if chance < 0.22:
        return digits(
            rng.choice(
                [rng.randrange(10, 100), rng.randrange(100, 1000), rng.randrange(100, 1000), rng.randrange(1000, 10000)]
            )
        )
    if chance < 0.35:
        return rng.choice(["", "", "pair "]) + number(a_number())
    if chance < 0.53:
        return rng.choice(["", "", "", "pair "]) + colours()
    if chance < 0.65:
        return coded()
    if chance < 0.78:
        return coming()
    while (text := of_the_grammar()) in GOING:
        pass
    return text


def with_pauses(text: str) -> str:
    """Put commas where a speaker pauses: mostly between number and colours, now and then inside a digit string."""
    words = text.split()
    out = []
    for word, after in zip(words, [*words[1:], ""], strict=True):
        edge = word in NUMBER_WORDS and after in COLOURS
        inside = word in DIGITS and after in DIGITS
        out.append(word + ("," if (edge and rng.random() < 0.5) or (inside and rng.random() < 0.1) else ""))
    return " ".join(out)


def talk() -> str:
    """Say something at the place of work that is no entry."""
    text = rng.choice(TALK)
    fills = {"{c}": sorted(COLOURS - {"mauve", "slate"}), "{t}": THINGS, "{p}": PLACES, "{w}": PEOPLE}
    for hole, values in fills.items():
        while hole in text:
            text = text.replace(hole, rng.choice(values), 1)
    while "{n}" in text:
        text = text.replace("{n}", number(rng.randrange(2, 300)), 1)
    return text


def english(folder: Path) -> tuple[list[str], dict[str, int]]:
    """Give short sentences of the files of a folder, and how often each word comes."""
    sentences, count = set(), dict[str, int]()
    for path in sorted(folder.iterdir()):
        if path.suffix in (".dat", ".u8") or not path.is_file():
            continue
        text = path.read_text("utf8", "ignore")
        for word in re.findall(r"\b[a-z]{3,10}\b", text):
            count[word] = count.get(word, 0) + 1
        for part in re.split(r"[\n%]{2,}|(?<=[.!?]) +|\n\t*-- ", text):
            said = re.sub(r"\s+", " ", part).strip(" \"'")
            if (
                re.fullmatch(r"[A-Za-z',.!? -]+", said)
                and len(said.split()) >= 2
                and len(said) < LONGEST_TALK
                and not said.isupper()
            ):
                sentences.add(said.rstrip(" .!?,").lower())
    return sorted(sentences), count


def others(folder: Path, vocabulary: Sequence[str]) -> list[tuple[str, str, str]]:
    """Give all items that are not ours."""
    automaton = text_sentences(Scope(ALL_INTENTS, digits=4)).automaton
    found, count = english(folder)
    rng.shuffle(found)
    words = [w for w, n in sorted(count.items()) if n >= 5 and w not in vocabulary]
    words = rng.sample(words, min(len(words), WORDS_OTHER))
    texts = found[: TALKED // 2] + [talk() for _ in range(TALKED // 3)] + list(NEAR) * 6
    texts += [
        " ".join(rng.sample([rng.choice(words), rng.choice([rng.choice(words), rng.choice(vocabulary)])], 2))
        for _ in range(TALKED // 6)
    ]
    texts = [text for text in texts if not automaton.may_end(automaton.after(text.split()))]
    return [("talk", text + rng.choice([".", ".", "?", "!"]), text) for text in texts] + [
        ("other", word + rng.choice([".", "?", ""]), word) for word in words
    ]


def main() -> None:
    """Write what is to be said."""
    pool = [ours() for _ in range(SENTENCES + JOINED)]
    vocabulary = sorted({word for text in pool for word in text.split()})
    items: list[tuple[str, str, str]] = []
    for text in pool[:SENTENCES]:
        paused = with_pauses(text)
        items.append(("say", paused + rng.choice([".", ".", "?", "!", ""]), paused))
    core = {*NUMBER_WORDS, *COLOURS, "pair"}
    for word in vocabulary:
        for _ in range(130 if word in core else 35):
            items.append(("word", word + rng.choice([".", ".", ",", "?", ""]), word))
    rest = others(Path(sys.argv[1]), vocabulary)
    items += rest
    rng.shuffle(items)
    print(
        {kind: sum(item[0] == kind for item in items) for kind in ("say", "word", "talk", "other")},
        len(vocabulary),
        "words of ours",
    )
    out = {"items": items, "join": [t for t in pool[SENTENCES:] if len(t.split()) > 1], "vocabulary": vocabulary}
    Path(sys.argv[2]).write_text(json.dumps(out | {"other": sorted({i[2] for i in rest if i[0] == "other"})}))


if __name__ == "__main__":
    main()
