"""The job ticket: what a recorded order is pressed by, as a page, as sheets to print and as PDF.

``told`` says what stands on it, once for all of them; ``stack`` and ``chart`` draw, ``sheet`` lays a page out, and
``svg`` and ``pdf`` write what was drawn.
"""
