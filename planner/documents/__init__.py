"""A plan as documents, all from one view model.

`view.view` puts every word and number of a plan into its printed form once; `html.render_html`, `pdf.render_pdf`,
`text.render_text` set it, `card.render_card` makes the wall's card of it and `debrief.render_debrief` the sheet for
afterwards, `eye.eye_view` draws the eye, `json_form` gives plain data. Nothing is decided here, and no clinical word or
number is born here or in a template.
"""
