-- One row per person: the figures of the clinic's page that no rule of urgency asks for. Plain SQL over the tables of
-- tables.sql and `today`, which holds one day_number. Runs unchanged on DuckDB and on Spark.
--
-- Recent means the last 28 days with today. A session's pain is the highest stated in it (the upper end of a band). A
-- pain that was not stated counts nowhere.
WITH told AS (
    SELECT person, session, MAX(pain_high) AS pain, MAX(banded) AS banded
    FROM (
        SELECT person, session, pain_high, CASE WHEN word IS NULL THEN 0 ELSE 1 END AS banded
        FROM answers
        WHERE pain_high IS NOT NULL
        UNION ALL
        SELECT person, session, pain_high, 0 AS banded FROM halts WHERE pain_high IS NOT NULL
    ) each_pain
    GROUP BY person, session
),
work AS (
    SELECT
        person, session,
        SUM(CASE WHEN why IN ('done', 'enough') THEN 1 ELSE 0 END) AS sets_in_full,
        SUM(CASE WHEN tension_s IS NOT NULL AND tension_planned_s IS NOT NULL THEN tension_s END) AS tension_s,
        SUM(CASE WHEN tension_s IS NOT NULL AND tension_planned_s IS NOT NULL THEN tension_planned_s END) AS tension_planned_s
    FROM sets
    GROUP BY person, session
),
known AS (
    SELECT
        s.person, s.session, s.day_number, s.sets_planned, a.day_number AS today, t.pain, t.banded,
        COALESCE(w.sets_in_full, 0) AS sets_in_full, w.tension_s, w.tension_planned_s,
        ROW_NUMBER() OVER (
            PARTITION BY s.person, CASE WHEN t.pain IS NULL THEN 1 ELSE 0 END ORDER BY s.began DESC, s.session DESC
        ) AS pain_back
    FROM sessions s
    CROSS JOIN today a
    LEFT JOIN told t ON t.person = s.person AND t.session = s.session
    LEFT JOIN work w ON w.person = s.person AND w.session = s.session
    WHERE s.day_number <= a.day_number
),
each_person AS (
    SELECT
        person,
        COUNT(*) AS sessions,
        MAX(day_number) AS last_day,
        SUM(CASE WHEN day_number > today - 28 THEN sets_in_full ELSE 0 END) AS recent_sets_in_full,
        SUM(CASE WHEN day_number > today - 28 THEN COALESCE(sets_planned, 0) ELSE 0 END) AS recent_sets_planned,
        SUM(CASE WHEN day_number > today - 28 THEN tension_s END) AS recent_tension_s,
        SUM(CASE WHEN day_number > today - 28 THEN tension_planned_s END) AS recent_tension_planned_s,
        COUNT(CASE WHEN pain IS NOT NULL AND pain_back <= 3 THEN 1 END) AS pain_now_of,
        AVG(CASE WHEN pain_back <= 3 THEN pain END) AS pain_now,
        COALESCE(MAX(CASE WHEN pain_back <= 3 THEN banded END), 0) AS pain_banded
    FROM known
    GROUP BY person
),
stopped AS (
    SELECT h.person, COUNT(*) AS recent_halts
    FROM halts h
    JOIN known k ON k.person = h.person AND k.session = h.session
    WHERE k.day_number > k.today - 28
    GROUP BY h.person
)
SELECT
    p.person,
    COALESCE(e.sessions, 0) AS sessions,
    e.last_day,
    e.recent_sets_in_full,
    e.recent_sets_planned,
    e.recent_tension_s,
    e.recent_tension_planned_s,
    e.pain_now,
    e.pain_now_of,
    e.pain_banded,
    COALESCE(s.recent_halts, 0) AS recent_halts
FROM people p
LEFT JOIN each_person e ON e.person = p.person
LEFT JOIN stopped s ON s.person = p.person
ORDER BY p.person
