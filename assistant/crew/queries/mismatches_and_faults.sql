-- Mismatches and faults for every thousand pairs confirmed, by kind of joint
--
-- Pairs are counted as in pairs_per_hour. A mismatch is a call that was not the expected pair or did not agree
-- with itself; it counts for the kind of the joint in hand, which is the next one confirmed.
-- A fault counts once for each joint and sort of fault, unless its mark was taken back. Faults left were neither
-- cleared nor gone with a joint that was reopened.
WITH made AS (
    SELECT j.kind, SUM(CASE WHEN j.joined THEN 1 ELSE 0 END) AS pairs,
        SUM(j.faults) AS faults, SUM(j.faults_left) AS faults_left
    FROM joints j
    GROUP BY j.kind
), missed AS (
    SELECT r.kind, COUNT(*) AS mismatches
    FROM facts f
    JOIN records r ON r.log = f.log AND r.number = f.number
    WHERE f.tag = 'mismatch'
    GROUP BY r.kind
), kinds AS (
    SELECT a.kind FROM made a
    UNION
    SELECT b.kind FROM missed b
)
SELECT k.kind,
    COALESCE(a.pairs, 0) AS pairs,
    COALESCE(b.mismatches, 0) AS mismatches,
    ROUND(1000.0 * COALESCE(b.mismatches, 0) / NULLIF(a.pairs, 0), 1) AS mismatches_per_thousand,
    COALESCE(a.faults, 0) AS faults,
    ROUND(1000.0 * COALESCE(a.faults, 0) / NULLIF(a.pairs, 0), 1) AS faults_per_thousand,
    COALESCE(a.faults_left, 0) AS faults_left
FROM kinds k
LEFT JOIN made a ON a.kind = k.kind
LEFT JOIN missed b ON b.kind = k.kind
ORDER BY 1
