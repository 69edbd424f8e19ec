"""`python -m tracelens` is the command `tracelens`."""

from tracelens.cli.main import run

if __name__ == "__main__":
    run()
