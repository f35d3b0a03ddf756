"""What follows from a ranking beside its verdicts: claims, windows, tests to ask for, trade-offs, life.

A module a subject, each over a :class:`~specdb.ranking.Ranking` and rows of its snapshot.
"""
