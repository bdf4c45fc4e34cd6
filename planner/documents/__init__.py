"""A plan as documents, all from one view model.

`view.view` puts every word and number of a plan into its printed form once; `html.render_html`, `pdf.render_pdf`,
`text.render_text` set it, `eye.eye_svg` draws the eye, `json_form` gives plain data. Nothing is decided here, and no
clinical word or number is born here or in a template.
"""
