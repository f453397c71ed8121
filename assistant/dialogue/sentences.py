"""Every sentence that the session speaks, in one list, each with what it may hold.

Each is to have one meaning by ear: a noun before a bare count ("total two five"), no two numbers without a word
between, "not done" for what still waits (never "open", which is a fault, nor "left", which is a side). The word
"confirmed" stands only where a pair has just been confirmed. Fixed words come first and what matters last, since
the end of a sentence is heard best. The checks before the work stand in `checks`, the words of help in
`words.vocabulary`. Must not decide anything.
"""

from dataclasses import dataclass, field


def capital(text: str) -> str:
    """Begin with a capital."""
    return f"{text[:1].upper()}{text[1:]}"


@dataclass(frozen=True, slots=True)
class Sentence:
    """One or more sentences with places for what they tell."""

    text: str
    example: dict[str, str] = field(default_factory=dict)
    """What may stand in each place."""

    def __call__(self, **told: str) -> str:
        """Fill the places, and begin with a capital."""
        return capital(self.text.format(**told))

    def __str__(self) -> str:
        """Give the example."""
        return self(**self.example)


def _says(_text: str, **example: str) -> Sentence:
    return Sentence(_text, example)


_PAIR = "three, green white"
_TWO = "pair six and pair nine"

# --- before the work and after it

CAUTION = _says(
    "This tool keeps count of pairs. It does not test for voltage, gas or traffic. "
    "Follow your employer's rules, the local code and the licensed or qualified person on site; "
    "where they differ from this tool, they win."
)
SITE_RULES = _says("Your site rules come first.")
SPOKEN_CAUTION = _says("Check for voltage before you touch. Your site rules come first.")
SOUND_IS_KEPT = _says("Every utterance is kept as sound with the log. Tell those who are near.")
RANGE_OPENED = _says("{size} pair cable, pairs {run}.", size="five zero", run="one through five zero")
CABLE_OPENED = _says("{size} pair cable.", size="five zero")
PLAN_OPENED = _says("{title}. Total joints: {count}.", title="splice at the yard", count="nine one")
UNTITLED = _says("splice plan")
ANY_ORDER_OPENED = _says("Pairs in any order. Call a pair.")
RESUMED = _says("Resumed.")
ENTRY_LOST = _says("The last entry was cut off and is not counted.")
VOLTAGE_AGAIN = _says("Check for voltage again.")
TOTAL_DONE = _says("Total done: {count}.", count="two five")
TOTAL_NOT_DONE = _says("Total not done: {count}.", count="two five")
TOTAL_SKIPPED = _says("Of them skipped, total {count}.", count="two")
TOTAL_FAULTY = _says("Of them faulty, total {count}.", count="one")
TOTAL_JOINED_FAULTY = _says("Of those done, with a fault, total {count}.", count="one")
TOTAL_DEAD = _says("Total dead: {count}.", count="seven")
TOTAL_SPARE = _says("Total spare: {count}.", count="one")
NOT_DONE = _says("Not done: {pairs}.", pairs=_TWO)
FAULTY_NOT_JOINED = _says("Faulty and not joined: {pairs}.", pairs=_TWO)
JOINED_WITH_FAULT = _says("Joined with a fault: {pairs}.", pairs=_TWO)
LEFT_FOR_ANOTHER_DAY = _says("Put off: {pairs}.", pairs=_TWO)
FINISH_ANYWAY = _says("That is final. Finish all the same?")
FINISHED = _says("Finished.")
STOPPED_FOR_TODAY = _says("Stopped for today. The splice is not finished.")
GO_ON = _says(
    "{name}, begun on {day}{by}, total done {count}. Go on with it?",
    name="splice at the yard",
    day="two five November",
    by=", last by crew one",
    count="four three zero",
)
GO_ON_FINISHED = _says(
    "{name} was finished on {day}{by}, total done {count}. Take it up again?",
    name="splice at the yard",
    day="two five November",
    by=", last by crew one",
    count="nine zero zero",
)
BEGIN_ANEW = _says("Begin anew? Then nothing that is done counts here.")
GOING_ON = _says(
    "Going on{who}: total done {count}, total not done {waiting}{put_off}.",
    who=", crew two after crew one",
    count="four three zero",
    waiting="four seven zero",
    put_off=", of them put off, total two",
)
FAULTS_OUTSTANDING = _says("Faults outstanding: {pairs}.", pairs=_TWO)
NO_FAULT_OUTSTANDING = _says("No fault outstanding.")
TO_CALL_AGAIN = _says("To be called again, since the logs do not tell: {pairs}.", pairs=_TWO)
NOT_A_TEST = _says("A confirmation by voice or key is not an electrical test.")
DO_THAT_FIRST = _says("Do that first.")
SAY_YES_WHEN_DONE = _says("Say yes when it is done.")

# --- what is expected

NEXT = _says("Next {joint}.", joint=_PAIR)
NEXT_IN_BRIEF = _says("{joint}.", joint=_PAIR)
BACK_TO = _says("Back to {joint}.", joint=_PAIR)
EXPECTED = _says("Expected {joint}.", joint=_PAIR)
MARKED_ALREADY = _says("It is marked {faults}.", faults="open")
PROTECTED = _says("Protected, {reason}.", reason="alarm circuit")
LEAVE = _says("Leave {pairs}, {kind}{why}.", pairs="pairs four through six", kind="dead", why=", cut off")
CABLE = _says("Cable {name}.", name="west")
ENTERED = _says("{place}.", place="group two, binder orange white")
GROUP_CLOSED = _says("{group} closed.", group="group two")
GROUP_LEFT = _says("Leaving {group}. Not done there: {pairs}.", group="group two", pairs=_TWO)
NO_PAIR_WAITS = _says("No pair waits.")
CALL_A_PAIR = _says("Call a pair.")
CALL_ANOTHER = _says("Call another pair.")
ASK_FOR_A_PAIR = _says("Ask for a pair.")

# --- entries

CONFIRMED = _says("{pair}, confirmed.", pair=_PAIR)
CONFIRMED_FAULTY = _says("{pair}, confirmed, and marked {faults}.", pair=_PAIR, faults="open")
SKIPPED = _says("{pair}, skipped.", pair=_PAIR)
MARKED = _says("{pair}, marked {fault}{other}.", pair=_PAIR, fault="split", other=" with six, orange red")
MARKED_NOT_JOINED = _says("{pair}, not joined, marked {fault}{other}.", pair=_PAIR, fault="open", other="")
MENDED_WHERE_MADE = _says("It is mended at the splice where it was made; mending it elsewhere leaves two faults.")
CLEARED_TEST_AGAIN = _says("{pair}, {fault} cleared. To be tested again.", pair=_PAIR, fault="open")
CLEARED = _says("{pair}, {fault} cleared.", pair=_PAIR, fault="open")
NO_SUCH_FAULT = _says("{pair} is not marked {fault}.", pair=_PAIR, fault="open")
THAT_PAIR = _says("that pair")
REOPENED = _says("{pair}, opened again.", pair=_PAIR)
NOT_JOINED_YET = _says("{pair} is not done yet.", pair=_PAIR)
JOIN_PROTECTED = _says("{pair} is protected, {reason}. Joined all the same?", pair=_PAIR, reason="alarm circuit")
CALL_PROTECTED_FIRST = _says(
    "Not logged. Call it first, it is protected, {reason}: {pair}.", pair=_PAIR, reason="alarm"
)
NAME_ONE_PAIR = _says("Name one pair of this work.")
NAME_THE_PAIR = _says("Not logged. Name the pair.")
NAME_TWO_PAIRS = _says("Not logged. Name two pairs of this work.")
FAULTS = _says("Marked, total pairs {count}: {pairs}.", count="two", pairs="pair four, open; pair nine, short")
FAILED_A_TEST = _says("{pair}, failed {tests}", pair="pair four", tests="continuity")
NONE_MARKED = _says("No pair is marked.")
UNDONE = _says("Undone: {what}{pair}.", what="fault of ", pair=_PAIR)
UNDONE_EARLIER = _says(
    "Undone, of before the break{by}: {what}{pair}.", what="fault of ", pair=_PAIR, by=" by the day shift"
)
THAT_STAYS = _says("A note or a reading stays in the log. Say undo that again for the entry before it.")
NO_MICROPHONE = _says("Nothing can be recorded, there is no microphone. Write note, and the text.")
NOTHING_TO_UNDO = _says("There is nothing to undo.")
NOTHING_TO_UNDO_HERE = _says("There is nothing to undo in this verification. End verification first.")
MOVED_STANDING = _says("It is already {standing}.", standing="done")
NOTE_NOW = _says("Note: speak after this.")
NOTE_KEPT = _says("Note kept.")
NOTE_LOST = _says("The note could not be recorded.")

# --- what was not logged

NOT_LOGGED = _says("Not logged.")
HEARD = _says("Heard {pair}{standing}.", pair="four, brown white", standing=", already done")
HEARD_FAR = _says("Heard {pair}, to {colours}.", pair="seven, orange red", colours="slate white")
HEARD_FAR_SIDE = _says(
    "Heard the far side of {pair}{standing}.", pair="two, orange white; to new, slate red", standing=""
)
FAR_GOES_TO = _says(
    "{colours} on {end} goes to {pair}{standing}.",
    colours="slate white",
    end="new",
    pair="five, slate white",
    standing=", already done",
)
FAR_IS_FREE = _says("{colours} on {end} is {kind}.", colours="slate white", end="new", kind="spare")
NOT_THERE_ON_FAR_SIDE = _says("The far side ends before those colours.")
SEVERAL_FAR_SIDES = _says("Its far sides differ. Call the first pair alone.")
CALL_BOTH_SIDES = _says("The expected pair has those colours on its far side. Call both sides.")
CALL_WHOLE = _says("Out of turn, call it by number and colours.")
HEARD_BOTH = _says("Heard {number} and {colours}.", number="six", colours="orange white")
NUMBER_IS = _says("{pair}.", pair="six, blue red")
COLOURS_ARE = _says("{colours} is {number}.", colours="orange white", number="two")
WHICH = _says("Which? Call it again.")
TOO_EARLY = _says("Not logged: that came before the pair was told.")
TOO_EARLY_TO_ANSWER = _says("Not taken: that came before the question.")
NO_ANSWER = _says("Not logged: that was no answer to the question, which is closed.")
ALREADY = _says("already {standing}", standing="done")
NOT_IN_PLAN = _says("not in this plan")
OUTSIDE_RANGE = _says(
    "Pair {number} is not in this work, which is pairs {run}.", number="nine nine", run="one through nine"
)
OUTSIDE_PLAN = _says("Pair {number} is not called for any joint of this plan.", number="nine nine")
NOT_NOW = _says("Not now.")
ONLY_ANSWERS = _says("Not now: this session only answers questions.")
ON_HOLD = _says("On hold. Say carry on.")
SAY_PAIR_FIRST = _says("Say pair before a number, or add the colours.")
SAY_IT_AGAIN = _says("Say again: pair and its number, or both colours.")
SAY_YES_OR_NO = _says("Say yes, or no.")
NOT_UNDERSTOOD = _says("Not understood.")
NOT_UNDERSTOOD_WORDS = _says("Not understood: {call}. Say help to hear what is understood.", call="hello")
NOT_UNDERSTOOD_KEYS = _says("Not understood: {call}. Slash zero for help.", call="*99")
DID_YOU_SAY = _says("Did you say, {call}?", call="green white")
KEY_UNKNOWN = _says("That key does nothing here. What was keyed is cleared.")
KEY_HELD = _says("A key was held down. What was keyed is cleared.")
KEY_NUM_LOCK = _says("Num Lock is off. Press it once. What was keyed is cleared.")
KEY_TOO_LONG = _says("An entry was not finished. What was keyed is cleared.")

# --- questions answered

PAIR_IS = _says("Pair {pair}{place}.", pair="four seven, orange violet", place=", group two, binder orange white")
IT_IS_THE_LAST = _says("It is the last pair.")
NONE_BEFORE = _says("There is none before the first pair.")
NONE_AFTER = _says("There is none after the last pair.")
MAY_BE = _says("{colours} may be {pairs}. Say the group.", colours="blue white", pairs="pair one or pair two six")
GROUP_IS = _says("{group}. Pairs {run}.", group="group two, binder orange white", run="two six through five zero")
GROUPS_ARE = _says(
    "{unit}. Total groups: {count}. Pairs {run}.", unit="super unit red", count="four", run="one through nine"
)
THE_CABLE = _says("the cable")
IN_EACH_SUPER_UNIT = _says("There is one in each super unit. Say the super unit.")
NO_GROUP_YET = _says("No group is in work yet.")
NOTHING_ASKED_YET = _says("Nothing has been asked yet.")
NOTHING_ENTERED_YET = _says("Nothing is entered yet.")
LAST_ENTRY = _says("Last entry {pair}.", pair=_PAIR)
BEFORE_THAT = _says("Before that {pair}, {standing}.", pair=_PAIR, standing="done")
STANDS_NOT_DONE = _says("not done")
STANDS_DONE = _says("done")
STANDS_SKIPPED = _says("skipped")
STANDS_MARKED = _says("marked {faults}", faults="open, wet")
STANDS_DONE_MARKED = _says("done, and marked {faults}", faults="open")
NO_SUCH_PAIR = _says(
    "There is no pair{number}. The cable has pairs {run}.", number=" nine nine", run="one through five zero"
)
NO_SUCH_COUNT = _says(
    "There is no pair{number}. Cable {name} carries {counts}.",
    number=" nine",
    name="west",
    counts="oak one through eight",
)
NO_SUCH_SERVICE_PAIR = _says("There is no such service pair. The cable has service pairs {run}.", run="one through six")
NO_SERVICE_PAIRS = _says("There is no such service pair. The cable has none.")
NO_SUCH_GROUP = _says("There is no group{number}. The cable has groups {run}.", number=" five", run="one through four")
ONE_GROUP = _says("There is no group{number}. The cable is one group.", number=" five")
NO_25TH_BINDER = _says("Violet slate is no binder. Group two four is followed by the next super unit.")
NO_SUCH_SUPER_UNIT = _says("There is no such super unit. Total super units: {count}.", count="two")
GROUP_ENDS_BEFORE = _says("The cable ends before those colours in this group.")
GROUP_AND_BINDER_DISAGREE = _says("That group number and that binder do not agree.")
ONE_CABLE = _says("There is only one cable.")
NO_SUCH_CABLE = _says("The plan has cables {run}.", run="one through three")
NO_PAIR_ON_CABLE = _says("No pair waits on cable {name}.", name="west")
AGAIN = _says("I say again: {text}", text="Next three, green white.")
NOTHING_SAID_YET = _says("Nothing has been said yet.")

# --- built otherwise than planned

BOTH_SIDES = _says("both sides")
ON_CABLE = _says("cable {name}", name="west")
USE_SPARE = _says(
    "On {where}: use {spare}, instead of {pair}?",
    where="cable west",
    spare="pair nine nine, brown violet",
    pair="pair four seven, orange violet",
)
ADD_JOINT = _says("A joint that is not planned: {pairs}?", pairs="cable west, pair five one, blue white")
PUT_OFF = _says("Leave {pair}, {reason}?", pair=_PAIR, reason="found dead")
REPLACED = _says("{pair} is replaced.", pair=_PAIR)
ADDED = _says("A joint is added.")
LEFT_FOR_LATER = _says("{pair}, put off, {reason}.", pair=_PAIR, reason="found dead")
SAY_THE_CABLE = _says("Not logged. Say the cable of each pair too: {cables}.", cables="cable one is west")
CABLE_NUMBER = _says("cable {number} is {name}", number="one", name="west")
CANNOT_REPLACE = _says("Not logged. Pair {number} is in no joint of this work there, or in two.", number="nine nine")
NO_FREE_PAIR = _says("Not logged. Pair {number} is no free pair there.", number="nine nine")
OPEN_IT_FIRST = _says("Not logged. Say redo first, it is done: {pair}.", pair=_PAIR)
TAG_REVERSAL = _says("Reversed on purpose, and tagged: {pair}?", pair=_PAIR)
UNTAG_REVERSAL = _says(
    "{pair} is reversed on purpose and tagged; that is to stay so. Take the tag off all the same?", pair=_PAIR
)
REVERSAL_TAGGED = _says("{pair}, reversed on purpose and tagged.", pair=_PAIR)
REVERSAL_UNTAGGED = _says("{pair}, no longer reversed on purpose.", pair=_PAIR)
STANDS_PUT_OFF = _says("put off, {reason}", reason="found dead")

# --- in any order

GROUP_TAKEN = _says("{group}: colours alone count there.", group="group two, binder orange white")
CABLE_TAKEN = _says("Cable {name} in hand.", name="west")

# --- how it is talked

TALK_BRIEF = _says("Brief talk: a rising tone means confirmed, and the next pair follows.")
TALK_FULL = _says("Full talk.")
TALK_RATE = _says("Words a minute: {rate}.", rate="one seven two")
TALK_LOUDNESS = _says("Loudness in percent: {loudness}.", loudness="one four one")
TALK_AT_ITS_END = _says("It goes no further.")

# --- calling out

CALLING_OUT = _says(
    "Calling out, total pairs: {count}. {pace} Say hold on to stop.", count="two five", pace="One every three seconds."
)
PACE = _says("One every {interval}, or as long as a call takes.", interval="three seconds")
ALL_CALLED = _says("All called. Say confirm module, or call single pairs.")
CALLED_OUT = _says("{joint}.", joint=_PAIR)
NONE_CALLED_YET = _says("No pair is called out yet.")
CALLED_UP_TO = _says("Called out up to {pair}.", pair=_PAIR)
CALLING_DROPPED = _says("Undone: the calling out. Nothing of it is logged.")
NOTHING_CALLED_OUT = _says("No pairs are called out. Say call them out.")
SAY_CONFIRM_MODULE = _says("Pairs are called out. Say confirm module, or call the pair.")
MODULE_CONFIRMED = _says(
    "Total pairs: {count}, from {first} through {last}, confirmed.",
    count="six",
    first="five, slate white",
    last="one zero, slate red",
)
LEFT_OUT = _says("Not among them, protected: {pairs}. Each is called by itself.", pairs=_TWO)
PASSED_OVER = _says("Not among them: {pairs}.", pairs=_TWO)

# --- verification

VERIFYING = _says("Tests are made with your test set; this only logs what you say. Say test good, or mark the fault.")
IN_TURN = _says("{test}: {pair}.", test="group two, continuity", pair=_PAIR)
TESTED_GOOD = _says("{pair}, {test} good.", pair=_PAIR, test="continuity")
TESTED_BAD = _says("{pair}, {test} failed. To mark its fault, name the pair.", pair=_PAIR, test="continuity")
WHICH_TEST_FAILED = _says("Not logged. Which test failed? Mark its fault.")
GROUP_TESTED = _says(
    "Total pairs: {count}, from {first} through {last}, {test} good.",
    count="two four",
    first="two six, blue white",
    last="five zero, slate violet",
    test="continuity",
)
NONE_TO_TEST = _says("Not logged. No pair of {group} waits for {test}.", group="group two", test="continuity")
MARKED_LEFT_OUT = _says("Not among them, marked or failed: {pairs}.", pairs=_TWO)
UNJOINED_LEFT_OUT = _says("Not joined: {pairs}.", pairs=_TWO)
TESTED_FAILED = _says("{pair}, {test} failed, marked {fault}.", pair=_PAIR, test="shorts", fault="cross")
VERIFIED = _says(
    "Verification. Pairs tested for {tests}, total {whole}. Pairs failed, total {failed}.",
    tests="continuity, grounds, shorts",
    whole="two five",
    failed="one",
)
NOTHING_JOINED = _says("No pair is joined yet.")
CALL_A_JOINED_PAIR = _says("Not logged. Call a pair that is joined.")
READING = _says("{pair}, reading {number} {unit}.", pair=_PAIR, number="five zero zero", unit="megohms")

# --- the machine

HOLDING = _says("Holding. Say carry on.")
CARRYING_ON = _says("Carrying on.")
SOUND_LOST = _says("Sound was lost. Say the last call again.")
DEVICE_FAILED = _says("The {device} failed. Keys still work.", device="speaker")
LOG_STOPPED = _says("Nothing is logged. The log cannot be written: {why}.", why="the disk is full")
LOG_ONE_LEFT = _says(
    "One of the two logs cannot be written: {why}. The other goes on. Say, I heard that.", why="it was taken away"
)
LOG_MENDED = _says("The log had trouble. It is written again.")
LOG_SLOW = _says("The disk of the log is slow.")
MICROPHONE_GONE = _says("The microphone is gone. Keys still work.")
MICROPHONE_BACK = _says("The microphone is back.")
MICROPHONE_SILENT = _says("No sound comes from the microphone. Is it muted?")
MICROPHONE_CLIPPED = _says("Too loud: move the microphone away, or turn it down.")


def all_sentences() -> dict[str, Sentence]:
    """Give every sentence by its name, in the order of this list."""
    return {name: value for name, value in globals().items() if isinstance(value, Sentence)}
