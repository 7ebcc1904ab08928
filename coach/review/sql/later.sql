-- Sessions that began after today, which no other query counts: a clock was wrong. Plain SQL over `sessions`, `today`.
SELECT s.person, s.session
FROM sessions s
CROSS JOIN today a
WHERE s.day_number > a.day_number
ORDER BY s.person, s.session
