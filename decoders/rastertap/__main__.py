"""Run the command line as ``python -m rastertap``."""

from rastertap.cli.main import run

if __name__ == "__main__":
    run()
