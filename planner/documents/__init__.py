"""A plan as documents, a folder a sheet.

`plan/view.py` holds what every format prints of a plan, `plan/words.py` the words of its single items; `printing/` sets
pages, `json_form.py` gives plain data. Nothing is decided here, and no clinical word or number is born here or in a
template.
"""
