PRAGMA application_id = 1919711080;

CREATE TABLE person (
    name TEXT PRIMARY KEY,
    folded TEXT NOT NULL UNIQUE,
    roles TEXT NOT NULL CONSTRAINT roles_known CHECK (trim(replace(replace(replace(replace(
        ' ' || roles || ' ', ' read ', ' '), ' write ', ' '), ' sign ', ' '), ' keep ', ' ')) = ''),
    hash TEXT NOT NULL,
    active INTEGER NOT NULL CHECK (active IN (0, 1)),
    began TEXT NOT NULL
) STRICT;

CREATE TABLE session (
    hash BLOB PRIMARY KEY CONSTRAINT session_is_hashed CHECK (length(hash) = 32),
    person TEXT NOT NULL REFERENCES person (name),
    began TEXT NOT NULL,
    seen TEXT NOT NULL,
    ends TEXT NOT NULL CHECK (ends > began),
    ended TEXT
) STRICT;

CREATE INDEX session_of ON session (person, seen);

CREATE TABLE invitation (
    hash BLOB PRIMARY KEY CONSTRAINT invitation_is_hashed CHECK (length(hash) = 32),
    roles TEXT NOT NULL,
    person TEXT REFERENCES person (name),
    by1 TEXT REFERENCES person (name),
    began TEXT NOT NULL,
    ends TEXT NOT NULL CHECK (ends > began),
    used_by TEXT REFERENCES person (name),
    used_at TEXT,
    CHECK ((used_by IS NULL) = (used_at IS NULL)),
    CHECK (person IS NULL OR by1 IS NOT NULL)
) STRICT;

CREATE TABLE deed (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    by1 TEXT REFERENCES person (name),
    what TEXT NOT NULL
) STRICT;

CREATE TABLE proposal (
    id INTEGER PRIMARY KEY CHECK (id > 0),
    order_key TEXT NOT NULL,
    title TEXT NOT NULL,
    kind TEXT NOT NULL,
    bodies TEXT NOT NULL CHECK (json_array_length(bodies) > 0),
    why TEXT NOT NULL,
    by1 TEXT NOT NULL REFERENCES person (name),
    at TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'posting', 'done', 'refused', 'taken back')),
    by2 TEXT REFERENCES person (name),
    at2 TEXT,
    outcome TEXT NOT NULL,
    CONSTRAINT two_persons CHECK (by2 IS NULL OR lower(trim(by2)) <> lower(trim(by1))),
    CONSTRAINT second_named CHECK ((by2 IS NOT NULL) = (state IN ('posting', 'done', 'refused'))),
    CONSTRAINT decided_once CHECK ((at2 IS NULL) = (state = 'waiting'))
) STRICT;

CREATE TRIGGER person_no_delete BEFORE DELETE ON person
BEGIN SELECT RAISE(ABORT, 'person: never deleted'); END;

CREATE TRIGGER person_keeps_name BEFORE UPDATE OF name, folded, began ON person
BEGIN SELECT RAISE(ABORT, 'person: the name stays'); END;

CREATE TRIGGER person_last_keeper BEFORE UPDATE OF roles, active ON person
WHEN OLD.active = 1 AND instr(OLD.roles, 'keep') > 0 AND NOT (NEW.active = 1 AND instr(NEW.roles, 'keep') > 0)
    AND NOT EXISTS (SELECT 1 FROM person WHERE name <> OLD.name AND active = 1 AND instr(roles, 'keep') > 0)
BEGIN SELECT RAISE(ABORT, 'person: the last keeper'); END;

CREATE TRIGGER session_stays_ended BEFORE UPDATE ON session
WHEN OLD.ended IS NOT NULL OR NEW.hash <> OLD.hash OR NEW.person <> OLD.person OR NEW.ends <> OLD.ends
BEGIN SELECT RAISE(ABORT, 'session: ended, or not to be altered'); END;

CREATE TRIGGER session_no_delete BEFORE DELETE ON session
BEGIN SELECT RAISE(ABORT, 'session: never deleted'); END;

CREATE TRIGGER invitation_once BEFORE UPDATE ON invitation
WHEN OLD.used_at IS NOT NULL OR NEW.hash <> OLD.hash OR NEW.roles <> OLD.roles OR NEW.ends <> OLD.ends
    OR NEW.person IS NOT OLD.person OR NEW.by1 IS NOT OLD.by1
BEGIN SELECT RAISE(ABORT, 'invitation: used once'); END;

CREATE TRIGGER invitation_no_delete BEFORE DELETE ON invitation
BEGIN SELECT RAISE(ABORT, 'invitation: never deleted'); END;

CREATE TRIGGER deed_no_update BEFORE UPDATE ON deed
BEGIN SELECT RAISE(ABORT, 'deed: append only'); END;

CREATE TRIGGER deed_no_delete BEFORE DELETE ON deed
BEGIN SELECT RAISE(ABORT, 'deed: append only'); END;

CREATE TRIGGER proposal_begins_waiting BEFORE INSERT ON proposal
WHEN NEW.state <> 'waiting'
BEGIN SELECT RAISE(ABORT, 'proposal: begins waiting'); END;

CREATE TRIGGER proposal_stays_as_asked BEFORE UPDATE ON proposal
WHEN NEW.id <> OLD.id OR NEW.order_key <> OLD.order_key OR NEW.title <> OLD.title OR NEW.kind <> OLD.kind
    OR NEW.bodies <> OLD.bodies OR NEW.why <> OLD.why OR NEW.by1 <> OLD.by1 OR NEW.at <> OLD.at
BEGIN SELECT RAISE(ABORT, 'proposal: what was asked stays'); END;

CREATE TRIGGER proposal_steps BEFORE UPDATE OF state, by2, at2, outcome ON proposal
WHEN NOT (OLD.state = 'waiting' AND NEW.state IN ('posting', 'refused', 'taken back'))
    AND NOT (OLD.state = 'posting' AND NEW.state = 'waiting')
    AND NOT (OLD.state = 'posting' AND NEW.state = 'done' AND NEW.by2 IS OLD.by2 AND NEW.at2 IS OLD.at2)
BEGIN SELECT RAISE(ABORT, 'proposal: no such step'); END;

CREATE TRIGGER proposal_second_may BEFORE UPDATE ON proposal
WHEN OLD.state = 'waiting' AND NEW.by2 IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM person WHERE name = NEW.by2 AND active = 1 AND instr(roles, 'sign') > 0)
BEGIN SELECT RAISE(ABORT, 'proposal: the second may not sign'); END;

CREATE TRIGGER proposal_no_delete BEFORE DELETE ON proposal
BEGIN SELECT RAISE(ABORT, 'proposal: never deleted'); END;
