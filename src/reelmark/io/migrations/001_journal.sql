-- The journal and what must never be in doubt beside it.  Rules stand here and not in code, so that no program,
-- and no hand at a SQL prompt, gets round them.  Triggers that fire before an INSERT also stop INSERT OR REPLACE,
-- which would otherwise delete the old row unseen wherever recursive_triggers is off.

PRAGMA application_id = 1919247724; -- "reel"

CREATE TABLE fact (
    seq INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    machine_seq INTEGER NOT NULL,
    kind TEXT NOT NULL,
    at TEXT NOT NULL,
    by1 TEXT NOT NULL,
    by2 TEXT,
    body BLOB NOT NULL,
    leaf BLOB NOT NULL CONSTRAINT leaf_is_a_hash CHECK (length(leaf) = 32),
    UNIQUE (machine, machine_seq),
    CONSTRAINT two_persons CHECK (kind NOT IN ('allocate', 'destroy', 'correct') OR (by2 IS NOT NULL AND by2 <> by1)),
    CONSTRAINT different_persons CHECK (by2 IS NULL OR lower(trim(by2)) <> lower(trim(by1)))
) STRICT;

CREATE TRIGGER fact_no_gap BEFORE INSERT ON fact
WHEN NEW.seq <> (SELECT coalesce(max(seq), -1) + 1 FROM fact)
BEGIN SELECT RAISE(ABORT, 'fact: not the next seq'); END;

CREATE TRIGGER fact_key_once BEFORE INSERT ON fact
WHEN EXISTS (SELECT 1 FROM fact WHERE machine = NEW.machine AND machine_seq = NEW.machine_seq)
BEGIN SELECT RAISE(ABORT, 'fact: key used'); END;

CREATE TRIGGER fact_no_update BEFORE UPDATE ON fact
BEGIN SELECT RAISE(ABORT, 'fact: append only'); END;

CREATE TRIGGER fact_no_delete BEFORE DELETE ON fact
BEGIN SELECT RAISE(ABORT, 'fact: append only'); END;

CREATE TABLE alloc (
    series TEXT NOT NULL,
    lo INTEGER NOT NULL CONSTRAINT lo_not_negative CHECK (lo >= 0),
    hi INTEGER NOT NULL CONSTRAINT hi_above_lo CHECK (hi > lo),
    seq INTEGER NOT NULL REFERENCES fact (seq),
    PRIMARY KEY (series, lo)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER alloc_no_overlap BEFORE INSERT ON alloc
WHEN EXISTS (SELECT 1 FROM alloc WHERE series = NEW.series AND lo < NEW.hi AND NEW.lo < hi)
BEGIN SELECT RAISE(ABORT, 'alloc: overlap'); END;

CREATE TRIGGER alloc_by_two BEFORE INSERT ON alloc
WHEN NOT EXISTS (SELECT 1 FROM fact WHERE seq = NEW.seq AND kind = 'allocate' AND by2 <> by1)
BEGIN SELECT RAISE(ABORT, 'alloc: not of an allocation by two'); END;

CREATE TRIGGER alloc_once BEFORE INSERT ON alloc
WHEN EXISTS (SELECT 1 FROM alloc WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'alloc: fact has its range'); END;

CREATE TRIGGER alloc_no_update BEFORE UPDATE ON alloc
BEGIN SELECT RAISE(ABORT, 'alloc: append only'); END;

CREATE TRIGGER alloc_no_delete BEFORE DELETE ON alloc
BEGIN SELECT RAISE(ABORT, 'alloc: append only'); END;

-- A key that came again with other bytes: what was refused, and why.
CREATE TABLE refusal (
    id INTEGER PRIMARY KEY CONSTRAINT id_above_0 CHECK (id > 0),
    machine TEXT NOT NULL,
    machine_seq INTEGER NOT NULL,
    at TEXT NOT NULL,
    why TEXT NOT NULL,
    body BLOB NOT NULL
) STRICT;

CREATE TRIGGER refusal_once BEFORE INSERT ON refusal
WHEN EXISTS (SELECT 1 FROM refusal WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'refusal: append only'); END;

CREATE TRIGGER refusal_no_update BEFORE UPDATE ON refusal
BEGIN SELECT RAISE(ABORT, 'refusal: append only'); END;

CREATE TRIGGER refusal_no_delete BEFORE DELETE ON refusal
BEGIN SELECT RAISE(ABORT, 'refusal: append only'); END;

CREATE TABLE seal (
    size INTEGER PRIMARY KEY CONSTRAINT size_not_negative CHECK (size >= 0),
    root BLOB NOT NULL CONSTRAINT root_is_a_hash CHECK (length(root) = 32),
    note TEXT NOT NULL
) STRICT;

CREATE TRIGGER seal_grows BEFORE INSERT ON seal
WHEN EXISTS (SELECT 1 FROM seal WHERE size >= NEW.size)
BEGIN SELECT RAISE(ABORT, 'seal: not beyond the last'); END;

CREATE TRIGGER seal_of_what_is BEFORE INSERT ON seal
WHEN NEW.size > (SELECT coalesce(max(seq), -1) + 1 FROM fact)
BEGIN SELECT RAISE(ABORT, 'seal: beyond the journal'); END;

CREATE TRIGGER seal_no_update BEFORE UPDATE ON seal
BEGIN SELECT RAISE(ABORT, 'seal: append only'); END;

CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal
BEGIN SELECT RAISE(ABORT, 'seal: append only'); END;
