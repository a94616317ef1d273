"""
Django's SQLite backend on a SQLite that may be written by several processes.

Write-ahead logging in SQLite 3.7.0 to 3.51.2 has a race that can corrupt a database when
two connections write and reset the log at once (fixed in 3.51.3, release notes of that
version). Debian 12 ships 3.40.1. This backend runs on the `pysqlite3` wheel, which brings
its own SQLite; where that wheel does not exist it runs on Python's, and then lets one
process only open the file.

Never open the database file with another SQLite in the same process (Python's `sqlite3`,
a GIS reader): closing either copy's file drops the other's locks.
"""
