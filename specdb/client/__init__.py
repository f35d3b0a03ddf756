"""A catalogue for scripts: the same calls on a store in this process, and on a service elsewhere.

:func:`~specdb.client.store.open` reads a store without any server, :func:`~specdb.client.service.connect` asks a
service. Either gives a :class:`~specdb.client.catalogue.Catalogue`. What is asked becomes plain data in
:mod:`specdb.client.plain`, the one place that knows of pint's quantities and of names with units in them; answers are
the models of :mod:`specdb.answers`.
"""
