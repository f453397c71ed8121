-- The four tables that questions are asked of: sessions, records, facts, joints.
-- Made from lines, openings, cables (each beginning once, with its title) and runs (joints of a cable by kind).

CREATE TEMP TABLE began AS
SELECT openings.*, cables.cable, cables.title
FROM openings
JOIN cables USING (plan_text, cable_pairs, first_pair, last_pair)
WHERE tag = 'session-opened'
QUALIFY row_number() OVER (PARTITION BY log ORDER BY number, place_in_record) = 1;

CREATE TABLE sessions AS
WITH spans AS (
    SELECT log, count(*) AS records, min(at_utc) AS first_at,
        max(at_utc) AS last_at,
        bool_or(len(list_filter(facts, lambda fact: fact.tag = 'session-ended')) > 0) AS ended
    FROM lines GROUP BY log
)
SELECT spans.log, first_at AS opened_at_utc, last_at AS last_at_utc, coalesce(ended, false) AS ended, spans.records,
    coalesce(person, '(not given)') AS person,
    coalesce(place, '(not given)') AS place,
    coalesce(microphone, '(not given)') AS microphone,
    coalesce(ears, '(not given)') AS ears,
    coalesce(app_version, '(not given)') AS app_version,
    coalesce(title, '(not known)') AS cable,
    coalesce(asking, false) AS asking,
    -- the splice that the log is of, and joints that are to be made in all of it; none for questions only
    nullif(files.splice, '') AS splice,
    files.to_join
FROM spans
JOIN files ON files.log = spans.log
LEFT JOIN began ON began.log = spans.log;

-- Facts in the order of their log. joint is what an entry is about: the turn in a plan, the pair in a straight
-- sequence. What an `undone` took back is marked: it takes the last entry that still stands, so that an entry is
-- taken back if, of all that happens at its depth of standing entries, an `undone` comes next.
CREATE TABLE facts AS
WITH every AS (
    SELECT log, number, at_utc, segment, row_number() OVER (PARTITION BY log ORDER BY number, place_in_record) AS turn, fact
    FROM (
        -- behind lost records no entry before them can be taken back: depths are counted anew
        SELECT log, number, at_utc,
            sum(CASE WHEN input.tag = 'records-lost' THEN 1 ELSE 0 END)
                OVER (PARTITION BY log ORDER BY number) AS segment,
            unnest(facts) AS fact, generate_subscripts(facts, 1) AS place_in_record
        FROM lines
    )
), entries AS (
    SELECT log, turn, segment, fact.tag,
        sum(CASE WHEN fact.tag = 'undone' THEN -1 ELSE 1 END) OVER (PARTITION BY log, segment ORDER BY turn)
            + CASE WHEN fact.tag = 'undone' THEN 1 ELSE 0 END AS depth
    FROM every WHERE fact.tag = 'undone' OR fact.tag IN (SELECT tag FROM entry_tags)
), followed AS (
    SELECT log, turn, tag, lead(tag) OVER (PARTITION BY log, segment, depth ORDER BY turn) AS after FROM entries
), taken AS (
    SELECT log, turn FROM followed WHERE tag <> 'undone' AND after = 'undone'
)
SELECT every.log, every.number, every.turn, every.at_utc, fact.tag,
    CASE WHEN fact.tag <> 'looked-up' THEN fact.pair END AS joint,
    fact.how, fact."by" AS channel, fact.asked_back, fact.fault, fact.entry, fact.kind AS missed,
    fact.question.tag AS question, fact.yes, fact.passed,
    taken.turn IS NOT NULL AS taken_back
FROM every JOIN files ON files.log = every.log LEFT JOIN taken ON taken.log = every.log AND taken.turn = every.turn
WHERE fact.tag IS NOT NULL AND every.number >= files.first_own;

-- As the joint is built in the end; where that is not known, as the log began.
CREATE TEMP TABLE kinds AS
SELECT named.log, named.joint, coalesce(standings.kind, runs.kind, '(not known)') AS kind
FROM (SELECT DISTINCT log, joint FROM facts WHERE tag IN (SELECT tag FROM entry_tags)) AS named
LEFT JOIN files ON files.log = named.log
LEFT JOIN standings ON standings.splice = files.splice AND standings.joint = named.joint
LEFT JOIN began ON began.log = named.log
LEFT JOIN runs ON runs.cable = began.cable AND named.joint BETWEEN runs.first_joint AND runs.last_joint
WHERE named.joint IS NOT NULL;

-- kind: of the joint in hand, which is the first one confirmed in this record or after it, be it taken back later.
CREATE TABLE records AS
WITH confirmed AS (
    SELECT facts.log, facts.number, arg_min(kinds.kind, facts.turn) AS kind
    FROM facts JOIN kinds ON kinds.log = facts.log AND kinds.joint = facts.joint
    WHERE facts.tag = 'pair-confirmed'
    GROUP BY facts.log, facts.number
), heard_by AS (
    SELECT * FROM openings
    QUALIFY row_number() OVER (PARTITION BY log, number ORDER BY place_in_record DESC) = 1
), timed AS (
    SELECT log, number, at_utc, input.tag AS input, input.judgement FROM lines
)
SELECT timed.log, timed.number, timed.at_utc, timed.input, timed.judgement,
    coalesce(heard_by.person, '(not given)') AS person,
    coalesce(heard_by.microphone, '(not given)') AS microphone,
    coalesce(
        first_value(confirmed.kind IGNORE NULLS) OVER (
            PARTITION BY timed.log ORDER BY timed.number ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING
        ),
        '(after the last pair)'
    ) AS kind,
    epoch_ms(timed.at_utc) - lag(epoch_ms(timed.at_utc)) OVER (PARTITION BY timed.log ORDER BY timed.number) AS gap_ms
FROM timed
ASOF LEFT JOIN heard_by ON heard_by.log = timed.log AND timed.number >= heard_by.number
LEFT JOIN confirmed ON confirmed.log = timed.log AND confirmed.number = timed.number
JOIN files ON files.log = timed.log
WHERE timed.number >= files.first_own;

-- Joints that an entry names, each of a splice once, as all logs of the splice have it: that is what the walk found.
-- How often it was reopened and marked is counted here; what was taken back is as if never said.
CREATE TABLE joints AS
WITH standing AS (
    SELECT files.splice, facts.joint, facts.tag, facts.fault
    FROM facts JOIN files ON files.log = facts.log
    WHERE facts.joint IS NOT NULL AND NOT facts.taken_back AND facts.tag IN (SELECT tag FROM entry_tags)
), counted AS (
    SELECT splice, joint, count(*) FILTER (tag = 'reopened') AS times_reopened,
        count(DISTINCT fault) FILTER (tag = 'fault-marked') AS faults
    FROM standing GROUP BY splice, joint
)
SELECT standings.splice, standings.joint, standings.kind, standings.standing, standings.log,
    standings.standing = 'confirmed' AS confirmed,
    standings.standing IN ('confirmed', 'joined_faulty') AS joined,
    standings.confirmed_in, standings.how, standings.ends, standings.channel, standings.person,
    coalesce(times_reopened, 0) AS times_reopened, coalesce(faults, 0) AS faults, standings.faults_left
FROM standings
LEFT JOIN counted ON counted.splice = standings.splice AND counted.joint = standings.joint;
