-- Which ends of joints were named, by kind of joint
--
-- Pairs are counted as in pairs_per_hour; of the confirmation that stands: both ends, which check each other, the
-- near end (the pair that is called) or the far end alone, or none (module, word and key).
SELECT j.kind,
    COALESCE(j.ends, '(not known)') AS ends,
    COUNT(*) AS pairs,
    ROUND(100.0 * COUNT(*) / SUM(COUNT(*)) OVER (PARTITION BY j.kind), 1) AS percent_of_kind
FROM joints j
WHERE j.joined
GROUP BY j.kind, COALESCE(j.ends, '(not known)')
ORDER BY 1, 3 DESC, 2
