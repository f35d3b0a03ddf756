"""Files in and out: the catalogue as a folder, a zip file of it, a workbook or a single sheet.

In: ``forms`` tells them apart, ``reading``, ``archive`` and ``workbook`` make sheets of text of bytes,
``rows`` makes facts of sheets, ``taking_in`` compares them with what is on file and adds what is new.
Out: ``stating`` makes rows of what is on file, ``exporting`` writes them.
"""

from specdb.exchange.exporting import ExportReport, export_catalogue, export_folder, export_workbook, export_zip
from specdb.exchange.importing import ImportReport, import_catalogue, import_folder, import_upload

__all__ = [
    "ExportReport",
    "ImportReport",
    "export_catalogue",
    "export_folder",
    "export_workbook",
    "export_zip",
    "import_catalogue",
    "import_folder",
    "import_upload",
]
