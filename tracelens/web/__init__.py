"""The page: figures and controls over the tables of an analysis."""

from tracelens.web.app import create_app
from tracelens.web.serving import serve

__all__ = ["create_app", "serve"]
