-- One row per person and day with a session in the last 56 days: whether work began, and the highest pain stated (the
-- upper end of a band). Plain SQL over the tables of tables.sql and `today`. Runs unchanged on DuckDB and on Spark.
SELECT
    s.person,
    s.day_number - a.day_number AS day,
    MAX(CASE WHEN b.session IS NULL THEN 0 ELSE 1 END) AS worked,
    MAX(t.pain) AS pain
FROM sessions s
CROSS JOIN today a
LEFT JOIN (SELECT DISTINCT person, session FROM sets) b ON b.person = s.person AND b.session = s.session
LEFT JOIN (
    SELECT person, session, MAX(pain_high) AS pain
    FROM (
        SELECT person, session, pain_high FROM answers
        UNION ALL
        SELECT person, session, pain_high FROM halts
    ) each_pain
    GROUP BY person, session
) t ON t.person = s.person AND t.session = s.session
WHERE s.day_number > a.day_number - 56 AND s.day_number <= a.day_number
GROUP BY s.person, s.day_number - a.day_number
ORDER BY s.person, day
