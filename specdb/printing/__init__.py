"""Answers for people at a terminal: tables and sentences, from the same models that ``--json`` prints.

Texts from a catalogue are never read as markup, and never reach a terminal as anything but visible signs.
"""
