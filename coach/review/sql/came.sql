-- One row per session up to today: what the rules of urgency ask of it. A pain is the highest stated, of a band its
-- upper end. Plain SQL over the tables of tables.sql and `today`. Runs unchanged on DuckDB and on Spark.
WITH told AS (
    SELECT person, session, MAX(pain_high) AS pain
    FROM (
        SELECT person, session, pain_high FROM answers
        UNION ALL
        SELECT person, session, pain_high FROM halts
    ) each_pain
    GROUP BY person, session
),
work AS (
    SELECT
        person, session, COUNT(*) AS sets_begun,
        SUM(CASE WHEN why IN ('done', 'enough') THEN 1 ELSE 0 END) AS sets_in_full
    FROM sets
    GROUP BY person, session
),
heard AS (
    SELECT
        person, session,
        SUM(CASE WHEN times = 0 THEN 0 ELSE 1 END) AS asked,
        SUM(CASE WHEN times <> 0 AND (NOT answered OR times > 1) THEN 1 ELSE 0 END) AS unheard
    FROM answers
    GROUP BY person, session
),
morning AS (
    SELECT person, session, yes AS worse
    FROM (
        SELECT
            person, session, yes, ROW_NUMBER() OVER (PARTITION BY person, session ORDER BY line DESC) AS back
        FROM answers
        WHERE question = 'screen.next_day'
    ) each_morning
    WHERE back = 1
)
SELECT
    s.person, s.session, s.began, s.day_number, s.program, s.digest, s.why, s.next_in_days,
    COALESCE(w.sets_begun, 0) AS sets_begun, COALESCE(s.sets_planned, 0) AS sets_planned,
    COALESCE(w.sets_in_full, 0) AS sets_in_full, t.pain, m.worse,
    COALESCE(h.asked, 0) AS asked, COALESCE(h.unheard, 0) AS unheard
FROM sessions s
CROSS JOIN today a
LEFT JOIN told t ON t.person = s.person AND t.session = s.session
LEFT JOIN work w ON w.person = s.person AND w.session = s.session
LEFT JOIN heard h ON h.person = s.person AND h.session = s.session
LEFT JOIN morning m ON m.person = s.person AND m.session = s.session
WHERE s.day_number <= a.day_number
ORDER BY s.person, s.began, s.session
