-- Questions asked back, by person
--
-- A question asked back is "did you say ...". It is answered by yes (or by the same call once more) or by no;
-- any other way, as by another entry, counts as unanswered; an answer is always to the question asked last. The person is the one at work at that time.
WITH turns AS (
    SELECT f.log, f.number, f.tag, f.question, f.yes,
        LEAD(f.tag) OVER (PARTITION BY f.log ORDER BY f.turn) AS next_tag,
        LEAD(f.yes) OVER (PARTITION BY f.log ORDER BY f.turn) AS next_yes
    FROM facts f
    WHERE f.tag IN ('asked', 'answered')
), questions AS (
    SELECT t.log, t.number,
        CASE WHEN t.next_tag = 'answered' AND t.next_yes THEN 1 ELSE 0 END AS yes,
        CASE WHEN t.next_tag = 'answered' AND NOT t.next_yes THEN 1 ELSE 0 END AS no
    FROM turns t
    WHERE t.tag = 'asked' AND t.question = 'did-you-say'
), asked AS (
    SELECT r.person, COUNT(*) AS asked_back, SUM(q.yes) AS yes, SUM(q.no) AS no
    FROM questions q
    JOIN records r ON r.log = q.log AND r.number = q.number
    GROUP BY r.person
), heard AS (
    SELECT r.person, COUNT(*) AS utterances
    FROM records r
    WHERE r.input = 'heard'
    GROUP BY r.person
), made AS (
    SELECT j.person, COUNT(*) AS pairs
    FROM joints j
    WHERE j.joined
    GROUP BY j.person
), people AS (
    SELECT DISTINCT r.person FROM records r
)
SELECT p.person,
    COALESCE(m.pairs, 0) AS pairs,
    COALESCE(h.utterances, 0) AS utterances,
    COALESCE(a.asked_back, 0) AS asked_back,
    COALESCE(a.yes, 0) AS answered_yes,
    COALESCE(a.no, 0) AS answered_no,
    COALESCE(a.asked_back - a.yes - a.no, 0) AS unanswered,
    ROUND(100.0 * COALESCE(a.asked_back, 0) / NULLIF(h.utterances, 0), 1) AS percent_of_utterances
FROM people p
LEFT JOIN made m ON m.person = p.person
LEFT JOIN heard h ON h.person = p.person
LEFT JOIN asked a ON a.person = p.person
ORDER BY 1
