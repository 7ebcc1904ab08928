-- Fills the tables from the lines of a heap of session files. For the embedded engine only: `lines` has a row for each
-- line of the files, `books` a row for each file.

CREATE OR REPLACE TEMPORARY VIEW begins AS
SELECT * FROM lines WHERE line = 'session_begun'
QUALIFY row_number() OVER (PARTITION BY person, book ORDER BY n) = 1;

INSERT INTO sessions
SELECT
    b.person, b.book, begun.program, begun.title, begun.digest, begun.language, b.began, b.day_number, ended.why,
    ended.next_in_days, list_sum(list_transform(begun.plan, lambda one: one.sets)), b.doubtful,
    nullif(begun.continues, '')
FROM books b
LEFT JOIN begins begun ON begun.person = b.person AND begun.book = b.book
LEFT JOIN (
    SELECT * FROM lines WHERE line = 'session_ended'
    QUALIFY row_number() OVER (PARTITION BY person, book ORDER BY n DESC) = 1
) ended ON ended.person = b.person AND ended.book = b.book;

INSERT INTO planned
SELECT person, book, place, one.exercise, one.name, one.level, one.sets, one.target
FROM (SELECT person, book, unnest(plan) AS one, generate_subscripts(plan, 1) AS place FROM begins);

INSERT INTO answers
SELECT
    person, book, n, question, coalesce(set_id, 0), line = 'answered', number, yes, word,
    CASE WHEN is_pain THEN coalesce(number, if(word = 'none', 0, TRY_CAST(split_part(word, '-', 1) AS INTEGER))) END,
    CASE WHEN is_pain THEN coalesce(number, if(word = 'none', 0, TRY_CAST(split_part(word, '-', -1) AS INTEGER))) END,
    if(coalesce(because, '') <> '', 0, coalesce(attempts, prompts))
FROM (
    SELECT
        *,
        question IN ('pain', 'halt_pain') AS is_pain,
        if(json_type("value") IN ('UBIGINT', 'BIGINT'), TRY_CAST("value" AS INTEGER), NULL) AS number,
        if(json_type("value") = 'BOOLEAN', "value"::VARCHAR = 'true', NULL) AS yes,
        if(json_type("value") = 'VARCHAR', "value" ->> '$', NULL) AS word
    FROM lines
    WHERE line IN ('answered', 'unanswered')
);

-- If the lines of a set disagree, the last one counts. The stated amount comes from the last answer to whether all was
-- done, or to how much was left out.
INSERT INTO sets
SELECT
    one.person, one.book, one.set_id, one.exercise, one.level, one.set_number, one.side, one.kind,
    CASE one.kind WHEN 'hold' THEN 'seconds' WHEN 'route' THEN 'rounds' ELSE 'reps' END,
    one.planned_low, one.planned_high, one.counted,
    CASE
        WHEN said.question = 'reps' AND said.yes THEN one.counted
        WHEN said.question = 'reps' THEN said.number
        WHEN said.number IS NOT NULL AND one.counted IS NOT NULL THEN greatest(0, one.counted - said.number)
    END,
    one.tension_planned_s, one.tension_s, one.why
FROM (
    SELECT
        person, book, set_id,
        arg_max(exercise, n) AS exercise, arg_max("level", n) AS "level", arg_max("set", n) AS set_number,
        arg_max(side, n) AS side, arg_max(kind, n) AS kind,
        arg_max(planned_low, n) AS planned_low, arg_max(planned_high, n) AS planned_high,
        arg_max(counted, n) FILTER (line = 'set_ended') AS counted,
        arg_max(tension_planned_s, n) FILTER (line = 'set_begun') AS tension_planned_s,
        arg_max(tension_s, n) FILTER (line = 'set_ended') AS tension_s,
        arg_max(why, n) FILTER (line = 'set_ended') AS why
    FROM lines
    WHERE line IN ('set_begun', 'set_ended')
    GROUP BY person, book, set_id
) one
LEFT JOIN (
    SELECT a.*
    FROM answers a
    SEMI JOIN books b ON b.person = a.person AND b.book = a.session
    WHERE a.answered AND (a.question = 'reps' OR (a.question = 'missed' AND a.number IS NOT NULL))
    QUALIFY row_number() OVER (PARTITION BY a.person, a.session, a.set_id ORDER BY a.line DESC) = 1
) said ON said.person = one.person AND said.session = one.book AND said.set_id = one.set_id;

-- A "pain", "tired" or "unsteady" during the work is a halt too; directly after a halt it is that halt's reason.
INSERT INTO halts
SELECT
    person, book, min(n), arg_min(exercise, n), arg_min(set_id, n), arg_max(why, n),
    max(CASE
        WHEN json_type(pain) IN ('UBIGINT', 'BIGINT') THEN TRY_CAST(pain AS INTEGER)
        WHEN pain ->> '$' = 'none' THEN 0
        WHEN json_type(pain) = 'VARCHAR' THEN TRY_CAST(split_part(pain ->> '$', '-', -1) AS INTEGER)
    END)
FROM (
    SELECT *, count_if(line = 'halted' OR (line = 'halt_why' AND coalesce(behind NOT IN ('halted', 'halt_why'), true)))
        OVER (PARTITION BY person, book ORDER BY n) AS halt
    FROM (
        SELECT *, lag(line) OVER (PARTITION BY person, book ORDER BY n) AS behind
        FROM lines
        WHERE line IN ('halted', 'halt_why', 'ready', 'resumed', 'set_begun')
    )
)
WHERE line IN ('halted', 'halt_why')
GROUP BY person, book, halt;

INSERT INTO signs
SELECT
    l.person, l.book, l.book, b.began, b.day_number, begun.program, false, false, l.why, coalesce(l.times, 1),
    coalesce(l.days, 1), coalesce(l.effect, 'hold'), coalesce(l.question, ''), coalesce(l.asked, ''), l.answer,
    coalesce(l.call, '')
FROM lines l
JOIN books b ON b.person = l.person AND b.book = l.book
LEFT JOIN begins begun ON begun.person = l.person AND begun.book = l.book
WHERE l.line = 'safety_sign';

INSERT INTO eased
SELECT person, book, n, exercise, what, "from" ->> '$', "to" ->> '$', because
FROM lines
WHERE line = 'eased';
