"""The report as one HTML file: it needs no network, runs no script, and follows dark and print."""

from tracelens.report.html.page import render, render_document

__all__ = ["render", "render_document"]
