-- What a paper for a customer bears: who made it, with address and approvals, and the line of the order.

ALTER TABLE lots ADD COLUMN order_line TEXT;
ALTER TABLE lots ADD COLUMN document TEXT;

-- organisation: An organisation as papers name it: the shop itself, with its letterhead, and whom it works for; lines are parted by `;`.
CREATE TABLE organisations (
    id INTEGER PRIMARY KEY,
    organisation TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role = 'own' OR role = 'customer' OR role = 'supplier' OR role = 'laboratory' OR role = 'inspection_body'),
    name TEXT NOT NULL,
    address TEXT,
    contact TEXT,
    approvals TEXT,
    statement TEXT,
    paper TEXT CHECK (paper = 'a4' OR paper = 'letter'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX organisations_tag ON organisations (organisation COLLATE NOCASE);
