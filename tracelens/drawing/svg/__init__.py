"""The figures of this package as SVG: pictures that need no script, for paper and for files."""
