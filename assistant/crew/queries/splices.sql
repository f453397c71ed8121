-- Every splice: how its joints stand
--
-- Each joint counts once, as all logs of the splice together have it, and as a report of them says. Left are those
-- of the plan that are neither joined nor faulty. Two splices differ by plan, title or place; where no place was
-- given, by the day they were begun.
WITH made AS (
    SELECT j.splice,
        SUM(CASE WHEN j.standing = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
        SUM(CASE WHEN j.standing = 'joined_faulty' THEN 1 ELSE 0 END) AS joined_faulty,
        SUM(CASE WHEN j.standing = 'faulty' THEN 1 ELSE 0 END) AS faulty
    FROM joints j
    GROUP BY j.splice
), opened AS (
    SELECT s.splice, COUNT(*) AS logs, MAX(s.to_join) AS to_join
    FROM sessions s
    WHERE s.splice IS NOT NULL
    GROUP BY s.splice
)
SELECT o.splice, o.logs, o.to_join,
    COALESCE(m.confirmed, 0) AS confirmed,
    COALESCE(m.joined_faulty, 0) AS joined_faulty,
    COALESCE(m.faulty, 0) AS faulty,
    o.to_join - COALESCE(m.confirmed + m.joined_faulty + m.faulty, 0) AS left_unfinished
FROM opened o
LEFT JOIN made m ON m.splice = o.splice
ORDER BY 1
