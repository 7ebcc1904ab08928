-- Joins a session that broke off and was resumed into one, as `coach.logbook.joined` joins its records: the numbers of
-- sets and lines continue in the later parts, the plan is the first part's, the end is the last part's. For the embedded
-- engine only, after all files are in the tables.

CREATE OR REPLACE TEMPORARY TABLE parts AS
SELECT
    later.person, later.session, later.continues AS whole, later.why, later.next_in_days, later.doubtful,
    row_number() OVER (PARTITION BY later.person, later.continues ORDER BY later.began, later.session) AS part,
    row_number() OVER (PARTITION BY later.person, later.continues ORDER BY later.began DESC, later.session DESC) AS back,
    first.sets + coalesce(sum(coalesce(own.sets, 0)) OVER (
        PARTITION BY later.person, later.continues ORDER BY later.began, later.session
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ), 0) AS sets_before
FROM sessions later
JOIN (
    SELECT s.person, s.session, s.program, s.began, coalesce(max(b.set_id), 0) AS sets
    FROM sessions s
    LEFT JOIN sets b ON b.person = s.person AND b.session = s.session
    WHERE s.continues IS NULL
    GROUP BY ALL
) first ON first.person = later.person AND first.session = later.continues AND first.program = later.program
    AND (first.began, first.session) <= (later.began, later.session)
LEFT JOIN (SELECT person, session, max(set_id) AS sets FROM sets GROUP BY ALL) own
    ON own.person = later.person AND own.session = later.session;

UPDATE sets SET session = p.whole, set_id = set_id + p.sets_before
FROM parts p WHERE p.person = sets.person AND p.session = sets.session;

UPDATE answers SET
    session = p.whole, line = line + 1000000 * p.part, set_id = if(set_id = 0, 0, set_id + p.sets_before)
FROM parts p WHERE p.person = answers.person AND p.session = answers.session;

UPDATE halts SET
    session = p.whole, line = line + 1000000 * p.part, set_id = if(set_id = 0, 0, set_id + p.sets_before)
FROM parts p WHERE p.person = halts.person AND p.session = halts.session;

UPDATE eased SET session = p.whole, line = line + 1000000 * p.part
FROM parts p WHERE p.person = eased.person AND p.session = eased.session;

UPDATE signs SET whole = p.whole
FROM parts p WHERE p.person = signs.person AND p.session = signs.session;

UPDATE sessions SET why = p.why, next_in_days = p.next_in_days
FROM parts p WHERE p.back = 1 AND p.person = sessions.person AND p.whole = sessions.session;

UPDATE sessions SET doubtful = true
FROM parts p WHERE p.doubtful AND p.person = sessions.person AND p.whole = sessions.session;

DELETE FROM planned USING parts p WHERE p.person = planned.person AND p.session = planned.session;

DELETE FROM sessions USING parts p WHERE p.person = sessions.person AND p.session = sessions.session;
