-- Pairs per hour of working time, by kind of joint
--
-- A pair is a joint of a splice that stands joined at the end, be a fault outstanding or not, counted once: a
-- confirmation that was taken back does not count, nor does a joint that was reopened and not confirmed again. The
-- time for both counts.
-- Working time is the sum of the gaps between a record and the one before it in the same log. A gap of more than
-- 10 minutes is a pause and does not count, nor does one in which the clock was set and nothing else tells the time.
-- A gap counts for the kind of the first joint confirmed in the record that ends it, or later. What follows the
-- last confirmation of a log (tests, the end) has a row of its own, without pairs.
-- Sessions that only answer questions are left out. Under a quarter of an hour of work there is no rate.
WITH made AS (
    SELECT j.kind, COUNT(*) AS pairs, SUM(CASE WHEN j.times_reopened > 0 THEN 1 ELSE 0 END) AS made_again
    FROM joints j
    WHERE j.joined
    GROUP BY j.kind
), worked AS (
    SELECT r.kind, SUM(CASE WHEN r.gap_ms BETWEEN 0 AND 600000 THEN r.gap_ms ELSE 0 END) / 3600000.0 AS hours
    FROM records r
    JOIN sessions s ON s.log = r.log
    WHERE NOT s.asking
    GROUP BY r.kind
), kinds AS (
    SELECT w.kind FROM worked w
    UNION
    SELECT m.kind FROM made m
)
SELECT k.kind,
    COALESCE(m.pairs, 0) AS pairs,
    COALESCE(m.made_again, 0) AS made_again,
    ROUND(COALESCE(w.hours, 0), 2) AS hours,
    CASE WHEN w.hours >= 0.25 THEN ROUND(m.pairs / w.hours, 1) END AS pairs_per_hour
FROM kinds k
LEFT JOIN worked w ON w.kind = k.kind
LEFT JOIN made m ON m.kind = k.kind
ORDER BY 1
