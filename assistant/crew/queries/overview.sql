-- Every log: first and last record, and what was done in it
--
-- Confirmed are joints that stand confirmed, joined_faulty those that are joined with a fault outstanding, faulty
-- those that are not joined for a fault; each joint of a splice counts once, for the log that confirmed it or changed
-- it last. What is left is told for the whole splice, in splices. Hours are working time as in pairs_per_hour.
WITH worked AS (
    SELECT r.log, SUM(CASE WHEN r.gap_ms BETWEEN 0 AND 600000 THEN r.gap_ms ELSE 0 END) / 3600000.0 AS hours
    FROM records r
    GROUP BY r.log
), made AS (
    SELECT j.log,
        SUM(CASE WHEN j.standing = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN j.standing = 'joined_faulty' THEN 1 ELSE 0 END) AS joined_faulty,
        SUM(CASE WHEN j.standing = 'faulty' THEN 1 ELSE 0 END) AS faulty
    FROM joints j
    GROUP BY j.log
)
SELECT s.log, s.opened_at_utc AS first_utc, s.last_at_utc AS last_utc, s.person, s.place, s.cable, s.records,
    ROUND(w.hours, 2) AS hours,
    COALESCE(m.confirmed, 0) AS confirmed,
    COALESCE(m.joined_faulty, 0) AS joined_faulty,
    COALESCE(m.faulty, 0) AS faulty,
    CASE WHEN s.ended THEN 'yes' ELSE 'no' END AS ended
FROM sessions s
JOIN worked w ON w.log = s.log
LEFT JOIN made m ON m.log = s.log
ORDER BY 1
