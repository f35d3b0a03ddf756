"""Files in and out: the catalogue folder.

``reading`` makes sheets of text of bytes, ``rows`` makes facts of sheets, ``taking_in`` compares them
with what is on file and adds what is new.
"""

from specdb.exchange.importing import ImportReport, import_folder

__all__ = ["ImportReport", "import_folder"]
