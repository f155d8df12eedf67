"""Orders in bulk: rows of tables and lists read one by one, asked, and answered as they come.

``own_columns`` (what the command line says of columns), ``sheets``, ``workbook``, ``listed`` (files) <- ``sources``
(any of them) <- ``asking`` (answers) <- ``results`` (as they are written), ``look``, ``progress`` <- ``bulk``. What
columns and cells mean is in ``accord_service.tables``.
"""
