"""The version, in one place: the package, the command and the build read it here."""

__version__ = "1.0.0"
