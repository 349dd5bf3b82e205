"""`python -m surefoot` is the command `surefoot`."""

from surefoot.cli.main import run

if __name__ == "__main__":
    run()
