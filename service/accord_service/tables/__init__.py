"""Rows of tables as orders, whoever reads them: the command from files, the service from text/csv.

``fields`` (what an order can say) <- ``words`` (what columns are called) <- ``headers`` (one read) <- ``columns``
(all of a table) <- ``cells`` (values) <- ``rows`` (a row as an order); ``separated``: text of separated values.
"""
