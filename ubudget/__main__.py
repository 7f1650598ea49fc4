"""`python -m ubudget`: the same commands as `ubudget`."""

from ubudget.cli import main

if __name__ == "__main__":
    main()
