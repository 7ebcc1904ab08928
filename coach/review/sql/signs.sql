-- One row per sign of safety: the lines of the sessions, the holds kept beside the decisions, and what older sessions
-- tell without a line (it counts, by no rule of its own). Plain SQL over the tables of tables.sql and `today`.
-- Runs unchanged on DuckDB and on Spark.
SELECT
    person, session, whole, began, day_number, program, kept, cleared, why, times, days, effect, question, asked,
    answer, call
FROM signs
UNION ALL
SELECT
    s.person, s.session, s.session AS whole, s.began, s.day_number, s.program, FALSE AS kept, FALSE AS cleared,
    t.why, 0 AS times, 1 AS days, 'hold' AS effect, '' AS question, '' AS asked, CAST(NULL AS BOOLEAN) AS answer,
    '' AS call
FROM sessions s
JOIN (
    SELECT person, session, why FROM sessions WHERE why = 'pain' OR why = 'unsteady'
    UNION
    SELECT person, session, why FROM halts WHERE why = 'unsteady'
) t ON t.person = s.person AND t.session = s.session
LEFT JOIN (SELECT DISTINCT person, whole, why FROM signs) g
    ON g.person = t.person AND g.whole = t.session AND g.why = t.why
WHERE g.person IS NULL
ORDER BY person, began, session
