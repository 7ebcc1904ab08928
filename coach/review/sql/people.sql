-- One row per person: adherence to the program, and reasons for a look. Plain SQL over the tables of
-- tables.sql and `today`, which holds one day_number. Runs unchanged on DuckDB and on Spark.
--
-- Recent means the last 28 days with today. A session is due the number of days after the previous one that was
-- announced then; if nobody came, again after the program's shortest such time. An early session was not due.
-- A session's pain is the highest stated in it (the upper end of a band). A pain that was not stated counts nowhere.
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
        person, session, COUNT(*) AS sets_begun,
        SUM(CASE WHEN why IN ('done', 'enough') THEN 1 ELSE 0 END) AS sets_in_full,
        SUM(CASE WHEN tension_s IS NOT NULL AND tension_planned_s IS NOT NULL THEN tension_s END) AS tension_s,
        SUM(CASE WHEN tension_s IS NOT NULL AND tension_planned_s IS NOT NULL THEN tension_planned_s END) AS tension_planned_s
    FROM sets
    GROUP BY person, session
),
known AS (
    SELECT
        s.person, s.session, s.program, s.began, s.day_number, s.why, s.next_in_days, s.sets_planned,
        a.day_number AS today, t.pain, t.banded,
        COALESCE(w.sets_begun, 0) AS sets_begun, COALESCE(w.sets_in_full, 0) AS sets_in_full,
        w.tension_s, w.tension_planned_s,
        COALESCE(MIN(s.next_in_days) OVER (PARTITION BY s.person, s.program), 1) AS every
    FROM sessions s
    CROSS JOIN today a
    LEFT JOIN told t ON t.person = s.person AND t.session = s.session
    LEFT JOIN work w ON w.person = s.person AND w.session = s.session
    WHERE s.day_number <= a.day_number
),
ordered AS (
    SELECT
        k.*,
        k.day_number + GREATEST(1, COALESCE(k.next_in_days, k.every)) AS due,
        GREATEST(1, k.every) AS step,
        LEAD(k.day_number) OVER (PARTITION BY k.person ORDER BY k.began, k.session) AS next_day,
        LAG(k.day_number) OVER (PARTITION BY k.person ORDER BY k.began, k.session) AS day_before,
        ROW_NUMBER() OVER (PARTITION BY k.person ORDER BY k.began DESC, k.session DESC) AS back,
        ROW_NUMBER() OVER (
            PARTITION BY k.person, CASE WHEN k.pain IS NULL THEN 1 ELSE 0 END ORDER BY k.began DESC, k.session DESC
        ) AS pain_back
    FROM known k
),
counted AS (
    SELECT
        o.*,
        CASE WHEN o.next_day IS NULL THEN o.today - 1 ELSE o.next_day END AS due_to,
        CASE WHEN o.due > o.today - 27 THEN o.due ELSE o.today - 27 END AS due_from
    FROM ordered o
),
each_person AS (
    SELECT
        person,
        COUNT(*) AS sessions,
        MAX(CASE WHEN back = 1 THEN day_number END) AS last_day,
        MAX(CASE WHEN back = 1 THEN why END) AS last_why,
        MAX(CASE WHEN back = 1 THEN session END) AS last_session,
        MAX(CASE WHEN back = 1 THEN program END) AS program,
        MAX(CASE WHEN back = 1 THEN due END) AS next_due,
        MAX(CASE WHEN back = 1 AND today > due THEN CAST(FLOOR((today - 1 - due) / step) AS INTEGER) + 1 ELSE 0 END) AS missed_now,
        SUM(CASE WHEN day_number > today - 28 AND sets_begun > 0 THEN 1 ELSE 0 END) AS recent_done,
        SUM(CASE WHEN day_before IS NULL AND day_number > today - 28 THEN 1 ELSE 0 END)
            + SUM(
                CASE WHEN due_to >= due_from AND due_to >= due
                THEN CAST(FLOOR((due_to - due) / step) AS INTEGER)
                    - CASE WHEN due_from > due THEN CAST(FLOOR((due_from - 1 - due) / step) AS INTEGER) ELSE -1 END
                ELSE 0 END
            ) AS recent_due,
        SUM(CASE WHEN day_number > today - 28 THEN sets_in_full ELSE 0 END) AS recent_sets_in_full,
        SUM(CASE WHEN day_number > today - 28 THEN COALESCE(sets_planned, 0) ELSE 0 END) AS recent_sets_planned,
        SUM(CASE WHEN day_number > today - 28 THEN tension_s END) AS recent_tension_s,
        SUM(CASE WHEN day_number > today - 28 THEN tension_planned_s END) AS recent_tension_planned_s,
        COUNT(CASE WHEN pain IS NOT NULL AND pain_back <= 3 THEN 1 END) AS pain_now_of,
        AVG(CASE WHEN pain_back <= 3 THEN pain END) AS pain_now,
        COUNT(CASE WHEN pain IS NOT NULL AND pain_back > 3 AND pain_back <= 9 THEN 1 END) AS pain_before_of,
        AVG(CASE WHEN pain_back > 3 AND pain_back <= 9 THEN pain END) AS pain_before,
        SUM(CASE WHEN day_number > today - 28 AND sets_begun > 0 AND pain IS NULL THEN 1 ELSE 0 END) AS recent_pain_untold,
        COALESCE(MAX(CASE WHEN pain_back <= 9 THEN banded END), 0) AS pain_banded
    FROM counted
    GROUP BY person
),
stopped AS (
    SELECT h.person, COUNT(*) AS recent_halts
    FROM halts h
    JOIN known k ON k.person = h.person AND k.session = h.session
    WHERE k.day_number > k.today - 28
    GROUP BY h.person
),
mornings AS (
    SELECT a.person, COUNT(*) AS recent_mornings, SUM(CASE WHEN a.yes THEN 1 ELSE 0 END) AS recent_worse
    FROM answers a
    JOIN known k ON k.person = a.person AND k.session = a.session
    WHERE k.day_number > k.today - 28 AND a.question = 'screen.next_day' AND a.yes IS NOT NULL
    GROUP BY a.person
)
SELECT
    p.person,
    COALESCE(e.sessions, 0) AS sessions,
    e.program,
    e.last_session,
    e.last_day,
    e.last_why,
    e.next_due,
    e.missed_now,
    e.recent_done,
    e.recent_due,
    e.recent_sets_in_full,
    e.recent_sets_planned,
    e.recent_tension_s,
    e.recent_tension_planned_s,
    e.pain_now,
    e.pain_now_of,
    e.pain_before,
    e.pain_before_of,
    e.pain_banded,
    e.recent_pain_untold,
    COALESCE(s.recent_halts, 0) AS recent_halts,
    COALESCE(m.recent_mornings, 0) AS recent_mornings,
    COALESCE(m.recent_worse, 0) AS recent_worse
FROM people p
LEFT JOIN each_person e ON e.person = p.person
LEFT JOIN stopped s ON s.person = p.person
LEFT JOIN mornings m ON m.person = p.person
ORDER BY p.person
