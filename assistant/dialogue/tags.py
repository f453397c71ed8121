"""Words of our own for every kind of input, fact and question, by which records name them.

Never import paths. The tables may only grow, so that old logs load for ever.
"""

from assistant.dialogue import messages
from assistant.dialogue.messages import Fact, Input, Question

INPUT_TAGS: dict[type[Input], str] = {
    messages.StartAsked: "start-asked",
    messages.ResumeAsked: "resume-asked",
    messages.Heard: "heard",
    messages.Typed: "typed",
    messages.KeysPressed: "keys-pressed",
    messages.KeysRefused: "keys-refused",
    messages.SpeechEnded: "speech-ended",
    messages.SoundLost: "sound-lost",
    messages.DeviceFailed: "device-failed",
    messages.MicrophoneTrouble: "microphone-trouble",
    messages.TimedOut: "timed-out",
    messages.NoteRecorded: "note-recorded",
    messages.StopAsked: "stop-asked",
}
FACT_TAGS: dict[type[Fact], str] = {
    messages.SessionOpened: "session-opened",
    messages.SessionResumed: "session-resumed",
    messages.PairConfirmed: "pair-confirmed",
    messages.FaultMarked: "fault-marked",
    messages.FaultCleared: "fault-cleared",
    messages.Reopened: "reopened",
    messages.CheckAnswered: "check-answered",
    messages.CalledOut: "called-out",
    messages.PaceSet: "pace-set",
    messages.CallingDropped: "calling-dropped",
    messages.TalkSet: "talk-set",
    messages.VerifyingBegun: "verifying-begun",
    messages.PairTested: "pair-tested",
    messages.ReadingLogged: "reading",
    messages.VerifyingEnded: "verifying-ended",
    messages.NoteKept: "note-kept",
    messages.PairSkipped: "pair-skipped",
    messages.MovedTo: "moved-to",
    messages.PairReplaced: "pair-replaced",
    messages.JointAdded: "joint-added",
    messages.PairPutOff: "pair-put-off",
    messages.ReversalTagged: "reversal-tagged",
    messages.Undone: "undone",
    messages.Mismatch: "mismatch",
    messages.LookedUp: "looked-up",
    messages.GroupNamed: "group-named",
    messages.GroupTaken: "group-taken",
    messages.Asked: "asked",
    messages.Answered: "answered",
    messages.QuestionDropped: "question-dropped",
    messages.Missed: "missed",
    messages.Held: "held",
    messages.CarriedOn: "carried-on",
    messages.Said: "said",
    messages.Repeated: "repeated",
    messages.TroubleHeard: "trouble-heard",
    messages.DeviceLost: "device-lost",
    messages.MicrophoneTroubled: "microphone-troubled",
    messages.SoundMissed: "sound-missed",
    messages.SessionLeft: "session-left",
    messages.SessionEnded: "session-ended",
}
QUESTION_TAGS: dict[type[Question], str] = {
    messages.DidYouSay: "did-you-say",
    messages.FinishAnyway: "finish-anyway",
    messages.JoinProtected: "join-protected",
    messages.SiteCheck: "site-check",
    messages.BuildOtherwise: "build-otherwise",
}
