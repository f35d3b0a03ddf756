"""The store of what is on file: its tables, sessions, migrations, history and columnar view.

``identity`` says which texts name one element, ``tables`` what a row holds, ``store`` opens a
database and gives sessions, ``revisions`` finds a past state, ``writing`` adds to the record.
"""
