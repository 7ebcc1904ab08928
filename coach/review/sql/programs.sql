-- The program of each person's last session. Plain SQL over `sessions` and `today`.
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
ORDER BY person
