"""A filter element spec database: ratings kept as evidence, carried to a duty, judged and ranked.

Start at :mod:`specdb.ranking` (``rank(question, snapshot)``), :mod:`specdb.catalog.reading`
(``load_snapshot``) and :mod:`specdb.exchange` (``import_folder``).
"""
