-- Where a session begins or goes on, perhaps with another person or microphone. Older logs have no such
-- fields. Only the first beginning of a log has a cable and a place.
CREATE TEMP TABLE openings AS
SELECT log, number, place_in_record, said.tag,
    coalesce(nullif(trim(said.person), ''), '(not given)') AS person,
    coalesce(nullif(trim(said.place), ''), '(not given)') AS place,
    coalesce(nullif(trim(said.microphone), ''), '(not given)') AS microphone,
    coalesce(nullif(trim(said.ears), ''), '(not given)') AS ears,
    coalesce(nullif(trim(said.app_version), ''), '(not given)') AS app_version,
    coalesce(said.asking, false) AS asking,
    coalesce(said.plan_text, '') AS plan_text,
    coalesce(said.cable_pairs, 0) AS cable_pairs,
    coalesce(said."first", 0) AS first_pair,
    coalesce(said."last", 0) AS last_pair
FROM (
    SELECT log, number, unnest(facts) AS said, generate_subscripts(facts, 1) AS place_in_record FROM lines
    WHERE len(list_filter(facts, lambda fact: fact.tag IN ('session-opened', 'session-resumed'))) > 0
)
WHERE said.tag IN ('session-opened', 'session-resumed');
