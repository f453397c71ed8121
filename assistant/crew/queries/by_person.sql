-- Joints by person and splice
--
-- A joint counts once, for the person whose confirmation of it stands.
SELECT j.person, j.splice,
    SUM(CASE WHEN j.standing = 'confirmed' THEN 1 ELSE 0 END) AS confirmed,
    SUM(CASE WHEN j.standing = 'joined_faulty' THEN 1 ELSE 0 END) AS joined_faulty
FROM joints j
WHERE j.person IS NOT NULL
GROUP BY j.person, j.splice
ORDER BY 1, 2
