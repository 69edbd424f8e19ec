"""An analysis as a document, and the document as text, Markdown, JSON and tables."""
