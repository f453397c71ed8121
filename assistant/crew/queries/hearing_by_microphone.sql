-- What became of utterances, by microphone
--
-- Each utterance counts once: as not understood where the words made no entry; else as it was judged: accepted,
-- asked back ("did you say") or ignored. The microphone is the one in use at that time, since a session may go on
-- with another.
WITH utterances AS (
    SELECT r.microphone, r.log,
        CASE WHEN EXISTS (
            SELECT 1 FROM facts f WHERE f.log = r.log AND f.number = r.number AND f.missed = 'not understood'
        ) THEN 'not understood' ELSE r.judgement END AS fate
    FROM records r
    WHERE r.input = 'heard'
)
SELECT u.microphone,
    COUNT(DISTINCT u.log) AS logs,
    COUNT(*) AS utterances,
    ROUND(100.0 * SUM(CASE WHEN u.fate = 'accepted' THEN 1 ELSE 0 END) / COUNT(*), 1) AS percent_accepted,
    ROUND(100.0 * SUM(CASE WHEN u.fate = 'ask back' THEN 1 ELSE 0 END) / COUNT(*), 1) AS percent_asked_back,
    ROUND(100.0 * SUM(CASE WHEN u.fate = 'ignored' THEN 1 ELSE 0 END) / COUNT(*), 1) AS percent_ignored,
    ROUND(100.0 * SUM(CASE WHEN u.fate = 'not understood' THEN 1 ELSE 0 END) / COUNT(*), 1) AS percent_not_understood
FROM utterances u
GROUP BY u.microphone
ORDER BY 1
