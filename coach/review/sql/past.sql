-- One row per person, session and exercise with a set: what the plan knows of it, as `coach.history.past` makes it from
-- a record. Only for the program of each person's last session, with its digest. A session without work is a row
-- without an exercise. Plain SQL over the tables of tables.sql and `today`. Runs unchanged on DuckDB and on Spark.
WITH last_program AS (
    SELECT person, program, digest
    FROM (
        SELECT
            s.person, s.program, s.digest,
            ROW_NUMBER() OVER (PARTITION BY s.person ORDER BY s.began DESC, s.session DESC) AS back
        FROM sessions s
        CROSS JOIN today a
        WHERE s.program IS NOT NULL AND s.day_number <= a.day_number
    ) each_session
    WHERE back = 1
),
known AS (
    SELECT s.person, s.session, s.began, s.day_number, s.why, s.next_in_days, s.doubtful, l.program, l.digest
    FROM sessions s
    JOIN last_program l ON l.person = s.person AND l.program = s.program
),
pains AS (
    SELECT
        person, session, set_id, pain_high, answered,
        ROW_NUMBER() OVER (PARTITION BY person, session, set_id ORDER BY line DESC) AS back
    FROM answers
    WHERE question IN ('pain', 'halt_pain')
),
set_pain AS (
    SELECT
        person, session, set_id, MAX(pain_high) AS pain,
        MAX(CASE WHEN back = 1 AND NOT answered THEN 1 ELSE 0 END) AS unanswered
    FROM pains
    GROUP BY person, session, set_id
),
set_effort AS (
    SELECT person, session, set_id, number AS effort
    FROM (
        SELECT
            person, session, set_id, number,
            ROW_NUMBER() OVER (PARTITION BY person, session, set_id ORDER BY line DESC) AS back
        FROM answers
        WHERE question = 'effort' AND answered
    ) each_effort
    WHERE back = 1
),
done AS (
    SELECT
        b.person, b.session, b.exercise, b.set_id, b.level, b.planned_high, b.why, p.pain, p.unanswered, e.effort,
        CASE WHEN b.why IN ('done', 'enough') THEN 1 ELSE 0 END AS in_full,
        CASE WHEN b.counted IS NULL THEN 1 ELSE 0 END AS unknown,
        CAST(FLOOR(
            CASE WHEN b.stated < b.counted THEN b.stated ELSE b.counted END
            / CASE WHEN b.side LIKE '%+%' THEN 2.0 ELSE 1.0 END
        ) AS INTEGER) AS least,
        ROW_NUMBER() OVER (PARTITION BY b.person, b.session, b.exercise ORDER BY b.set_id) AS place,
        ROW_NUMBER() OVER (PARTITION BY b.person, b.session, b.exercise ORDER BY b.set_id DESC) AS back
    FROM sets b
    LEFT JOIN set_pain p ON p.person = b.person AND p.session = b.session AND p.set_id = b.set_id
    LEFT JOIN set_effort e ON e.person = b.person AND e.session = b.session AND e.set_id = b.set_id
),
each_exercise AS (
    SELECT
        person, session, exercise,
        MIN(set_id) AS first_set,
        COUNT(*) AS sets,
        SUM(in_full) AS sets_in_full,
        MAX(CASE WHEN place = 1 THEN level END) AS first_level,
        MAX(CASE WHEN place = 1 THEN planned_high END) AS first_target,
        MAX(pain) AS pain,
        MAX(effort) AS effort,
        MAX(CASE WHEN why = 'halted_unsteady' THEN 1 ELSE 0 END) AS unsteady,
        MAX(CASE WHEN unanswered = 1 OR (back = 1 AND pain IS NULL) THEN 1 ELSE 0 END) AS pain_unanswered,
        CASE WHEN MAX(unknown) = 0 THEN MIN(least) END AS least
    FROM done
    GROUP BY person, session, exercise
),
first_plan AS (
    SELECT person, session, exercise, level, sets, target
    FROM (
        SELECT
            person, session, exercise, level, sets, target,
            ROW_NUMBER() OVER (PARTITION BY person, session, exercise ORDER BY place) AS place
        FROM planned
    ) each_plan
    WHERE place = 1
),
easing AS (
    SELECT
        person, session, exercise,
        MAX(CASE WHEN what <> 'slower' THEN 1 ELSE 0 END) AS eased,
        MAX(CASE WHEN lasting = 1 AND back = 1 THEN after END) AS level
    FROM (
        SELECT
            person, session, exercise, what, after, lasting,
            ROW_NUMBER() OVER (PARTITION BY person, session, exercise, lasting ORDER BY line DESC) AS back
        FROM (
            SELECT
                person, session, exercise, what, after, line,
                CASE
                    WHEN what = 'level' AND (because NOT LIKE 'screen.%' OR because = 'screen.next_day') THEN 1 ELSE 0
                END AS lasting
            FROM eased
        ) each_easing
    ) each_lasting
    GROUP BY person, session, exercise
),
halting AS (
    SELECT  -- a statement outside any exercise counts for every exercise of the day
        x.person, x.session, x.exercise,
        MAX(CASE WHEN h.why = 'unsteady' THEN 1 ELSE 0 END) AS unsteady,
        MAX(h.pain_high) AS pain
    FROM each_exercise x
    JOIN halts h ON h.person = x.person AND h.session = x.session
    WHERE COALESCE(h.exercise, '') IN (x.exercise, '')
    GROUP BY x.person, x.session, x.exercise
),
gave_way AS (
    SELECT person, session, MAX(CASE WHEN why = 'unsteady' THEN 1 ELSE 0 END) AS told
    FROM halts
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
    k.person,
    k.program,
    k.digest,
    k.session,
    k.began,
    k.day_number,
    k.why,
    k.next_in_days,
    m.worse AS next_day_worse,
    CASE WHEN w.told = 1 OR k.why = 'unsteady' THEN 1 ELSE 0 END AS gave_way,
    x.exercise,
    COALESCE(g.level, f.level, x.first_level) AS level,
    COALESCE(f.target, x.first_target) AS target,
    COALESCE(f.sets, x.sets) AS sets_planned,
    x.sets_in_full,
    CASE
        WHEN x.pain >= COALESCE(h.pain, 0) AND x.pain >= COALESCE(z.pain, 0) THEN x.pain
        WHEN h.pain >= COALESCE(z.pain, 0) THEN h.pain
        ELSE COALESCE(z.pain, x.pain, h.pain)
    END AS pain,
    x.effort,
    CASE WHEN x.unsteady = 1 OR h.unsteady = 1 THEN 1 ELSE 0 END AS unsteady,
    COALESCE(g.eased, 0) AS eased,
    CASE WHEN k.doubtful OR z.unanswered = 1 THEN 1 ELSE x.pain_unanswered END AS pain_unanswered,
    x.least
FROM known k
LEFT JOIN morning m ON m.person = k.person AND m.session = k.session
LEFT JOIN gave_way w ON w.person = k.person AND w.session = k.session
LEFT JOIN each_exercise x ON x.person = k.person AND x.session = k.session
LEFT JOIN first_plan f ON f.person = x.person AND f.session = x.session AND f.exercise = x.exercise
LEFT JOIN easing g ON g.person = x.person AND g.session = x.session AND g.exercise = x.exercise
LEFT JOIN halting h ON h.person = x.person AND h.session = x.session AND h.exercise = x.exercise
LEFT JOIN set_pain z ON z.person = x.person AND z.session = x.session AND z.set_id = 0
ORDER BY k.person, k.began, k.session, x.first_set
