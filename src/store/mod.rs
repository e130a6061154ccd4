//! The SQLite store: the only module that knows rusqlite.
