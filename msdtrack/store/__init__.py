"""What msdtrack remembers: the one writer of events, the readings, the facts and their traces.

SQLite by default, PostgreSQL by one setting, the same code for both. The peewee models never leave
this package: its functions take and return the values of `exposure` and of `store.records`.
Functions that write must run inside `connection.write()`; the services layer opens it.
"""
