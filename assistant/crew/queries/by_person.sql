-- Joints, hours and pace by person and splice
--
-- A joint counts once, for the person whose confirmation of it stands, be a fault outstanding or not. Hours are
-- working time as in pairs_per_hour, in the logs of that splice while that person was at work; under a quarter of an
-- hour there is no rate.
WITH made AS (
    SELECT j.person, j.splice,
        SUM(CASE WHEN j.standing = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN j.standing = 'joined_faulty' THEN 1 ELSE 0 END) AS joined_faulty
    FROM joints j
    WHERE j.person IS NOT NULL
    GROUP BY j.person, j.splice
), worked AS (
    SELECT r.person, s.splice, SUM(CASE WHEN r.gap_ms BETWEEN 0 AND 600000 THEN r.gap_ms ELSE 0 END) / 3600000.0 AS hours
    FROM records r
    JOIN sessions s ON s.log = r.log
    WHERE s.splice IS NOT NULL
    GROUP BY r.person, s.splice
)
SELECT w.person, w.splice,
    COALESCE(m.confirmed, 0) AS confirmed,
    COALESCE(m.joined_faulty, 0) AS joined_faulty,
    ROUND(w.hours, 2) AS hours,
    CASE WHEN w.hours >= 0.25 THEN ROUND((COALESCE(m.confirmed, 0) + COALESCE(m.joined_faulty, 0)) / w.hours, 1) END
        AS joined_per_hour
FROM worked w
LEFT JOIN made m ON m.person = w.person AND m.splice = w.splice
ORDER BY 1, 2
