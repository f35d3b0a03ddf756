"""The pages: what a browser shows of the service, rendered here, complete without JavaScript and quicker with it.

A page's address holds its whole question, in the dotted names that the API takes.
"""
