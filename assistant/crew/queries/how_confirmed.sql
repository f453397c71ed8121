-- How pairs were checked, by kind of joint
--
-- Pairs are counted as in pairs_per_hour; how is that of the confirmation that stands: number+colours is the
-- surest, then colours, number, module (with all pairs called out), word ("confirm") and key (the plus key alone).
SELECT j.kind,
    COALESCE(j.how, '(not known)') AS how,
    COUNT(*) AS pairs,
    ROUND(100.0 * COUNT(*) / SUM(COUNT(*)) OVER (PARTITION BY j.kind), 1) AS percent_of_kind,
    ROUND(100.0 * COUNT(*) / SUM(COUNT(*)) OVER (), 1) AS percent_of_all
FROM joints j
WHERE j.joined
GROUP BY j.kind, COALESCE(j.how, '(not known)')
ORDER BY 1, 3 DESC, 2
