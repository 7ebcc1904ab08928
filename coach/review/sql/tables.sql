-- The tables of a clinic. They are written as columns, and the clinic's queries read nothing else.
-- A session belongs to one person; "person" and "session" together name it. Days are counted from 1970-01-01.

CREATE TABLE people (
    person VARCHAR                -- local id, after the home's folder if there are several homes
);

CREATE TABLE sessions (
    person VARCHAR,
    session VARCHAR,
    program VARCHAR,              -- null: the line that begins the session is left out
    title VARCHAR,
    digest VARCHAR,               -- SHA-256 of the program file
    language VARCHAR,
    began VARCHAR,                -- UTC, ISO 8601
    day_number INTEGER,           -- local day
    why VARCHAR,                  -- why it ended; null: its end is missing
    next_in_days INTEGER,         -- days to the next session, as announced; null: not announced
    sets_planned INTEGER,
    doubtful BOOLEAN,             -- its file has a fault
    continues VARCHAR             -- id of the session that it resumes, if that one is not here; null: none
);

CREATE TABLE sets (
    person VARCHAR,
    session VARCHAR,
    set_id INTEGER,               -- the set's number within the session, from 1
    exercise VARCHAR,
    level VARCHAR,
    set_number INTEGER,
    side VARCHAR,
    kind VARCHAR,
    unit VARCHAR,                 -- "reps", "seconds" or "rounds": what the next four count
    planned_low INTEGER,
    planned_high INTEGER,
    counted INTEGER,              -- by the coach; null: not known
    stated INTEGER,               -- by the person; null: not asked, or not answered
    tension_planned_s DOUBLE,
    tension_s DOUBLE,             -- null: not known
    why VARCHAR                   -- why it ended; null: its end is missing
);

CREATE TABLE answers (
    person VARCHAR,
    session VARCHAR,
    line INTEGER,                 -- number of the line in its file
    question VARCHAR,             -- "pain", "halt_pain", "effort", "reps", "missed", "screen.ID"
    set_id INTEGER,               -- 0: about no set
    answered BOOLEAN,
    number INTEGER,               -- the answer, if it was a number
    yes BOOLEAN,                  -- the answer, if it was yes or no
    word VARCHAR,                 -- the answer, if it was a word: a band of pain
    pain_low INTEGER,             -- a pain of 0-10, or the ends of its band; null: not a pain, or not answered
    pain_high INTEGER,
    times INTEGER                 -- how often it was put; 0: not at all
);

CREATE TABLE halts (
    person VARCHAR,
    session VARCHAR,
    line INTEGER,
    exercise VARCHAR,
    set_id INTEGER,
    why VARCHAR,                  -- null: the person did not say
    pain_high INTEGER             -- pain stated with it
);

CREATE TABLE eased (
    person VARCHAR,
    session VARCHAR,
    line INTEGER,
    exercise VARCHAR,
    what VARCHAR,
    before VARCHAR,
    after VARCHAR,
    because VARCHAR
);

CREATE TABLE planned (
    person VARCHAR,
    session VARCHAR,
    place INTEGER,                -- place in the plan of the day, from 1
    exercise VARCHAR,
    name VARCHAR,
    level VARCHAR,
    sets INTEGER,
    target INTEGER
);

CREATE TABLE signs (              -- what was told on which a hold rests
    person VARCHAR,
    session VARCHAR,              -- the session, or the part of one, in which it was told
    whole VARCHAR,                -- the session that this is a part of
    began VARCHAR,
    day_number INTEGER,
    program VARCHAR,
    kept BOOLEAN,                 -- a hold that stands beside the decisions
    cleared BOOLEAN,              -- a clear names the session
    why VARCHAR,                  -- "screen", "pain", "unsteady"
    times INTEGER,                -- in how many sessions within days it holds; 0: it only counts
    days INTEGER,
    effect VARCHAR,               -- "hold", "end_day"
    question VARCHAR,
    asked VARCHAR,
    answer BOOLEAN,
    call VARCHAR                  -- whom to call
);

CREATE TABLE left_out (
    file VARCHAR,
    line INTEGER,                 -- 0: the whole file
    text VARCHAR
);
