-- Every log: first and last record, what was done and what is left
--
-- Confirmed are joints that stand confirmed; faulty those with a fault left, be they confirmed or
-- not; left unfinished those of the plan that are neither. Hours are working time as in pairs_per_hour.
WITH worked AS (
    SELECT r.log, SUM(CASE WHEN r.gap_ms BETWEEN 0 AND 600000 THEN r.gap_ms ELSE 0 END) / 3600000.0 AS hours
    FROM records r
    GROUP BY r.log
), made AS (
    SELECT j.log,
        SUM(CASE WHEN j.confirmed THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN j.faults_left > 0 THEN 1 ELSE 0 END) AS faulty,
        SUM(CASE WHEN j.kind <> '(not known)' AND (j.confirmed OR j.faults_left > 0) THEN 1 ELSE 0 END) AS settled
    FROM joints j
    GROUP BY j.log
)
SELECT s.log, s.opened_at_utc AS first_utc, s.last_at_utc AS last_utc, s.person, s.place, s.cable, s.records,
    ROUND(w.hours, 2) AS hours,
    COALESCE(m.confirmed, 0) AS confirmed,
    COALESCE(m.faulty, 0) AS faulty,
    s.to_join - COALESCE(m.settled, 0) AS left_unfinished,
    CASE WHEN s.ended THEN 'yes' ELSE 'no' END AS ended
FROM sessions s
JOIN worked w ON w.log = s.log
LEFT JOIN made m ON m.log = s.log
ORDER BY 1
