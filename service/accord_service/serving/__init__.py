"""How requests reach the threads: a gunicorn worker that reads and writes all sockets in one place, under deadlines.

gunicorn's own thread worker gives a connection to a thread at its first byte and reads there without a limit, so that
as many half-sent headers, unfinished bodies or unread answers as there are threads stop the service. Here the
``Reactor`` alone owns sockets: it reads requests until they are whole and sends what is left of answers, each with a
deadline. Threads take whole requests as bytes and give whole answers as bytes. gunicorn still parses and frames. Only
orders that come line by line pass through while they are answered (``Passage``).
"""
