"""The trainee's pages: a case entered, edited, handed over and planned."""
