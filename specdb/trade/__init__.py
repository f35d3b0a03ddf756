"""The trade's formulas and tables, a file a subject: pure functions of numbers or arrays, each with its source.

Nothing here knows of tables, files or HTTP. Scalars outside a formula's range of validity raise
:class:`specdb.errors.ConditionsError`; what an array's elements do there is said in each docstring.
"""
