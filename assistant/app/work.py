"""`work`: the live session. Chooses the adapters, checks them before the first word, and runs the loop."""

import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from assistant import __version__
from assistant.adapters.audio_file import AudioFile
from assistant.adapters.console import PipedLines, SystemClock, TerminalScreen, TypedLines
from assistant.adapters.kept_sound import FlacFolder, SoundNotes
from assistant.adapters.keypad import Keypad, KeysFile
from assistant.adapters.microphone import Microphone
from assistant.adapters.speech_detector import SileroDetector
from assistant.adapters.terminal import TakesKeys, echo, raw_terminal, watch_terminal
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.adapters.voices import FileVoice, PrintVoice, SpeakerVoice
from assistant.app import ears as ears_here
from assistant.app import seals, snapshots
from assistant.app.earlier import find_earlier, goes_on_from, is_undecided
from assistant.app.hearing_thread import HearingThread
from assistant.app.inbox import Inbox
from assistant.app.loop import Feeds, ListeningGate, Loop
from assistant.app.plan import load_plan
from assistant.app.stopping import StopSignals
from assistant.app.tune import load_tuning
from assistant.cable.colour_code import Order
from assistant.cable.makeup import Cable
from assistant.cable.splice_plan import Site, straight_sequence
from assistant.dialogue.messages import (
    USUAL_LOUDNESS,
    USUAL_RATE,
    Attendance,
    DeviceFailed,
    Input,
    MicrophoneTrouble,
    ResumeAsked,
    SessionEnded,
    SessionOpened,
    SessionSettings,
    StartAsked,
    Talk,
)
from assistant.dialogue.state import State, initial
from assistant.errors import AssistantError
from assistant.hearing.tuning import UNTUNED
from assistant.ports import AudioSource, Clock, KeptSounds, Screen, Voice
from assistant.session.journal import FileJournal, load, read_file, whole_beginning
from assistant.session.replay import rebuild, settled
from assistant.session.salvage import LoadedLog, first_and_last, read_log

LOG_SUFFIX = ".jsonl"


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkOptions:
    """What a live session is to be, as asked for on the command line."""

    plan: Path | None = None
    site: Site | None = None
    short_checks: bool = False
    any_order: bool = False
    cable: int | None = None
    first: int | None = None
    last: int | None = None
    asking: bool = False
    order: Order | None = None
    """None for the usual, as the talk, the rate and the loudness."""
    binder_order: Order | None = None
    log: Path
    resume: str | None = None
    """None for a new session; empty for the newest unfinished one; else a log file."""
    audio: Path | None = None
    keys: Path | None = None
    typed: bool = False
    voice: str = "speaker"
    ears: str | None = None
    vosk_model: Path | None = None
    microphone: str | None = None
    untuned: bool = False
    """Do without what was learnt of a voice."""
    speaker: str | None = None
    person: str = ""
    place: str = ""
    talk: Talk | None = None
    words_a_minute: int | None = None
    loudness: int | None = None
    """In percent of the usual."""
    keep_sound: bool = False
    go_on: str | None = None
    """Go on with the earlier logs without being asked; empty for those in the folder, else one of them."""
    new: bool = False
    """Leave earlier logs of the splice alone."""
    copy: Path | None = None
    """Folder of a second, equal log, on another disk or card."""
    assigned_keys: Mapping[str, str] = field(default_factory=dict)
    """Names of keys that stand for keys of the pad, as of a foot switch."""
    settings_told: str = ""
    """What is set by the environment or the settings file, told where the session begins."""


@dataclass(slots=True)
class _Session:
    state: State
    records: int
    journal: FileJournal
    first: Input
    snapshots: snapshots.Snapshots


def work(
    options: WorkOptions,
    *,
    source: AudioSource | None = None,
    screen: Screen | None = None,
    clock: Clock | None = None,
) -> tuple[State, Path]:
    """Run a session to its end and give its last state and its log.

    `source` takes the place of the microphone; the demonstration uses it.

    Raises:
        AssistantError: something asked for cannot be had, or the log cannot be written.
        CableError: the cable or the range cannot be.

    """
    screen = screen or TerminalScreen()
    clock = clock or SystemClock()
    inbox, ear = Inbox(), ListeningGate()
    with StopSignals() as stops, ExitStack() as stack:
        request = None if options.resume is not None else _request(options, screen)
        voice = _voice(options, inbox, screen)
        stack.callback(voice.close)
        tick = voice.tick if isinstance(voice, SpeakerVoice) else lambda: None
        feeds = _Feeding(options, inbox, ear, screen, stack, stops, source, tick)
        feeds.prepare()
        who = feeds.who_hears()
        for line in options.settings_told.splitlines():
            screen.show(line)
        session = (
            _resumed(options, who, screen) if request is None else _begun(options, replace(request, who=who), clock)
        )
        stack.callback(session.journal.close)
        for number, path in enumerate(session.journal.health.places):
            screen.show(f"{'Copy' if number else 'Log'}: {path}")
        if session.journal.on_one_disk:
            screen.show("The copy is on the same disk as the log: it helps where one file is spoilt, not the disk.")
        inbox.put_own(session.first)
        sounds = FlacFolder(session.journal.path) if who.keeps_sound else None
        loop = Loop(
            state=session.state,
            records=session.records,
            journal=session.journal,
            inbox=inbox,
            voice=voice,
            screen=screen,
            clock=clock,
            ear=ear,
            sounds=sounds,
        )
        loop.after_record = session.snapshots.after
        stops.hand_over(loop.stop)
        feeds.start(session.journal.path.parent, sounds)
        state = loop.run()
    session.snapshots.end(state, loop.records)
    for path in session.journal.health.places:
        _seal_if_there_is_a_key(path, screen)
    _refuse_undecided(state, session.journal.path)
    return state, session.journal.path


def _refuse_undecided(state: State, log: Path) -> None:
    """Say that nothing was begun, where it was not answered whether the work goes on."""
    if state.undecided:
        raise AssistantError(
            f"{log}: whether to go on with the earlier logs was not answered, and nothing was begun; "
            "say yes or no, or give --go-on or --new"
        )


def _seal_if_there_is_a_key(log: Path, screen: Screen) -> None:
    key = seals.default_key()
    if not key.exists():
        return
    try:
        made = seals.seal(log, key)
    except AssistantError as error:  # the session is over and its log is safe
        screen.show(f"{error}. The log is not sealed.")
    else:
        screen.show(f"Sealed: records 1 to {made.records} by key {made.public_key[:16]}")


class _Feeding:
    """The sources of input of one session: what feeds the inbox, and when that ends."""

    def __init__(
        self,
        options: WorkOptions,
        inbox: Inbox,
        ear: ListeningGate,
        screen: Screen,
        stack: ExitStack,
        stops: StopSignals,
        source: AudioSource | None,
        tick: Callable[[], None],
    ) -> None:
        self._options = options
        self._tick = tick
        self._inbox = inbox
        self._ear = ear
        self._stops = stops
        self._screen = screen
        self._stack = stack
        self._source = source
        self._runs: list[tuple[Callable[[], None], bool]] = []
        """What to run in threads, and whether it comes to an end by itself."""
        self._heard_by = Attendance(app_version=__version__, person=options.person)
        self._has_terminal = False
        self._notes = SoundNotes(options.log)
        self._sounds: KeptSounds | None = None

    def prepare(self) -> None:
        """Open all that was asked for; nothing runs yet.

        Raises:
            AssistantError: something cannot be had.

        """
        options = self._options
        if options.typed and (options.audio or options.keys):
            raise AssistantError("work: --typed stands alone; leave out --audio and --keys")
        has_terminal = sys.stdin is not None and sys.stdin.isatty()
        if options.typed and has_terminal:
            self._watch(TypedLines(self._inbox.put, echo))
        elif options.typed:
            self._runs.append((PipedLines(self._inbox.put, self._inbox.floor.turn).run, True))
        if options.typed:
            return
        if options.keys:
            self._runs.append((KeysFile(options.keys, self._inbox.put, self._inbox.floor.turn).run, True))
        if has_terminal:
            self._watch(Keypad(self._inbox.put, echo, options.assigned_keys))
        if not options.keys or options.audio or self._source:
            self._prepare_hearing(has_terminal)

    def _watch(self, takes: TakesKeys) -> None:
        """Let keys of the terminal make entries until the session is over."""
        stop = threading.Event()

        def watch() -> None:
            watch_terminal(takes, self._inbox.floor.last_put, stop)

        self._stack.callback(stop.set)
        self._runs.append((watch, False))
        self._has_terminal = True

    def who_hears(self) -> Attendance:
        """Tell who is heard by what, after `prepare`."""
        return self._heard_by

    def start(self, notes: Path, sounds: KeptSounds | None) -> None:
        """Run every source in a thread of its own; notes and sounds go where they are to be kept.

        The session is left when all sources that come to an end have ended, or, where none does by
        itself, when all have failed.
        """
        self._notes, self._sounds = SoundNotes(notes), sounds
        if self._has_terminal:
            self._stack.enter_context(raw_terminal(self._stops.at_end))
        feeds = Feeds(self._inbox)
        counted = [run for run, ends in self._runs if ends] or [run for run, _ in self._runs]
        for _ in counted:
            feeds.begin()
        for run, _ in self._runs:
            after = feeds.done if run in counted else lambda: None
            threading.Thread(target=self._to_end, args=(run, after), name="input", daemon=True).start()

    def _to_end(self, run: Callable[[], None], after: Callable[[], None]) -> None:
        try:
            run()
        except Exception as error:  # whatever a device raises, the session goes on by the others
            self._inbox.put_own(DeviceFailed("input", str(error) or type(error).__name__))
        after()

    def _prepare_hearing(self, has_keypad: bool) -> None:
        options = self._options
        try:
            source = self._source or self._opened_source()
        except AssistantError as error:
            if options.audio or not has_keypad:
                raise
            self._screen.show(f"{error}. The keypad works.")
            return
        self._stack.callback(source.close)
        ears = ears_here.load(options.ears, options.vosk_model)
        self._screen.show("; ".join(part for part in (f"Ears: {ears.name}", ears.about) if part))
        tuning = UNTUNED if options.untuned else load_tuning()
        if tuning != UNTUNED:
            self._screen.show("Tuned to a voice; splice-assistant tune --show tells to what")
        chain = ears_here.new_chain(ears, self._tick, tuning, live=not source.waits)
        self._heard_by = replace(self._heard_by, microphone=source.name, ears=ears.name, keeps_sound=options.keep_sound)

        def listen() -> None:
            HearingThread(source, chain, SileroDetector(), self._ear, self._inbox, self._notes, self._sounds).run()

        self._runs.append((listen, source.waits))

    def _opened_source(self) -> AudioSource:
        if self._options.audio:
            return AudioFile(self._options.audio)
        return Microphone(self._options.microphone, lambda trouble: self._inbox.put_own(MicrophoneTrouble(trouble)))


def _request(options: WorkOptions, screen: Screen) -> StartAsked:
    """Say what is to begin, with what earlier logs of the splice come to; who is at work is put in later."""
    settings = _settings(options)
    if options.go_on is not None and (options.new or options.asking):
        raise AssistantError("work: --go-on goes on with earlier logs; leave out --new and --asking")
    if options.new or options.asking:
        return StartAsked(settings, Attendance(), goes_on=False if options.new else None)
    named = Path(options.go_on) if options.go_on else None
    found = find_earlier(options.log, settings, named, LOG_SUFFIX)
    for line in found.told:
        screen.show(f"Earlier logs: {line}")
    if found.work is None:
        if options.go_on is not None:
            raise AssistantError(f"{options.log}: holds no work of this splice to go on with; leave out --go-on")
        return StartAsked(settings, Attendance())
    settings = replace(settings, place=found.place)
    return StartAsked(settings, Attendance(), found.work, goes_on=None if options.go_on is None else True)


def _settings(options: WorkOptions) -> SessionSettings:
    if options.plan is not None:
        return _plan_settings(options, options.plan)
    if options.cable is None:
        raise AssistantError("work: give a plan, or the size of the cable, as in --cable 100")
    cable = Cable(options.cable)
    first = 1 if options.first is None else options.first
    last = cable.pairs if options.last is None else options.last
    straight_sequence(cable, first, last)
    return replace(_common_settings(options), cable_pairs=cable.pairs, first=first, last=last, asking=options.asking)


def _plan_settings(options: WorkOptions, path: Path) -> SessionSettings:
    if options.cable or options.first is not None or options.last is not None or options.asking:
        raise AssistantError("work: a plan says which pairs; leave out --cable, --from, --to and --asking")
    plan, text = load_plan(path)
    if not plan.to_join:
        raise AssistantError(f"{path}: nothing is to be joined; give a join that is not dead or spare")
    return replace(_common_settings(options), plan_text=text, site=options.site or plan.site)


def _common_settings(options: WorkOptions) -> SessionSettings:
    order = options.order or Order.RING_FIRST
    return SessionSettings(
        pair_order=order,
        binder_order=options.binder_order or order,
        site=options.site,
        short_checks=options.short_checks,
        any_order=options.any_order,
        place=options.place,
        talk=options.talk or Talk.FULL,
        words_a_minute=USUAL_RATE if options.words_a_minute is None else options.words_a_minute,
        loudness=USUAL_LOUDNESS if options.loudness is None else options.loudness,
    )


def _begun(options: WorkOptions, request: StartAsked, clock: Clock) -> _Session:
    stamp = clock.now().strftime("%Y%m%d-%H%M%S")
    number, path = 1, options.log / f"session-{stamp}{LOG_SUFFIX}"
    while path.exists():
        number += 1
        path = options.log / f"session-{stamp}-{number}{LOG_SUFFIX}"
    journal = FileJournal.create(path, _copy_of(path, options))
    return _Session(initial(), 0, journal, request, snapshots.Snapshots(journal))


def _copy_of(path: Path, options: WorkOptions) -> Path | None:
    if options.copy is None:
        return None
    if options.copy.resolve() == path.parent.resolve():
        raise AssistantError(f"{options.copy}: is the folder of the log itself; give --copy one on another disk")
    return options.copy / path.name


def _resumed(options: WorkOptions, who: Attendance, screen: Screen) -> _Session:
    if options.go_on is not None or options.new:
        raise AssistantError("work: --resume goes on with one log, the others stay; leave out --go-on and --new")
    if options.plan or options.cable or options.first or options.last or options.asking or options.place:
        raise AssistantError(
            "work: --resume goes on as the log says; leave out the plan, --place, --cable, --from and --to"
        )
    talks = (options.talk, options.words_a_minute, options.loudness, options.order, options.binder_order)
    if any(one is not None for one in talks):
        raise AssistantError(
            "work: --resume talks as the log says; leave out --talk, --rate, --loudness, --order and --binder-order, "
            "and say brief talk, faster talk or louder talk"
        )
    path = Path(options.resume) if options.resume else _newest_unfinished(options.log, screen)
    found = snapshots.find(path)
    journal, loaded = FileJournal.reopen(
        path, _copy_of(path, options), settle=settled, known=found.known if found else None
    )
    state = rebuild(loaded.records, found.state if found and loaded.known else None)
    if not state.opened or state.ended:
        journal.close()
        why = "is ended" if state.ended else "holds no session"
        raise AssistantError(f"{path}: {why}; give its plan to work to go on with the splice, or --cable")
    if state.undecided:
        journal.close()
        raise AssistantError(f"{path}: nothing was begun in it; give its plan to work instead of --resume")
    if (later := _gone_on_in(path)) is not None:
        journal.close()
        raise AssistantError(f"{path}: the work went on from it in {later.name}; go on with that one")
    keeper = snapshots.Snapshots(journal, loaded)
    keeper.after(state, loaded.last_number)
    return _Session(state, loaded.last_number, journal, ResumeAsked(len(loaded.torn), who), keeper)


def _as_resumed(path: Path) -> LoadedLog:
    """Read a log as going on with it would: a damaged end is put up with.

    Raises:
        AssistantError: it cannot be gone on with.

    """
    data = read_file(path)
    found = read_log(data)
    return settled(found) if whole_beginning(found, data) is not None else load(path)


def _is_unfinished(path: Path) -> bool:
    """Tell whether a log can be gone on with; where it is whole, without reading all of it.

    Raises:
        AssistantError: it is damaged, not at its end alone.

    """
    data = read_file(path)
    if is_undecided(data):
        return False
    ends = first_and_last(data)
    if ends is not None:
        first, last = ends
        return any(isinstance(fact, SessionOpened) for fact in first.facts) and not any(
            isinstance(fact, SessionEnded) for fact in last.facts
        )
    state = rebuild(_as_resumed(path).records)
    return state.opened and not state.ended


def _longer_one(path: Path, paths: list[Path]) -> Path | None:
    """Give the log that goes on where this one ends: it begins with all the records of this one, byte for byte."""
    data = read_file(path)
    whole = data[: data.rfind(b"\n") + 1]
    for other in paths if whole else ():
        with suppress(OSError), other.open("rb") as file:  # what cannot be read does not go on with it
            if file.read(len(whole)) == whole and b"\n" in file.read():
                return other
    return None


def _gone_on_in(path: Path) -> Path | None:
    """Give the log in the same folder that goes on from this one: nobody is to go on from one place twice."""
    data = read_file(path)
    for other in sorted(path.parent.glob(f"*{LOG_SUFFIX}")):
        if other.name == path.name:
            continue
        with suppress(AssistantError):  # what cannot be read does not go on with it
            if goes_on_from(read_file(other), data):
                return other
    return None


def _newest_unfinished(folder: Path, screen: Screen) -> Path:
    """Give the newest log that is not ended; a damaged one is passed over, and told."""
    passed: list[str] = []
    paths = sorted(folder.glob(f"*{LOG_SUFFIX}"), key=lambda path: (path.stat().st_mtime, path.name), reverse=True)
    for path in paths:
        try:
            wanted = _is_unfinished(path)
        except AssistantError as error:
            passed.append(str(error))
            continue
        longer = _longer_one(path, paths) if wanted else None
        later = _gone_on_in(path) if wanted and longer is None else None
        if longer is not None:  # as where it was taken away and written anew under another name
            passed.append(f"{path}: is the beginning of {longer.name}, in which the session went on")
        elif later is not None:
            passed.append(f"{path}: the work went on from it in {later.name}")
        elif wanted:
            for line in passed:
                screen.show(f"Passed over: {line}")
            return path
    if passed:
        raise AssistantError(f"{passed[0]}; the folder holds no other unfinished session")
    raise AssistantError(f"{folder}: holds no unfinished session; start a new one with --cable")


def _voice(options: WorkOptions, inbox: Inbox, screen: Screen) -> Voice:
    if options.voice == "print":
        return PrintVoice(inbox.put_own)
    kind, _, file = options.voice.partition(":")
    if kind == "wav" and file:
        return FileVoice(inbox.put_own, SpeechRenderer(), Path(file))
    if options.voice != "speaker":
        raise AssistantError(f"voice: {options.voice!r} is not speaker, print or wav:FILE")
    try:
        return SpeakerVoice(inbox.put_own, SpeechRenderer(), options.speaker)
    except AssistantError as error:
        screen.show(f"{error}. Answers are printed.")
        return PrintVoice(inbox.put_own)
