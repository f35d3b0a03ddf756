"""Many lines at once: each is a question or a comparison of its own, and a faulty one spoils no other.

:mod:`~specdb.cross_checks.reading` reads lines from a file or from plain data, :mod:`~specdb.cross_checks.running`
answers them one after another, and :mod:`~specdb.cross_checks.workbook` writes the answers as a finished workbook.
"""
