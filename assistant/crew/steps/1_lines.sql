-- The whole lines of the checked logs, each read once; what has another type than expected becomes NULL.
-- Times are turned to UTC: a cast to TIMESTAMP alone would leave the offset out.
-- $paths: the files. A line that was added since the check has a number above those that were checked.
SELECT files.log, line.number, make_timestamp(epoch_us(try_cast(line."at" AS TIMESTAMPTZ))) AS at_utc, line.input, line.facts
FROM (
    SELECT filename, json_transform(json, '{
        "number": "BIGINT",
        "at": "VARCHAR",
        "input": {"tag": "VARCHAR", "judgement": "VARCHAR"},
        "facts": [{
            "tag": "VARCHAR", "pair": "BIGINT", "how": "VARCHAR", "by": "VARCHAR", "asked_back": "BOOLEAN",
            "fault": "VARCHAR", "entry": "VARCHAR", "kind": "VARCHAR", "question": {"tag": "VARCHAR"},
            "yes": "BOOLEAN", "passed": "BOOLEAN", "person": "VARCHAR", "place": "VARCHAR",
            "microphone": "VARCHAR", "ears": "VARCHAR", "app_version": "VARCHAR", "asking": "BOOLEAN",
            "plan_text": "VARCHAR", "cable_pairs": "BIGINT", "first": "BIGINT", "last": "BIGINT"
        }]
    }') AS line
    FROM read_ndjson_objects($paths, filename = true, ignore_errors = true, compression = 'none')
)
JOIN files ON files.path = filename
WHERE line.number BETWEEN 1 AND files.last
