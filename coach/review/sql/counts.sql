-- How many sessions up to today, and how many sets of them. Plain SQL over `sessions`, `sets` and `today`.
SELECT
    COUNT(*) AS sessions,
    COALESCE(SUM(b.sets), 0) AS sets
FROM sessions s
CROSS JOIN today a
LEFT JOIN (SELECT person, session, COUNT(*) AS sets FROM sets GROUP BY person, session) b
    ON b.person = s.person AND b.session = s.session
WHERE s.day_number <= a.day_number
