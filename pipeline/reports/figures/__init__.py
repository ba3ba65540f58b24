"""Figures as SVG text, drawn from plain numbers: the only room that knows matplotlib.

Every figure is drawn on a sheet measured in pixels, so that each can be made for the width of a
telephone and still stand in a row of three on paper. Text stays text: it takes the page's own
typeface, can be searched and copied, and its bytes do not depend on the fonts of the machine. The
same numbers give the same bytes.
"""
