-- What the screens list by time, the latest first: without these a page reads the whole table.
CREATE INDEX pours_by_time ON pours (poured_at);
CREATE INDEX coats_by_time ON coats (in_at);
CREATE INDEX moulds_by_time ON moulds (assembled_at);
