"""The page: figures and controls over the tables of an analysis, served to this machine only."""

from tracelens.web.app import create_app, serve

__all__ = ["create_app", "serve"]
