"""Orders in bulk: rows of tables and lists read one by one, asked, and answered as they come.

``fields`` (what an order can say) <- ``words`` (what columns are called) <- ``headers`` (one read) <- ``columns``
(all of a table) <- ``cells`` (values) <- ``rows`` (a row as an order) <- ``sheets``, ``workbook``, ``listed`` (files)
<- ``sources`` (any of them) <- ``asking`` (answers) <- ``results`` (as they are written), ``look``, ``progress`` <-
``bulk``.
"""
